// The part table: any coordinate, arm or rod length changed by typing; only where a kernel answers.

/** @import { Part, PartRow, State } from "./types.js" */
/** @typedef {import("./view.js").Workbook} App */

import { Box } from "./controls.js";
import { h, newId, tell } from "./dom.js";

export class Parts {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    const id = newId(), twin = newId();
    /** @type {{ box: Box, row: number, at: number, was: string | null, sent: number }[]} */
    this.boxes = [];
    /** @type {State | null} */
    this.state = null;
    this.shown = "";
    this.pick = h("select", { id, "data-control": "part", onchange: () => this.show() });
    this.twin = h("input", { id: twin, type: "checkbox", checked: true,
                             "data-control": "change the twin too" });
    this.body = h("tbody");
    this.changes = h("ul", { class: "lw-changes", "aria-label": "Changes from the file" });
    this.undo = h("button", { type: "button", "data-control": "undo",
      onclick: () => app.ask({ do: "undo", where: "undo" }) }, "Undo the last change");
    this.undone = app.noteOf("undo");
    this.wait = app.waitOf("dimension", "undo");
    this.heads = h("tr");
    this.el = h("section", { class: "lw-parts", "aria-label": "Part table" },
      h("h3", {}, "Part table"),
      h("p", { class: "lw-note" }, "Type a place, an arm or a rod length as the shop writes it: "
        + `5-1/4 in, 133,35 mm, 1/8; a bare number is in ${app.head.length.name}. Everything `
        + "follows."),
      h("div", { class: "lw-row" }, h("label", { for: id }, "Part"), this.pick,
        h("label", { for: twin, class: "lw-check" }, this.twin, " change its twin too"),
        this.undo, this.undone), this.wait,
      h("div", { class: "lw-scroll", tabindex: "0", role: "group", "aria-label":
        "Places and lengths of the part" },
        h("table", {}, h("caption", { class: "lw-hidden" }, "Places and lengths of the part"),
          h("thead", {}, this.heads), this.body)),
      h("h4", {}, "Changed from the file"), this.changes);
  }

  /** @param {State} state */
  update(state) {
    this.state = state;
    const names = state.parts.map((part) => part.name), before = this.pick.value;
    if (this.pick.options.length !== names.length
        || names.some((n, i) => this.pick.options[i].value !== n)) {
      this.pick.replaceChildren(...names.map((n) => h("option", { value: n }, n)));
      if (names.includes(before)) this.pick.value = before;
    }
    this.changes.replaceChildren(...(state.changes.length ? state.changes : ["nothing"])
      .map((text) => h("li", {}, text)));
    this.show();
    this.enable();
  }

  enable() {
    const off = this.app.ended();
    this.undo.disabled = off || !this.state?.undo;
    for (const { box } of this.boxes) box.input.disabled = off;
  }

  show() {
    const part = this.state?.parts.find((p) => p.name === this.pick.value);
    if (!part || !this.state) return;
    const key = JSON.stringify([part.name, part.rows.map((row) => row.address)]);
    if (key !== this.shown) {
      this.shown = key;
      this.layOut(part);
    }
    part.rows.forEach((row, n) => {
      const line = this.body.rows[n];
      line.className = row.changed ? "lw-changed" : "";
      tell(/** @type {Element} */ (line.lastElementChild), row.changed || "as in the file");
    });
    for (const one of this.boxes) this.showBox(one, part.rows[one.row].values[one.at]);
    this.enable();
  }

  // a box keeps what was typed in it: until it is taken, and after, for as long as the kernel has
  // no other number for it
  /** @param {Parts["boxes"][number]} one @param {string | null} value */
  showBox(one, value) {
    const { box } = one, heard = this.state ? this.state.heard : 0;
    if (one.was !== value) {
      const own = one.sent && heard <= one.sent;
      if (!own && !box.held()) box.input.value = value || "";
      one.was = value;
    }
    if (heard >= one.sent) one.sent = 0;
  }

  /** @param {Part} part */
  layOut(part) {
    const unit = this.app.head.length.name, heads = part.kind === "rod"
      ? ["rod", `length ${unit}`, "half turns of an end", "from the file"]
      : ["point", `FS ${unit}`, `BL ${unit}`, `WL ${unit}`, `arm ${unit}`, "from the file"];
    this.heads.replaceChildren(...heads.map((t) => h("th", { scope: "col" }, t)));
    this.boxes = [];
    this.body.replaceChildren(...part.rows.map((row, n) => h("tr", {},
      h("th", { scope: "row" }, row.label),
      ...row.values.map((value, at) => value === null ? h("td", {}, "\u2013")
        : this.cellOf(row, heads[at + 1].split(" ")[0], n, at)),
      part.kind === "rod" ? this.turnsOf(row.address) : null, h("td"))));
  }

  // half a turn in or out at a rod end, by its thread
  /** @param {string} rod */
  turnsOf(rod) {
    return h("td", {}, ...[-1, 1].map((halves) => h("button", { type: "button",
      "aria-label": `${rod}: half a turn ${halves < 0 ? "shorter" : "longer"}`,
      "data-control": `turn ${rod} ${halves < 0 ? "in" : "out"}`,
      onclick: () => this.app.ask({ do: "turn", rod, halves, where: "undo" }) },
      halves < 0 ? "\u2212\u00bd" : "+\u00bd")));
  }

  /** @param {PartRow} row @param {string} what @param {number} n @param {number} at */
  cellOf(row, what, n, at) {
    const { app } = this, name = `${row.address} ${what}`;
    const box = app.known(name, new Box({ control: name,
      label: `${name}, ${app.head.length.name}`,
      take: (text) => {
        box.clear();
        one.sent = app.ask({ do: "dimension", address: row.address, what, text, where: name,
                             twin: this.twin.checked });
      },
      back: () => { box.input.value = one.was || ""; } }));
    /** @type {Parts["boxes"][number]} */
    const one = { box, row: n, at, was: null, sent: 0 };
    this.boxes.push(one);
    return h("td", {}, box.input, box.words);
  }
}

// saving: to a new file at once, over one that is there only when asked a second time
export class Saving {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    const id = newId();
    this.path = h("input", { id, type: "text", autocomplete: "off", spellcheck: "false",
                             "data-control": "save as" });
    /** @param {boolean} over */
    const save = (over) => app.ask({ do: "save", where: "save", path: this.path.value, over });
    this.button = h("button", { type: "button", "data-control": "save",
                                onclick: () => save(false) }, "Save");
    this.over = h("button", { type: "button", hidden: true, "data-control": "save over",
                              onclick: () => save(true) }, "Yes, write over that file");
    this.path.addEventListener("input", () => { this.over.hidden = true; });
    this.words = app.noteOf("save");
    this.wait = app.waitOf("save");
    this.el = h("section", { class: "lw-save", "aria-label": "Save" }, h("h3", {}, "Save"),
      h("p", { class: "lw-note" }, "Limits, spacers and dimensions go to a model file (.toml) in "
        + "the notebook's folder or below it; all else stays as it stands in the file they came "
        + "from."),
      h("div", { class: "lw-row" }, h("label", { for: id }, "Model file"), this.path, this.button,
        this.over), this.words, this.wait);
  }

  /** @param {State} state */
  update(state) {
    if (!this.path.value) this.path.value = state.save_as || "";
    this.over.hidden = !state.ask_over;
    this.enable();
  }

  enable() {
    const off = this.app.ended();
    for (const element of [this.path, this.button, this.over]) element.disabled = off;
  }
}
