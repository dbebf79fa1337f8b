// What stands beside the drawing: the stick, limits, spacers, readouts and lists.

import { drawCurves, drawPad } from "./charts.js";
import { slider } from "./controls.js";
import { h, newId, tableOf, tell } from "./dom.js";
import { fixed, saidInput, saidLength, saidTurn } from "./wording.js";

export class StickPanel {
  constructor(app) {
    this.app = app;
    const { inputs } = app.head;
    const pair = ["roll", "pitch"].map((n) => inputs.find((i) => i.name === n));
    this.pair = pair.every(Boolean) ? pair : inputs.length > 1 ? inputs.slice(0, 2) : null;
    this.sliders = inputs.map((input) => slider({
      name: input.name, unit: input.unit, control: `stick ${input.name}`,
      least: input.travel[0], most: input.travel[1], step: 0.1, value: 0,
      said: (v) => saidInput(input, v), on: (v) => app.move({ [input.name]: v }),
      rest: (wrong) => app.rested(wrong) }));
    // what a third input moves too can't be drawn without a kernel
    inputs.forEach((input, k) => {
      if (input.held && !app.live)
        for (const e of [this.sliders[k].range, this.sliders[k].box]) e.disabled = true;
    });
    this.el = h("section", { class: "lw-stick", "aria-label": "Stick" }, h("h3", {}, "Stick"),
                this.pair ? this.padOf() : null, ...this.sliders.map((s) => s.row),
                h("div", { class: "lw-row" }, h("button", { type: "button", "data-control":
                  "neutral", onclick: () => { app.move(app.neutral()); app.rested(); } },
                  "Neutral")));
    const still = inputs.filter((input) => input.held && !app.live).map((i) => i.name);
    if (still.length) this.el.append(h("p", { class: "lw-note" },
      `Held at neutral on a page from disk: ${still.join(", ")}.`));
    this.legend = h("ol", { class: "lw-legend", "aria-label": "What bounds the travel" });
    this.mapped = h("p", { class: "lw-note" });
    this.el.append(this.mapped, this.legend);
  }

  padOf() {
    const [across, up] = this.pair, { app } = this;
    this.canvas = h("canvas", { role: "img", class: "lw-pad-canvas" });
    const hint = newId();
    const pad = h("div", { class: "lw-pad", tabindex: "0", role: "group", "data-control": "pad",
      "aria-describedby": hint,
      "aria-label": `Stick pad, ${across.name} across and ${up.name} up and down, degrees` },
      this.canvas);
    const to = (event) => {
      const box = this.canvas.getBoundingClientRect();
      const [u, v] = this.back(event.clientX - box.left, event.clientY - box.top);
      app.move({ [across.name]: u, [up.name]: v });
    };
    let held = false;
    pad.addEventListener("pointerdown", (event) => {
      held = true;
      pad.setPointerCapture(event.pointerId);
      to(event);
    });
    pad.addEventListener("pointermove", (event) => { if (held) to(event); });
    for (const name of ["pointerup", "pointercancel"])
      pad.addEventListener(name, () => { if (held) app.rested(); held = false; });
    const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    pad.addEventListener("keydown", (event) => {
      const step = event.shiftKey ? 5 : 0.5, way = ways[event.key], at = app.position;
      if (way) app.move({ [across.name]: at[across.name] + way[0] * step,
                          [up.name]: at[up.name] + way[1] * step });
      else if (event.key === "Home") app.move(app.neutral());
      else return;
      event.preventDefault();
      event.stopPropagation();
      app.rested();
    });
    return h("div", {}, pad, h("p", { class: "lw-note", id: hint },
      "Drag, or arrow keys (Shift: 5\u00b0 steps; Home: neutral). Line: limits. Dashes: travel in "
      + "the file. Shaded: free of contact from neutral."));
  }

