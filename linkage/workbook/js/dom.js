// Elements and tables.  Names only ever go in as text, so no name can be anything else.

const SPACE = ["http", "//www.w3.org/2000/svg"].join(":");  // no address that could be asked
let made = 0;
const HELD = ["input", "select", "button", "summary"];  // else JupyterLab takes their keys

/**
 * An element with its attributes, listeners (`on...`) and children.
 * @template {keyof HTMLElementTagNameMap} Tag
 * @param {Tag} tag
 * @param {Record<string, unknown>} [attributes]
 * @param {...(Node | string | null | undefined)} children
 * @returns {HTMLElementTagNameMap[Tag]}
 */
export function h(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on"))
      element.addEventListener(name.slice(2), /** @type {EventListener} */ (value));
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined)
      element.setAttribute(name, String(value));
  }
  if ("tabindex" in attributes || HELD.includes(tag))
    element.setAttribute("data-lm-suppress-shortcuts", "");
  for (const child of children)
    if (child !== null && child !== undefined) element.append(child);
  return element;
}

/**
 * An element of a drawing.
 * @template {keyof SVGElementTagNameMap} Tag
 * @param {Tag} tag
 * @param {Record<string, unknown>} [attributes]
 * @param {...Node} children
 * @returns {SVGElementTagNameMap[Tag]}
 */
export function svg(tag, attributes = {}, ...children) {
  const element = document.createElementNS(SPACE, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, String(value));
  element.append(...children);
  return /** @type {SVGElementTagNameMap[Tag]} */ (element);
}

/** Gives the focus back to a control that was made anew. @param {Element} within @param {string} name */
export function focusOn(within, name) {
  for (const element of within.querySelectorAll("[data-control]"))
    if (element instanceof HTMLElement && element.dataset.control === name) element.focus();
}

/** @param {Element} element @param {string} text */
export function tell(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

export const newId = () => `linkage-workbook-${made += 1}`;

/** @typedef {string[] & { state?: string }} Cells */

/**
 * A table with a way to fill it; a row's `state` becomes its class.
 * @param {string} caption
 * @param {string[]} headings
 */
export function tableOf(caption, headings) {
  const body = h("tbody");
  const table = h("table", {}, h("caption", {}, caption),
                  h("thead", {}, h("tr", {}, ...headings.map((t) => h("th", { scope: "col" }, t)))),
                  body);
  /** @param {Cells[]} rows */
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

/**
 * A row of a table whose state is told by its class too.
 * @param {string[]} cells
 * @param {string} state
 * @returns {Cells}
 */
export const cellsOf = (cells, state) => Object.assign(cells, { state });

/**
 * A table that may be wider than its place.
 * @param {string} name
 * @param {HTMLTableElement} table
 */
export const scrolled = (name, table) =>
  h("div", { class: "lw-scroll", tabindex: "0", role: "group", "aria-label": name }, table);
