// How far each input may go, and what the surfaces have to reach.

/** @import { RequiredRow } from "./types.js" */
/** @typedef {import("./view.js").Workbook} App */

import { cellsOf, h, tableOf } from "./dom.js";
import { positionSlider } from "./stick.js";
import { fixed } from "./wording.js";

export class LimitPanel {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    this.rows = app.head.inputs.flatMap((input) => [0, 1].map((end) => {
      const [start, step, count] = input.axis;
      const control = `limit ${input.name} ${end ? "greatest" : "least"}`;
      const one = app.known(control, positionSlider(app, input, {
        name: `${input.name} limit ${input.words[end]}`, control,
        on: (v) => app.limit(input.name, end, v, control), rest: () => app.rested() }));
      if (end) one.reach(0, start + step * (count - 1));
      else one.reach(start, 0);
      return { one, input, end };
    }));
    this.list = tableOf("Required travels, up to the stops or else these limits",
                        ["surface", "required", "found", ""]);
    this.wait = app.waitOf("limit");
    this.el = h("section", { class: "lw-limits", "aria-label": "Travel limits" },
                h("h3", {}, "Travel limits"), ...this.rows.map((r) => r.one.row), this.wait,
                app.live ? null : h("p", { class: "lw-note" }, "This page works from disk: limits "
                  + "clip the drawing here; travels and proof stand as worked out when it was "
                  + "written."), this.list.table);
  }

  update() {
    const { app } = this, { words } = app.head;
    for (const { one, input, end } of this.rows) {
      one.show(app.limits[input.name][end]);
      one.enable(!app.ended());
    }
    this.list.table.classList.toggle("lw-stale", app.before());
    this.list.fill(app.found.required().map((r) => {
      const { found, how } = this.found(r);
      const ok = found !== null && Math.abs(found - r.required) <= r.within + 1e-9;
      return cellsOf([r.surface, `${r.required}\u00b1${r.within}\u00b0 ${r.word}`,
        found === null ? "\u2013" : `${fixed(found, 2)}\u00b0 ${how}`,
        ok ? words.met : words.missed], ok ? "" : "lw-missed");
    }));
  }

  /**
   * What a surface reaches within the limits, the other inputs at neutral.
   * @param {RequiredRow} r
   * @returns {{ found: number | null, how: string }}
   */
  found(r) {
    const { app } = this, [low, high] = app.limits[r.input] || [0, 0], { words } = app.head;
    const same = app.head.inputs.every(({ name }) => [0, 1].every((end) =>
      app.limits[name][end] === app.state.limits[name][end]));
    if (same && r.found !== null) return { found: r.found, how: app.found.standing().required
      ? words.exact : words.sampled };
    const s = app.head.surfaces.findIndex((surface) => surface.name === r.surface);
    let best = -Infinity;
    for (let n = 0; n <= 60; n++) {
      const at = { ...app.neutral(), [r.input]: low + (high - low) * n / 60 };
      const value = Math.sign(r.value) * app.poses.surface(s, at);
      if (value > best) best = value;
    }
    return { found: best === -Infinity ? null : best, how: words.sampled };
  }
}