  update() {
    const { app } = this;
    this.sliders.forEach((one, k) => {
      const input = app.head.inputs[k], [low, high] = app.limits[input.name];
      one.bound(low, high);
      one.show(app.position[input.name]);
    });
    if (!this.pair) return;
    const [across, up] = this.pair, map = app.told.map;
    if (!app.hidden.has(this.canvas)) {
      const { position, limits } = app, { wanted } = app.told;
      this.back = drawPad(this.canvas, { across, up, position, limits, wanted, map }, app.look);
    }
    this.canvas.setAttribute("aria-label", `Travel map: stick at ${app.saidPlace()}`);
    if (map !== this.map) {
      this.map = map;
      const names = map ? Object.keys(map.boundaries) : [];
      this.legend.replaceChildren(...names.map((n) => h("li", {}, n)));
    }
    tell(this.mapped, !map ? app.told.busy.includes("map") ? "Travel map: being worked out\u2026"
      : "Travel map: none" : `${(100 * map.usable).toFixed(1)} % of the wanted rectangle is free `
      + `of contact from neutral on${map.old ? " (before the last change)" : ""}. `
      + (Object.keys(map.boundaries).length ? "Bounded by:" : "Nothing bounds it."));
  }
}

export class LimitPanel {
  constructor(app) {
    this.app = app;
    this.rows = [];
    for (const input of app.head.inputs) [0, 1].forEach((end) => {
      const [start, step, count] = input.axis, far = end ? start + step * (count - 1) : start;
      const one = slider({
        name: `${input.name} limit ${input.words[end]}`, unit: input.unit,
        control: `limit ${input.name} ${end ? "greatest" : "least"}`,
        least: end ? 0 : far, most: end ? far : 0, step: 0.1, value: app.limits[input.name][end],
        said: (v) => saidInput(input, v), on: (v) => app.limit(input.name, end, v),
        rest: (wrong) => app.rested(wrong) });
      this.rows.push({ one, input, end });
    });
    this.list = tableOf("Required travels within these limits",
                        ["surface", "required", "found", ""]);
    this.el = h("section", { class: "lw-limits", "aria-label": "Travel limits" },
                h("h3", {}, "Travel limits"), ...this.rows.map((r) => r.one.row),
                app.live ? null : h("p", { class: "lw-note" }, "This page works from disk: limits "
                  + "clip the drawing here; travels and proof stand as worked out when it was "
                  + "written."), this.list.table);
  }

  update() {
    const { app } = this;
    for (const { one, input, end } of this.rows) one.show(app.limits[input.name][end]);
    this.list.fill(app.told.required.map((r) => {
      const { found, how } = this.found(r), ok = Math.abs(found - r.required) <= r.within + 1e-9;
      return Object.assign([r.surface, `${r.required}\u00b1${r.within}\u00b0 ${r.word}`,
        found === null ? "\u2013" : `${fixed(found, 2)}\u00b0 ${how}`, ok ? "met" : "MISSED"],
        { state: ok ? "" : "lw-missed" });
    }));
  }

  // what a surface reaches within the limits, the other inputs at neutral
  found(r) {
    const { app } = this, [low, high] = app.limits[r.input] || [0, 0];
    const same = app.head.inputs.every(({ name }) => [0, 1].every((end) =>
      app.limits[name][end] === app.told.limits[name][end]));
    if (same && r.found !== null) return { found: r.found, how: "exact" };
    const s = app.head.surfaces.findIndex((surface) => surface.name === r.surface);
    let best = -Infinity;
    for (let n = 0; n <= 60; n++) {
      const at = { ...app.neutral(), [r.input]: low + (high - low) * n / 60 };
      const value = Math.sign(r.value) * app.poses.surface(s, at);
      if (value > best) best = value;
    }
    return { found: best === -Infinity ? null : best, how: "sampled" };
  }
}

