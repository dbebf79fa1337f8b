// Boxes and sliders to set a number with.

import { h, newId, tell } from "./dom.js";
import { trimmed } from "./wording.js";

// Takes what is typed at Enter too: JupyterLab keeps Enter's own change from a box.  Gives whether
// something is half typed, which is not to be drawn over by an answer that arrives.
export function onTyped(box, take) {
  let typing = false;
  const done = () => { if (typing) { typing = false; take(); } };
  box.addEventListener("input", () => { typing = true; });
  for (const name of ["change", "blur"]) box.addEventListener(name, done);
  box.addEventListener("keydown", (event) => { if (event.key === "Enter") done(); });
  return () => typing;
}

// a slider with its name, a box to type the same number in, and what it says now in words
export function slider({ name, unit, least, most, step, value, said, on, rest, control, list }) {
  const id = newId(), out = h("output", { for: id, class: "lw-said" });
  const range = h("input", { id, type: "range", min: least, max: most, step, list,
                             "data-control": control });
  const box = h("input", { type: "number", min: least, max: most, step: "any", inputmode: "decimal",
                           "aria-label": `${name}, typed, ${unit}`, "data-control":
                           `${control} typed` });
  const typing = onTyped(box, () => {
    const v = Number(box.value);
    if (box.value !== "" && Number.isFinite(v)) { on(v); if (rest) rest(); }
    else if (rest) rest(`${name}: type a number in ${unit}`);
  });
  const show = (v) => {
    range.value = v;
    if (!typing()) box.value = String(Number(v.toFixed(4)));
    const text = said ? said(v) : `${trimmed(v)} ${unit}`;
    range.setAttribute("aria-valuetext", text);
    tell(out, text);
  };
  range.addEventListener("input", () => { on(Number(range.value)); });
  range.addEventListener("change", () => rest && rest());
  show(value);
  const row = h("div", { class: "lw-slider" },
                h("label", { for: id }, `${name}, ${unit}`), range, box, out);
  const bound = (low, high) => { for (const e of [range, box]) { e.min = low; e.max = high; } };
  return { row, range, box, show, bound };
}
