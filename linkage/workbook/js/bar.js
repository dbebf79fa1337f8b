// The verdict, always in sight: each part a button that leads where it is about.

/** @import { Missed, Position } from "./types.js" */
/** @typedef {import("./view.js").Workbook} App */
/** @typedef {{ pair: number | null, place: Position | null, short: string, miss: Missed }} Place */

import { focusOn, h, newId, tell } from "./dom.js";
import { barOf } from "./standing.js";

export class Bar {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    this.key = "";
    this.at = -1;  // which miss the button has led to
    this.buttons = h("div", { class: "lw-verdict", role: "group", "aria-label": "Verdict" });
    this.more = h("div", { class: "lw-tell", role: "region", "aria-label": "What the verdict rests on",
                           id: newId(), hidden: true, tabindex: "-1" });
    this.aloud = h("p", { class: "lw-hidden", role: "status", "aria-live": "polite" });
    this.el = h("header", { class: "lw-bar" }, h("div", { class: "lw-who" },
      h("h2", {}, app.head.title), h("span", {}, [app.state.source, app.head.length.name]
        .filter(Boolean).join(", "))), this.buttons, this.aloud);
  }

  update() {
    const { app } = this, standing = app.found.standing();
    const parts = barOf(standing, app.found.required(), app.found.command(),
                                               app.state.stops.length > 0);
    const key = JSON.stringify(parts);
    if (key === this.key) return;
    this.key = key;
    this.at = -1;
    const focused = document.activeElement?.getAttribute("data-control");
    this.buttons.replaceChildren(...parts.map((part) => h("button", { type: "button",
      class: `lw-v lw-${part.state}`, "data-control": `verdict ${part.key}`,
      onclick: () => this.go(part.key) }, h("i", { "aria-hidden": "true" }, part.mark),
      h("span", { class: "lw-long" }, h("b", {}, part.big), " ", h("span", {}, part.small)),
      h("b", { class: "lw-tiny", "aria-hidden": "true" }, part.tiny))));
    if (focused?.startsWith("verdict ")) focusOn(this.buttons, focused);
    tell(this.aloud, `${standing.verdict ? standing.how : ""} ${parts.map((p) =>
      `${p.big}, ${p.small}`).join("; ")}`.trim());
  }

  /** @param {string} key */
  go(key) {
    const { app } = this, standing = app.found.standing(), misses = app.found.misses();
    if (key === "missed" && misses.length) {
      this.at = (this.at + 1) % misses.length;
      app.goTo(misses[this.at]);
      this.tellOf([]);
      return;
    }
    if (key === "directions") {
      const wrong = (app.state.directions || []).find((way) => way.miss);
      if (wrong && Object.keys(wrong.place).length) app.moveTo(wrong.place);
      app.sections.surfaces.scrollIntoView({ block: "nearest" });
      this.tellOf((app.state.directions || []).map((way) => way.text));
      return;
    }
    if (key === "travels") {
      const rows = app.found.required(), row = rows.find((r) => !r.ok) || rows[0];
      if (row && row.at !== null && row.input) app.moveTo({ [row.input]: row.at });
      this.tellOf(rows.map((r) => `${r.surface}: ${r.required}\u00b1${r.within}\u00b0 ${r.word} `
        + `${r.ok ? app.head.words.met : app.head.words.missed}`
        + (r.found === null ? "" : `, ${Math.abs(r.found).toFixed(2)}\u00b0 found`)));
      return;
    }
    const { verdict } = standing;
    if (!verdict) { this.tellOf(["The proof is under way."]); return; }
    if (key === "unjudged") {
      this.tellOf([...verdict.unknown, ...verdict.aside || []]);
      if (verdict.bare.length) app.solid.isolate(verdict.bare[0]);
    } else if (standing.how === "sampled")
      this.tellOf([`Sampled, not proven: ${standing.why} is not as in the file. `
        + `To prove it: ${app.found.command()}`]);
    else this.tellOf([verdict.sentence, ...verdict.covers, ...verdict.aside || []]);
  }

  /** @param {string[]} lines */
  tellOf(lines) {
    this.more.hidden = !lines.length;
    if (!lines.length) return;
    this.more.replaceChildren(h("ul", {}, ...lines.map((text) => h("li", {}, text))),
      h("button", { type: "button", "data-control": "close verdict",
                    onclick: () => { this.more.hidden = true; } }, "Close"));
    this.more.focus();
  }
}