export class StopPanel {
  constructor(app) {
    this.app = app;
    const { unit } = app, per = unit === "in" ? 25.4 : 1;
    this.rows = app.told.stops.filter((stop) => stop.on).map((stop) => {
      const list = newId(), to = (mm) => app.spacer(stop.name, mm);
      const one = slider({
        name: `spacer ${stop.name}`, unit, control: `spacer ${stop.name}`, list,
        least: 0, most: Number((stop.most / per).toFixed(4)), step: unit === "in" ? 0.001 : 0.01,
        value: stop.thickness / per, on: (v) => to(v * per), rest: (wrong) => app.rested(wrong),
        said: () => this.saidStop(stop.name) });
      const stock = h("div", { class: "lw-stock", role: "group",
                               "aria-label": `stock for ${stop.name}` }, "stock:",
        ...stop.stock.map((mm) => h("button", { type: "button",
          "aria-label": `${stop.name}: use stock ${saidLength(mm, unit)}`,
          "data-control": `stock ${stop.name} ${saidLength(mm, unit)}`,
          onclick: () => { to(mm); app.rested(); } }, saidLength(mm, unit))));
      const marks = h("datalist", { id: list }, ...stop.stock.map((mm) =>
        h("option", { value: Number((mm / per).toFixed(4)) })));
      return { name: stop.name, one, el: h("div", { class: "lw-spacer" }, one.row, marks, stock) };
    });
    this.list = tableOf("Stops", ["stop", "reached at", "spacer",
                                  ...app.head.surfaces.map((s) => s.name), "governs"]);
    this.el = h("section", { class: "lw-stops", "aria-label": "Stops and spacers" },
      h("h3", {}, "Stops and spacers"), ...this.rows.map((r) => r.el),
      app.live || !this.rows.length ? null : h("p", { class: "lw-note" }, "This page works from "
        + "disk: angles are read from charts worked out when it was written."),
      app.told.stops.length ? h("div", { class: "lw-scroll", tabindex: "0", role: "group",
        "aria-label": "Stops" }, this.list.table) : h("p", { class: "lw-note" },
        "none in the file"));
  }

  input(stop) { return this.app.head.inputs.find((i) => i.name === stop.input); }

  saidStop(name) {
    const stop = this.app.stopNow(name), input = this.input(stop);
    if (stop.error) return stop.error;
    return stop.angle === null ? "\u2026" : `${saidInput(input, stop.angle, 2)} (${stop.how})`;
  }

  update() {
    const { app } = this, per = app.unit === "in" ? 25.4 : 1;
    for (const { name, one } of this.rows) one.show(app.spacers[name] / per);
    this.list.fill(app.told.stops.map(({ name }) => {
      const stop = app.stopNow(name), input = this.input(stop);
      const at = stop.angle === null ? null : { ...app.neutral(), [stop.input]: stop.angle };
      const turns = app.head.surfaces.map((surface, s) => at === null ? "\u2013"
        : saidTurn(stop.how === "exact" ? stop.deflections[surface.name]
                                        : app.poses.surface(s, at), surface.words, "\u00b0"));
      return [name, stop.error || (stop.angle === null ? "\u2026"
        : `${saidInput(input, stop.angle, 2)} ${stop.how}`),
        stop.on ? saidLength(app.spacers[name], app.unit) : "\u2013", ...turns,
        stop.governs === null ? "\u2026" : stop.governs ? "governs" : `no: ${stop.reason}`];
    }));
  }
}

export class ReadoutPanel {
  constructor(app) {
    this.app = app;
    const inputs = app.head.inputs;
    this.list = tableOf("Surfaces at this stick position", ["surface", "deflection",
      ...inputs.map((i) => `per ${i.name} \u00b0`), ""]);
    this.live = h("p", { class: "lw-readout", "aria-live": "polite", role: "status" });
    this.curves = inputs.map((input) => h("canvas", { role: "img", class: "lw-curve",
                                                      "data-curve": input.name }));
    this.el = h("section", { class: "lw-surfaces", "aria-label": "Surfaces and gearing" },
      h("h3", {}, "Surfaces and gearing"), this.list.table, this.live,
      h("div", { class: "lw-curves" }, ...this.curves));
  }

