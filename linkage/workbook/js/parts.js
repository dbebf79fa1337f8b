// The part table: any coordinate, arm or rod length changed by typing; only where a kernel answers.

import { onTyped } from "./controls.js";
import { h, newId, tell } from "./dom.js";

export class Parts {
  constructor(app) {
    this.app = app;
    const id = newId(), twin = newId();
    this.pick = h("select", { id, "data-control": "part", onchange: () => this.show() });
    this.twin = h("input", { id: twin, type: "checkbox", checked: true,
                             "data-control": "change the twin too" });
    this.body = h("tbody");
    this.changes = h("ul", { class: "lw-changes", "aria-label": "Changes from the file" });
    this.undo = h("button", { type: "button", "data-control": "undo",
                              onclick: () => app.ask({ do: "undo" }) }, "Undo the last change");
    this.heads = h("tr");
    this.el = h("section", { class: "lw-parts", "aria-label": "Part table" },
      h("h3", {}, "Part table"),
      h("p", { class: "lw-note" }, "Type a place, an arm or a rod length; shop fractions such as "
        + "5-1/4 in are welcome. Everything follows."),
      h("div", { class: "lw-row" }, h("label", { for: id }, "Part"), this.pick,
        h("label", { for: twin, class: "lw-check" }, this.twin, " change its twin too"),
        this.undo),
      h("div", { class: "lw-scroll", tabindex: "0", role: "group", "aria-label":
        "Places and lengths of the part" },
        h("table", {}, h("caption", { class: "lw-hidden" }, "Places and lengths of the part"),
          h("thead", {}, this.heads), this.body)),
      h("h4", {}, "Changed from the file"), this.changes);
  }

  update(told) {
    this.told = told;
    const names = told.parts.map((part) => part.name), before = this.pick.value;
    if (this.pick.options.length !== names.length
        || names.some((n, i) => this.pick.options[i].value !== n)) {
      this.pick.replaceChildren(...names.map((n) => h("option", { value: n }, n)));
      if (names.includes(before)) this.pick.value = before;
    }
    this.undo.disabled = !told.undo;
    this.changes.replaceChildren(...(told.changes.length ? told.changes : ["nothing"])
      .map((text) => h("li", {}, text)));
    this.show();
  }

  // a box somebody is typing in is left alone until the kernel has another value for it
  show() {
    const part = this.told.parts.find((p) => p.name === this.pick.value);
    if (!part) return;
    const key = JSON.stringify([part.name, part.rows.map((row) => row.address)]);
    if (key !== this.shown) {
      this.shown = key;
      this.layOut(part);
    }
    part.rows.forEach((row, n) => {
      const line = this.body.rows[n];
      line.className = row.changed ? "lw-changed" : "";
      tell(line.lastElementChild, row.changed || "as in the file");
      for (const { box, at } of this.boxes.filter((b) => b.row === n)) {
        if (box.dataset.was !== row.values[at]) box.value = row.values[at];
        box.dataset.was = row.values[at];
      }
    });
  }

  layOut(part) {
    const { unit } = this.app, heads = part.kind === "rod"
      ? ["rod", `length ${unit}`, "from the file"]
      : ["point", `FS ${unit}`, `BL ${unit}`, `WL ${unit}`, `arm ${unit}`, "from the file"];
    this.heads.replaceChildren(...heads.map((t) => h("th", { scope: "col" }, t)));
    this.boxes = [];
    this.body.replaceChildren(...part.rows.map((row, n) => h("tr", {},
      h("th", { scope: "row" }, row.label),
      ...row.values.map((value, at) => h("td", {}, value === null ? "\u2013"
        : this.boxOf(row, heads[at + 1].split(" ")[0], n, at))), h("td"))));
  }

  boxOf(row, what, n, at) {
    const name = `${row.address} ${what}`;
    const box = h("input", { type: "text", inputmode: "decimal", autocomplete: "off",
      "aria-label": `${name}, ${this.app.unit}`, "data-control": name });
    onTyped(box, () => this.app.ask({ do: "dimension", address: row.address, what, text: box.value,
                                      twin: this.twin.checked }));
    this.boxes.push({ box, row: n, at });
    return box;
  }
}

// saving: to a new file at once, over one that is there only when asked a second time
export class Saving {
  constructor(app) {
    const id = newId();
    this.path = h("input", { id, type: "text", autocomplete: "off", spellcheck: "false",
                             "data-control": "save as" });
    this.button = h("button", { type: "button", "data-control": "save",
      onclick: () => app.ask({ do: "save", path: this.path.value, over: false }) }, "Save");
    this.over = h("button", { type: "button", hidden: true, "data-control": "save over",
      onclick: () => app.ask({ do: "save", path: this.path.value, over: true }) },
      "Yes, write over that file");
    this.path.addEventListener("input", () => { this.over.hidden = true; });
    this.el = h("section", { class: "lw-save", "aria-label": "Save" }, h("h3", {}, "Save"),
      h("p", { class: "lw-note" }, "Limits, spacers and dimensions go to a model file. Comments "
        + "of the file they came from are not kept, and twins are written out."),
      h("div", { class: "lw-row" }, h("label", { for: id }, "Model file"), this.path, this.button,
        this.over));
  }

  update(told) {
    if (!this.path.value) this.path.value = told.save_as || "";
    this.over.hidden = !told.ask_over;
  }
}
