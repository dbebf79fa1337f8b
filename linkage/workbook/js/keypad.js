// Keys for a thumb: fractions, units and a sign, written into the box that is being typed in.

/** @typedef {import("./view.js").Workbook} App */

import { h } from "./dom.js";

const KEYS = ["7", "8", "9", "/", "4", "5", "6", ".", "1", "2", "3", "space", "\u2212", "0",
              "\u232b", "in", "mm", "clear", "take"];
/** @type {Record<string, string>} */
const NAMES = { "\u2212": "minus", "\u232b": "delete", "/": "over", ".": "point",
                take: "take what is typed", space: "space" };

export class Keypad {
  /** @param {App} app */
  constructor(app) {
    /** @type {HTMLInputElement | null} */
    this.box = null;
    this.el = h("div", { class: "lw-keypad", role: "group", "aria-label": "Keypad", hidden: true },
      ...KEYS.map((key) => h("button", { type: "button", "data-key": key,
        "aria-label": NAMES[key] || key, class: key === "take" ? "lw-take" : "",
        // the box keeps the focus, so that what is typed is not taken too soon
        onpointerdown: (/** @type {Event} */ event) => event.preventDefault(),
        onclick: () => this.press(key) }, key === "take" ? "\u2713" : key)));
    app.root.addEventListener("focusin", (event) => {
      const box = event.target;
      const on = box instanceof HTMLInputElement && box.type === "text" && app.root.clientWidth <= 640
        && /typed$/.test(box.dataset.control || "");
      this.box = on ? box : null;
      this.el.hidden = !on;
      if (on) { box.inputMode = "none"; box.select(); }
    });
    app.root.addEventListener("focusout", (event) => {
      if (event.relatedTarget instanceof Node && this.el.contains(event.relatedTarget)) return;
      if (!app.root.contains(/** @type {Node | null} */ (event.relatedTarget))) this.el.hidden = true;
    });
  }

  /** @param {string} key */
  press(key) {
    const { box } = this;
    if (!box) return;
    if (key === "take") {
      box.dispatchEvent(new KeyboardEvent("keydown", { key: "Enter", bubbles: true }));
      if (box.getAttribute("aria-invalid") !== "true") { this.el.hidden = true; box.blur(); }
      return;
    }
    const from = box.selectionStart ?? box.value.length, to = box.selectionEnd ?? from;
    const text = key === "space" ? " " : key === "in" || key === "mm" ? ` ${key}` : key;
    if (key === "clear") box.value = "";
    else if (key === "\u232b") box.setRangeText("", from === to ? Math.max(0, from - 1) : from, to,
                                                "end");
    else box.setRangeText(text, from, to, "end");
    box.dispatchEvent(new Event("input", { bubbles: true }));
  }
}