  update() {
    const { app } = this, exact = app.exactNow();
    const how = exact ? "exact" : "sampled";
    this.list.fill(app.head.surfaces.map((surface, s) => {
      const value = exact ? exact.surfaces[surface.name].deflection
        : app.poses.surface(s, app.position);
      const rates = app.head.inputs.map((input) => {
        const rate = exact ? exact.surfaces[surface.name].gearing[input.name]
          : app.poses.surface(s, app.position, input.name);
        return rate === null || rate !== rate ? "\u2013" : fixed(rate, 3);
      });
      return [surface.name, saidTurn(value, surface.words, "\u00b0", 2), ...rates, how];
    }));
    app.head.inputs.forEach((input, k) => {
      const canvas = this.curves[k];
      if (app.hidden.has(canvas)) return;
      drawCurves(canvas, app.poses, k, app, app.told.required, app.look);
      canvas.setAttribute("aria-label", `Deflection of the surfaces against ${input.name}, `
        + `marker at ${saidInput(input, app.position[input.name])}`);
    });
  }

  say() {
    const { app } = this;
    const turns = app.head.surfaces.map((surface, s) => `${surface.name} `
      + saidTurn(app.poses.surface(s, app.position), surface.words, "\u00b0"));
    const first = app.near.find((near) => app.head.pairs[near.pair][3] !== "stop");
    tell(this.live, `${app.saidPlace()}: ${turns.join(", ")}`
      + (first ? `; nearest ${app.pairName(first.pair)} ${app.saidGap(first)}` : ""));
  }
}

export class ClearancePanel {
  constructor(app) {
    this.app = app;
    this.list = tableOf("Nearest pairs at this stick position, by gap",
                        ["pair", "gap here", "", "least over travel", "required", ""]);
    this.state = h("p", { class: "lw-note", "aria-live": "polite" });
    this.worst = tableOf("Least over the whole travel, worst first",
                         ["pair", "least met", "proven", "required", "at", ""]);
    this.el = h("section", { class: "lw-clearance", "aria-label": "Clearance" },
      h("h3", {}, "Clearance"), this.state,
      h("div", { class: "lw-scroll", tabindex: "0", role: "group",
                 "aria-label": "Nearest pairs" }, this.list.table),
      h("div", { class: "lw-scroll", tabindex: "0", role: "group",
                 "aria-label": "Least over the whole travel" }, this.worst.table));
  }

  update() {
    const { app } = this, { unit } = app, exact = app.exactNow(), proof = app.told.proof;
    this.list.fill(app.near.map((near) => {
      const [, , required, rule] = app.head.pairs[near.pair], name = app.pairName(near.pair);
      const sure = exact && exact.gaps[name] !== undefined;
      const gap = sure ? exact.gaps[name] : near.gap, row = proof && proof.rows[name];
      const free = rule === "stop";
      const word = gap <= 1e-6 ? "TOUCH" : free ? rule : gap < required ? "BELOW" : "clear";
      return Object.assign([name, gap <= 1e-6 ? "contact" : saidLength(gap, unit),
        sure ? "exact" : "sampled", row ? `${saidLength(row.proven, unit)} proven` : "\u2013",
        free ? "\u2013" : saidLength(required, unit), word],
        { state: word === "TOUCH" || word === "BELOW" ? "lw-missed" : "" });
    }));
    if (proof !== this.proof) {
      this.proof = proof;
      const rows = proof ? Object.entries(proof.rows).filter(([, r]) => r.rule !== "stop"
        && r.rule !== "waived").sort((a, b) => (a[1].proven - a[1].required)
          - (b[1].proven - b[1].required)).slice(0, 12) : [];
      this.worst.fill(rows.map(([name, r]) => Object.assign([name, saidLength(r.least, unit),
        saidLength(r.proven, unit), saidLength(r.required, unit), r.at,
        r.ok ? "met" : r.least <= 0 ? "TOUCH" : "MISSED"], { state: r.ok ? "" : "lw-missed" })));
    }
    tell(this.state, app.told.busy.includes("proof") ? "Proof over the whole travel: being worked "
      + "out\u2026" : proof ? `Proven for ${proof.for}: ${proof.said}` : "Proof: none yet.");
  }
}
