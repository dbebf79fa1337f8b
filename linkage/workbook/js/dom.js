// Elements and words.  Names only ever go in as text, so no name can be anything else.

let made = 0;
const HELD = ["input", "select", "button", "summary"];  // else JupyterLab takes their keys

export function h(tag, attributes, ...children) {
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

export function tell(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

export const newId = () => `linkage-workbook-${made += 1}`;
export function tableOf(caption, headings) {
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
