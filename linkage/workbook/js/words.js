// Elements and words.  Names only ever go in as text, so no name can be anything else.

let made = 0;
const HELD = ["input", "select", "button", "summary"];  // else JupyterLab takes their keys

function h(tag, attributes, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes || {})) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined)
      element.setAttribute(name, value);
  }
  if (attributes && ("tabindex" in attributes || HELD.includes(tag)))
    element.setAttribute("data-lm-suppress-shortcuts", "");
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

function tell(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

const newId = () => `linkage-workbook-${made += 1}`;
const fixed = (value, digits) => {
  const text = Math.abs(value).toFixed(digits);
  return (value < 0 && Number(text) !== 0 ? "\u2212" : "") + text;
};

function saidTurn(value, [less, more], unit, digits = 1) {
  if (value === null || value === undefined || value !== value) return "out of reach";
  const size = Math.abs(value).toFixed(digits);
  if (Number(size) === 0) return `${size}${unit}`;
  return `${size}${unit} ${value < 0 ? less : more}`;
}

function saidInput(input, value, digits = 1) {
  if (Number(Math.abs(value).toFixed(digits)) === 0) return "neutral";
  if (!input.signed) return saidTurn(value, input.words, input.unit, digits);
  return `${value > 0 ? "+" : ""}${fixed(value, digits)}${input.unit} ${input.name}`;
}

function saidLength(mm, unit, signed = false) {
  if (mm === null || mm === undefined || mm !== mm) return "\u2013";
  const [per, digits] = unit === "in" ? [25.4, 3] : [1, 2];
  const text = fixed(mm / per, digits);
  return `${signed && mm > 0 && Number(text) !== 0 ? "+" : ""}${text} ${unit}`;
}

// Takes what is typed at Enter too: JupyterLab keeps Enter's own change from a box.  Gives whether
// something is half typed, which is not to be drawn over by an answer that arrives.
function onTyped(box, take) {
  let typing = false;
  const done = () => { if (typing) { typing = false; take(); } };
  box.addEventListener("input", () => { typing = true; });
  for (const name of ["change", "blur"]) box.addEventListener(name, done);
  box.addEventListener("keydown", (event) => { if (event.key === "Enter") done(); });
  return () => typing;
}

// a slider with its name, a box to type the same number in, and what it says now in words
function slider({ name, unit, least, most, step, value, said, on, rest, control, list }) {
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

function tableOf(caption, headings) {
  const body = h("tbody");
  const table = h("table", {}, h("caption", {}, caption),
                  h("thead", {}, h("tr", {}, ...headings.map((t) => h("th", { scope: "col" }, t)))),
                  body);
  const fill = (rows) => {
    while (body.rows.length > rows.length) body.deleteRow(-1);
    rows.forEach((cells, n) => {
      const row = body.rows[n] || body.insertRow();
      row.className = cells.state || "";
      cells.forEach((text, c) => {
        if (row.cells.length <= c)
          row.append(c ? h("td") : h("th", { scope: "row" }));
        tell(row.cells[c], text);
      });
    });
  };
  return { table, fill };
}
