// A part added on the page in the words of the trade; and what is said of the model file.

/** @import { State } from "./types.js" */
/** @typedef {import("./view.js").Workbook} App */

import { h, newId, tell } from "./dom.js";
import { sketchOf } from "./sketch.js";

export class AddPart {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    const id = newId(), kinds = Object.keys(app.head.forms);
    this.pick = h("select", { id, "data-control": "kind of part", onchange: () => this.ask() },
                  ...kinds.map((kind) => h("option", { value: kind }, kind)));
    this.fields = h("div", { class: "lw-fields" });
    this.add = h("button", { type: "button", "data-control": "add part",
                             onclick: () => this.send() }, "Add it");
    this.note = app.noteOf("add part");
    this.el = h("section", { class: "lw-add", "aria-label": "Add a part",
                             hidden: app.head.bodies.length > 1 },
      h("h3", {}, "Add a part"), h("div", { class: "lw-row" }, h("label", { for: id }, "Kind"),
      this.pick), this.fields, h("div", { class: "lw-row" }, this.add), this.note);
    /** @type {Map<string, HTMLInputElement>} */
    this.boxes = new Map();
    this.ask();
  }

  ask() {
    this.boxes = new Map();
    this.fields.replaceChildren(...this.app.head.forms[this.pick.value].map(([key, label, example]) => {
      const id = newId(), box = h("input", { id, type: "text", autocomplete: "off",
        spellcheck: "false", "data-control": `new ${key}`, placeholder: example });
      this.boxes.set(key, box);
      box.addEventListener("keydown", (event) => { if (event.key === "Enter") this.send(); });
      box.addEventListener("input", () => this.app.solid.reframe());
      return h("div", { class: "lw-field" }, h("label", { for: id }, label), box);
    }));
  }

  typed() { return Object.fromEntries([...this.boxes].map(([key, box]) => [key, box.value])); }

  send() {
    this.app.ask({ do: "add", kind: this.pick.value, fields: this.typed(), where: "add part" });
  }

  // what is typed so far, as drawn
  sketch() {
    const { head, pose } = this.app;
    return this.el.hidden || !pose ? null : sketchOf(this.typed(), head, pose);
  }

  /** The kind that a person is at. */
  held() { return this.el.hidden ? "" : this.pick.value; }

  /** After a part has come, where the hand was. @param {string} kind */
  goOn(kind) {
    this.el.hidden = false;
    this.pick.value = kind;
    this.ask();
    this.pick.focus({ preventScroll: true });
  }

  /** Shown or put away. */
  toggle() {
    this.el.hidden = !this.el.hidden;
    this.app.solid.reframe();
    if (!this.el.hidden) this.pick.focus();
  }

  update() { this.enable(); }

  enable() { this.add.disabled = this.app.ended(); }
}

// what has happened to the model file on disk, and whether changes go into it at once
export class FilePanel {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    this.words = h("p", { class: "lw-filesaid", role: "alert" });
    this.again = h("button", { type: "button", hidden: true, "data-control": "read again",
      onclick: () => app.ask({ do: "reread", where: "file" }) }, "Read the file again");
    this.patch = h("input", { type: "checkbox", "data-control": "patch", onchange: () =>
      app.ask({ do: "patch", on: this.patch.checked, where: "file" }) });
    this.note = app.noteOf("file");
    this.el = h("section", { class: "lw-file", "aria-label": "Model file" },
      h("h3", {}, "Model file"), h("label", { class: "lw-check" }, this.patch,
        ` write each change into ${app.state.source || "the file"} at once`),
      this.words, h("div", { class: "lw-row" }, this.again), this.note);
  }

  /** @param {State} state */
  update(state) {
    tell(this.words, state.file || "");
    this.again.hidden = !state.file;
    this.patch.checked = Boolean(state.patched);
    this.enable();
  }

  enable() { this.patch.disabled = this.again.disabled = this.app.ended() || !this.app.state.source; }
}
