// Whether the kernel behind the page answers, and what to say when it doesn't.

/** @import { Kernel, Model } from "./types.js" */

import { saidTime } from "./wording.js";

export const SLOW = 1000;  // ms after which a wait is said
export const SILENT = 8000;  // ms after which a wait is said for the whole page
const ASKED_EVERY = 5000;  // ms after which is asked whether anybody is there
const GONE = ["dead", "terminating", "restarting", "autorestarting"];

/**
 * How things stand between page and kernel.
 * @param {object} now
 * @param {number | null} now.waited ms since the oldest request that has no answer, null for none
 * @param {string} now.ended why no answer can come any more, "" while one can
 * @param {string} now.kernel the kernel's own word for its state, "" where the front end tells none
 * @param {string} now.connection the same of the line to it
 * @returns {"ready" | "slow" | "silent" | "cut" | "ended"}
 */
export function standOf({ waited, ended, kernel, connection }) {
  if (ended || GONE.includes(kernel)) return "ended";
  if (connection && connection !== "connected") return "cut";
  if (waited === null || waited < SLOW) return "ready";
  return waited < SILENT ? "slow" : "silent";
}

/**
 * What the band over the page says; "" where there is nothing to say.
 * @param {ReturnType<typeof standOf>} stand
 * @param {string} ended
 * @param {string} kernel
 * @param {number} waited ms
 */
export function bandText(stand, ended, kernel, waited) {
  if (stand === "ended")
    return `${ended || "The kernel has ended"}. Every number here is from before, nothing is `
      + "worked out any more, and boxes that need the kernel are off. Run the cell again to have a "
      + "page that works; changes made since the file are listed under \u201cChanged from the "
      + "file\u201d.";
  if (stand === "cut")
    return "The line to the kernel is cut. Numbers here are from before; they follow again once it "
      + "is back.";
  if (stand !== "silent") return "";
  const why = kernel === "busy" ? "The kernel is busy with something else"
    : kernel === "" || kernel === "unknown" ? "The kernel is busy, or it has ended"
      : "The kernel doesn\u2019t answer this page; it may have been restarted";
  return `${why}: no answer for ${saidTime(waited)}. Numbers here are from before. `
    + (kernel === "busy" ? "They follow once the cell that runs has finished; to stop it, "
      + "interrupt the kernel." : "If it stays so, run the cell again.");
}

export class Link {
  /**
   * @param {Model} model
   * @param {Element} root of the page, about which the front end marks a lost line by a class
   * @param {() => void} changed called when how things stand may have changed
   */
  constructor(model, root, changed) {
    this.model = model;
    this.root = root;
    this.changed = changed;
    this.ended = "";
    /** @type {number | null} */
    this.since = null;
    this.heardAt = performance.now();
    /** @type {Kernel | null} */
    this.kernel = model.widget_manager?.kernel || null;
    this.look = () => this.seen();
    this.gone = () => { this.end("The kernel has been shut down"); };
    this.kernel?.statusChanged?.connect(this.look);
    this.kernel?.connectionStatusChanged?.connect(this.look);
    this.kernel?.disposed?.connect(this.gone);
    model.on("comm_live_update", this.look);
  }

  close() {
    this.kernel?.statusChanged?.disconnect(this.look);
    this.kernel?.connectionStatusChanged?.disconnect(this.look);
    this.kernel?.disposed?.disconnect(this.gone);
    this.model.off("comm_live_update", this.look);
  }

  /** @param {string} why */
  end(why) {
    if (!this.ended) this.ended = why;
    this.changed();
  }

  seen() {
    const status = this.status();
    if (status.endsWith("restarting")) this.end("The kernel has been restarted");
    else if (status === "dead" || status === "terminating") this.end("The kernel has ended");
    else this.changed();
  }

  // the front end marks a page whose comm it has given up, on a cut line too
  line() {
    return this.root.closest(".jupyter-widgets-disconnected") ? "disconnected"
      : this.kernel?.connectionStatus || "";
  }

  status() { return this.kernel?.status || ""; }

  asked() { if (this.since === null) this.since = performance.now(); }

  answered() {
    this.since = null;
    this.heardAt = performance.now();
  }

  waited() { return this.since === null ? null : performance.now() - this.since; }

  stand() {
    return standOf({ waited: this.waited(), ended: this.ended, kernel: this.status(),
                     connection: this.line() });
  }

  why() { return (this.ended || "The kernel has ended").replace("The", "the"); }

  band() { return bandText(this.stand(), this.ended, this.status(), this.waited() || 0); }

  // whether it is time to ask if anybody is there: only where the front end doesn't tell
  due() {
    return !this.kernel && !this.ended && this.since === null
      && performance.now() - this.heardAt > ASKED_EVERY;
  }
}
