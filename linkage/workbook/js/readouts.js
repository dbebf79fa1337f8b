// What is read off at the stick position, and over the whole travel: surfaces and clearance.

/** @import { Near, Proof } from "./types.js" */
/** @typedef {import("./view.js").Workbook} App */

import { drawCurves } from "./charts.js";
import { cellsOf, h, scrolled, tableOf, tell } from "./dom.js";
import { turnOf } from "./pose.js";
import { fixed, saidInput, saidLength, saidTurn } from "./wording.js";

const WORST = 12;  // pairs of the table over the whole travel

export class ReadoutPanel {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    const inputs = app.head.inputs;
    this.list = tableOf("Surfaces at this stick position", ["surface", "deflection",
      ...inputs.map((i) => `per ${i.name} \u00b0/${i.unit}`), ""]);
    this.live = h("p", { class: "lw-readout", "aria-live": "polite", role: "status" });
    this.wait = app.waitOf("exact");
    this.felt = h("p", { class: "lw-note" });
    const { surfaces } = app.head;
    this.followed = inputs.flatMap((_, k) => (surfaces.some((s) => s.inputs.includes(k)) ? [k] : []));
    this.curves = this.followed.map((k) => h("canvas", { role: "img", class: "lw-curve",
                                                         "data-curve": inputs[k].name }));
    const alone = inputs.filter((_, k) => !this.followed.includes(k)).map((i) => i.name);
    this.el = h("section", { class: "lw-surfaces", "aria-label": "Surfaces and gearing" },
      h("h3", {}, "Surfaces and gearing"), this.list.table, this.wait, this.live,
      this.felt,
      surfaces.length && alone.length ? h("p", { class: "lw-note" },
        `No surface follows ${alone.join(", ")}.`) : null,
      h("div", { class: "lw-curves" }, ...this.curves));
  }

  update() {
    const { app } = this, exact = app.exactNow(), { words } = app.head;
    const how = exact ? words.exact : words.sampled;
    this.list.table.classList.toggle("lw-stale", app.before());
    this.list.fill(app.head.surfaces.map((surface, s) => {
      const value = exact ? exact.surfaces[surface.name].deflection
        : app.poses.surface(s, app.position);
      const rates = app.head.inputs.map((input) => {
        const rate = exact ? exact.surfaces[surface.name].gearing[input.name]
          : app.poses.surface(s, app.position, input.name);
        return rate === null || rate === undefined || rate !== rate ? "\u2013"
          : fixed(rate * input.per, 3);
      });
      return [surface.name, saidTurn(value, surface.words, "\u00b0", words, 2), ...rates, how];
    }).concat(app.head.servos.map(({ name, body }) => {
      const turn = app.pose ? turnOf(app.pose.bodies[body], app.pose.bodies[app.head.bodies[body].on])
        : NaN;
      return [`servo ${name}`, turn === turn ? `${fixed(turn, 2)}\u00b0 from neutral` : words.lost,
              ...app.head.inputs.map(() => "\u2013"), words.sampled];
    })));
    this.followed.forEach((k, n) => {
      const canvas = this.curves[n], input = app.head.inputs[k];
      if (app.hidden.has(canvas)) return;
      drawCurves(canvas, app.poses, k, app, app.state.required, app.colours());
      canvas.setAttribute("aria-label", `Deflection of the surfaces against ${input.name}, `
        + `marker at ${saidInput(input, app.position[input.name], words)}`);
    });
  }

  say() {
    const { app } = this;
    const turns = app.head.surfaces.map((surface, s) => `${surface.name} `
      + saidTurn(app.poses.surface(s, app.position), surface.words, "\u00b0", app.head.words));
    const first = app.near.find((near) => app.head.pairs[near.pair][3] !== "stop");
    const { forces } = app.state;
    tell(this.felt, forces ? `Hand's force along the way that is played: without friction, against ${
      forces.of.join("; ")}.` : "");
    tell(this.live, `${app.saidPlace()}: ${turns.join(", ")}`
      + (first ? `; nearest ${app.pairName(first.pair)} ${app.saidGap(first)}` : ""));
  }
}

export class ClearancePanel {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    this.list = tableOf("Nearest pairs at this stick position, by gap",
                        ["pair", "gap here", "", "least over travel", "required", ""]);
    /** @type {Proof | null} */
    this.proof = null;
    this.state = h("p", { class: "lw-note", "aria-live": "polite" });
    this.worst = tableOf("Least over the whole travel, worst first",
                         ["pair", "least met", "proven", "required", "at", ""]);
    this.el = h("section", { class: "lw-clearance", "aria-label": "Clearance" },
      h("h3", {}, "Clearance"), this.state,
      scrolled("Nearest pairs", this.list.table),
      scrolled("Least over the whole travel", this.worst.table));
  }

  update() {
    const { app } = this, standing = app.found.standing(), other = standing.how === "sampled";
    const proof = other ? app.state.proof : standing.proof;  // of the file as it is, or as it stands
    this.list.fill(app.near.map((near) => this.cells(near, proof, other)));
    this.worst.table.classList.toggle("lw-stale", Boolean(proof && proof.old) || app.before()
      || other);
    this.list.table.classList.toggle("lw-stale", app.before());
    if (proof !== this.proof) {
      this.proof = proof;
      this.fillWorst(proof);
    }
    const waits = app.waiting("proof", "Proof over the whole travel");
    tell(this.state, waits + (other ? `Not proven as it stands here: ${standing.why} is not as in `
      + "the file. On show, dimmed: of the file as it is. " : "")
      + (proof ? `${waits ? " On show, dimmed: the one before. " : ""}${proof.old && !waits
        ? "From before the last change. " : ""}Proven for ${proof.for}: ${proof.said}`
        : waits ? "" : "Proof: none yet."));
  }

  /** @param {Near} near @param {Proof | null} proof @param {boolean} other of the file, not of this */
  cells(near, proof, other) {
    const { app } = this, { length, words } = app.head, exact = app.exactNow();
    const [, , required, rule] = app.head.pairs[near.pair], name = app.pairName(near.pair);
    const sure = exact && exact.gaps[name] !== undefined;
    const gap = sure ? exact.gaps[name] : near.gap, row = proof && proof.rows[name];
    const free = rule === "stop";
    const how = other ? "in the file" : proof?.old || app.before() ? words.before : words.proven;
    const word = gap <= 1e-6 ? words.touch : free ? rule : gap < required ? words.below
      : words.clear;
    return cellsOf([name, gap <= 1e-6 ? words.contact : saidLength(gap, length),
      sure ? words.exact : words.sampled,
      row ? `${saidLength(row.proven, length)} ${how}` : "\u2013",
      free ? "\u2013" : saidLength(required, length), word],
      word === words.touch || word === words.below ? "lw-missed" : "");
  }

  /** @param {Proof | null} proof */
  fillWorst(proof) {
    const { length, words } = this.app.head;
    const rows = proof ? Object.entries(proof.rows).filter(([, r]) => r.rule !== "stop"
      && r.rule !== "waived").sort((a, b) => (a[1].proven - a[1].required)
        - (b[1].proven - b[1].required)).slice(0, WORST) : [];
    this.worst.fill(rows.map(([name, r]) => cellsOf([name, saidLength(r.least, length),
      saidLength(r.proven, length), saidLength(r.required, length), r.at,
      r.ok ? words.met : r.least <= 0 ? words.touch : words.missed], r.ok ? "" : "lw-missed")));
  }
}
