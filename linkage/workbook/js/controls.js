// Boxes and sliders to set a number with.  What is typed stays as it is typed: what can't be taken
// is refused beside the box, and nothing is put in its place.

import { h, newId, tell } from "./dom.js";

/**
 * @typedef {{ value: number } | { wrong: string }} Reading
 */

// Takes what is typed at Enter too: JupyterLab keeps Enter's own change from a box.  Gives whether
// something is half typed, which is not to be drawn over by an answer that arrives.
/** @param {HTMLInputElement} box @param {() => void} take */
export function onTyped(box, take) {
  let typing = false;
  const done = () => { if (typing) { typing = false; take(); } };
  box.addEventListener("input", () => { typing = true; });
  for (const name of ["change", "blur"]) box.addEventListener(name, done);
  box.addEventListener("keydown", (event) => {
    if (event.key === "Enter") { typing = true; done(); }
    if (event.key === "Escape") typing = false;
  });
  return () => typing;
}

/** A text box with a place beside it for what is said about it. */
export class Box {
  /**
   * @param {object} options
   * @param {string} options.control name of the control, by which an answer finds it
   * @param {string} options.label its name with the unit, for a reader aloud
   * @param {(text: string) => void} options.take what to do with what is typed
   * @param {() => void} [options.back] puts back what stood there, at Escape
   */
  constructor({ control, label, take, back }) {
    const id = newId();
    this.words = h("p", { id, class: "lw-beside", role: "alert" });
    this.input = h("input", { type: "text", autocomplete: "off", spellcheck: "false",
      "aria-label": label, "aria-describedby": id, "data-control": control });
    this.refused = false;
    this.typing = onTyped(this.input, () => take(this.input.value));
    this.input.addEventListener("keydown", (event) => {
      if (event.key !== "Escape") return;
      this.clear();
      if (back) back();
    });
  }

  /** @param {string} text @param {boolean} refused */
  say(text, refused) {
    this.refused = refused;
    this.input.toggleAttribute("aria-invalid", refused);
    if (refused) this.input.setAttribute("aria-invalid", "true");
    tell(this.words, text);
  }

  clear() { this.say("", false); }

  // what stands in the box is a person's until it is taken
  held() { return this.refused || this.typing(); }
}

/**
 * A slider with its name, a box to type the same number in, and what it says now in words.
 * @param {object} options
 * @param {string} options.name
 * @param {string} options.unit
 * @param {string} options.control
 * @param {number} options.step
 * @param {(text: string) => Reading} options.read what is typed, as the slider's number
 * @param {(value: number) => string} options.text the number as it stands in the box
 * @param {(value: number) => string} options.bound an end of the range, in words
 * @param {(value: number) => string} options.said what the number comes to
 * @param {(value: number) => void} options.on
 * @param {() => void} options.rest when the hand rests
 * @param {boolean} [options.bare] whether the unit is told to a reader aloud alone
 * @param {string} [options.list]
 */
export function slider({ name, unit, control, step, read, text, bound, said, on, rest, list,
                         bare = false }) {
  const id = newId(), out = h("output", { for: id, class: "lw-said" });
  const range = h("input", { id, type: "range", min: 0, max: 0, step, list,
                             "data-control": control });
  let low = 0, high = 0, value = NaN;
  let stands = NaN, kept = "";  // the number that the text in the box is for, and the text
  const box = new Box({ control: `${control} typed`, label: `${name}, typed, ${unit}`,
    take: (typed) => {
      const got = read(typed);
      if ("wrong" in got) { box.say(got.wrong, true); return; }
      if (!(got.value >= low - 1e-9 && got.value <= high + 1e-9)) {
        box.say(`out of range; from ${bound(low)} to ${bound(high)}`, true);
        return;
      }
      box.clear();
      stands = Math.min(Math.max(got.value, low), high);  // within 1e-9 of what was typed
      kept = typed;
      on(stands);
      rest();
    },
    back: () => put() });
  const put = () => {
    if (!(Math.abs(value - stands) < 1e-9)) [stands, kept] = [value, text(value)];
    box.input.value = kept;
  };
  const free = () => { box.clear(); stands = NaN; };
  // a slider counts its steps from its least number; a hand wants whole steps, and the very ends
  const byHand = () => {
    const at = Number(range.value), whole = Number((Math.round(at / step) * step).toFixed(6));
    if (at - low < step / 2) return low;
    return high - at < step / 2 ? high : whole;
  };
  range.addEventListener("input", () => { free(); on(byHand()); });
  range.addEventListener("change", () => rest());
  return {
    row: h("div", { class: "lw-slider" }, h("label", { for: id }, name,
             h("span", { class: bare ? "lw-hidden" : "" }, `, ${unit}`)), range,
           box.input, out, box.words),
    range, box,
    // what stands in the box gives way to the number, by the person's hand elsewhere
    free,
    /** @param {number} to */
    show(to) {
      value = to;
      range.value = String(value);
      if (!box.held() && !(Math.abs(value - stands) < 1e-9)) put();
      const words = said(value);
      range.setAttribute("aria-valuetext", words);
      tell(out, words);
    },
    /** @param {number} least @param {number} most */
    reach(least, most) {
      if (least === low && most === high) return;  // writing the same would lay the page out anew
      [low, high] = [least, most];
      range.min = String(least);
      range.max = String(most);
    },
    /** @param {boolean} on */
    enable(on) { if (range.disabled === on) range.disabled = box.input.disabled = !on; },
  };
}
