// The part table: any coordinate, arm or rod length changed by typing; only where a kernel answers.

class Parts {
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

  show() {
    const part = this.told.parts.find((p) => p.name === this.pick.value), unit = this.app.unit;
    if (!part) return;
    const heads = part.kind === "rod" ? ["rod", `length ${unit}`, "from the file"]
      : ["point", `FS ${unit}`, `BL ${unit}`, `WL ${unit}`, `arm ${unit}`, "from the file"];
    this.heads.replaceChildren(...heads.map((t) => h("th", { scope: "col" }, t)));
    const held = this.body.contains(document.activeElement)
      ? document.activeElement.dataset.control : null;
    this.body.replaceChildren(...part.rows.map((row) => this.row(row, heads, unit)));
    if (held) for (const box of this.body.querySelectorAll("input"))
      if (box.dataset.control === held) box.focus();
  }

  row(row, heads, unit) {
    const cells = row.values.map((value, n) => {
      if (value === null) return h("td", {}, "\u2013");
      const what = heads[n + 1].split(" ")[0], name = `${row.address} ${what}`;
      const box = h("input", { type: "text", inputmode: "decimal", value, autocomplete: "off",
                               "aria-label": `${name}, ${unit}`, "data-control": name });
      box.addEventListener("change", () => this.app.ask({
        do: "dimension", address: row.address, what, text: box.value, twin: this.twin.checked }));
      return h("td", {}, box);
    });
    return h("tr", { class: row.changed ? "lw-changed" : "" }, h("th", { scope: "row" }, row.label),
             ...cells, h("td", {}, row.changed || "as in the file"));
  }
}

// saving: to a new file at once, over one that is there only when asked a second time
class Saving {
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
