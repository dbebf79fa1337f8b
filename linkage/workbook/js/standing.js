// What the page may say of the system as it stands here, and how sure that is.

/** @import { Cure, Missed, Proof, RequiredRow, StockRow, Verdict } from "./types.js" */
/**
 * @typedef {{ missed: Missed[], verdict: Verdict | null, proof: Proof | null,
 *   required: RequiredRow[] | null, how: "proven" | "sampled" | "before" | "waiting",
 *   why: string }} Standing why: what is different from what was proven
 */

/** @param {number} a @param {number} b */
const alike = (a, b) => Math.abs(a - b) < 1e-9;

/**
 * What is said of a page from disk: proven for the file, for one spacer made of other stock, and
 * for offered reliefs that no stop sits on; all else is sampled.
 * @param {{ verdict: Verdict | null, proof: Proof | null, cures: Cure[] | null,
 *   stock: StockRow[], required: RequiredRow[] }} state
 * @param {[string, number, number][]} spacers stop, thickness in the file, thickness now
 * @param {Set<string>} cuts names of the solids relieved here
 * @param {Set<string>} faces names of the solids that stops touch with
 * @returns {Standing}
 */
export function standingOf(state, spacers, cuts, faces) {
  const { verdict, proof, required } = state;
  if (!verdict) return { missed: [], verdict, proof, required, how: "waiting", why: "" };
  const moved = spacers.filter(([, was, now]) => !alike(was, now));
  if (!moved.length) {
    const done = (state.cures || []).filter((cure) => cuts.has(cure.solid));
    const cured = new Set(done.flatMap((cure) => cure.pairs.map((p) => p.pair)));
    const missed = verdict.missed.filter((m) => m.kind !== "clearance" || !cured.has(m.what));
    // proven of every pair of its plate, not of what a stop that sits on the plate then lets through
    const open = done.filter((cure) => faces.has(cure.solid)).map((cure) => cure.solid);
    return { missed, verdict, proof: proof && done.length ? relieved(proof, done) : proof, required,
             how: open.length ? "sampled" : "proven",
             why: open.map((name) => `cut in ${name}, on which a stop sits,`).join(" ") };
  }
  const row = moved.length === 1 && !cuts.size ? state.stock.find((r) =>
    r.stop === moved[0][0] && alike(r.thickness, moved[0][2])) : undefined;
  if (row) return { missed: row.verdict.missed, verdict: row.verdict, proof: row.proof,
                    required: row.required, how: "proven", why: "" };
  const why = [...moved.map(([name]) => `spacer ${name}`), ...[...cuts].map((n) => `cut in ${n}`)];
  return { missed: [], verdict, proof: null, required: null, how: "sampled", why: why.join(", ") };
}

// the proof with what was proven of the pairs that reliefs cure
/** @param {Proof} proof @param {Cure[]} done @returns {Proof} */
function relieved(proof, done) {
  const rows = { ...proof.rows };
  for (const { pair, after } of done.flatMap((cure) => cure.pairs))
    if (rows[pair]) rows[pair] = { ...rows[pair], least: after, proven: after, ok: true };
  return { ...proof, rows };
}

const UNASKED = "not asked for: ";

/**
 * Kinds that the page did not ask at all, such as loads: nothing is said of them.
 * @param {Verdict} verdict
 */
export const unasked = (verdict) => (verdict.aside || []).filter((t) => t.startsWith(UNASKED))
  .flatMap((t) => t.slice(UNASKED.length).split(", "));

/**
 * The parts of the verdict bar: what each says, in which state, so that no colour speaks alone.
 * @param {Standing} standing
 * @param {RequiredRow[]} required
 * @param {string} command what proves it
 * @param {boolean} stopped whether the file has stops
 * @returns {{ key: string, mark: string, state: "bad" | "open" | "ok", big: string, small: string,
 *   tiny: string }[]} tiny: what there is room for on a small screen
 */
export function barOf(standing, required, command, stopped) {
  const { missed, verdict, how, proof } = standing, sure = how === "proven";
  /** @param {boolean} good @returns {"bad" | "open" | "ok"} */
  const state = (good) => (!good ? "bad" : sure ? "ok" : "open");
  const marks = { bad: "\u25c6", open: "\u25d0", ok: "\u2713" };
  /** @type {[string, "bad" | "open" | "ok", string, string][]} */
  const rows = [];
  if (!verdict) {
    rows.push(["missed", "open", "Being worked out", "directions, travels, clearance"]);
    return named(rows, marks);
  }
  const open = missed.filter((m) => !m.decided).length, short = missed.length - open;
  const counted = [short ? `${short} missed` : "", open ? `${open} not decided` : ""]
    .filter(Boolean).join(", ");
  rows.push(["missed", short ? "bad" : open ? "open" : state(true),
             counted || (sure ? "None missed" : "None seen missed"),
             ofWhat(missed, verdict)]);
  const [right, of] = verdict.ways;
  if (of) rows.push(["directions", state(right === of),
                     right === of ? "Directions right" : "Directions wrong",
                     `${right} of ${of}`]);
  const met = required.filter((r) => r.ok).length;
  if (required.length) rows.push(["travels", state(met === required.length),
    met === required.length ? "Travels met" : `${required.length - met} travels missed`,
    `${met} of ${required.length}`]);
  const bare = verdict.bare.length, not = verdict.unknown.length + unasked(verdict).length;
  if (bare || not) rows.push(["unjudged", "open", bare ? `${bare} without shape` : `${not} not judged`,
                              bare ? "nothing proven of it" : "press to read"]);
  if (sure && !proof) rows.push(["proof", "open", "No clearance proof", "press to read"]);
  else rows.push(["proof", sure && !open ? "ok" : "open",
             sure ? `Proven, ${verdict.build.startsWith("as drawn") ? "as drawn" : "as built"}`
               : how === "before" ? "From before" : how === "waiting" ? "Being proven" : "Sampled",
             sure ? stopped ? "over what the stops leave" : "over the wanted travel" : how === "sampled" ? `to prove: ${command}`
               : "the proof is under way"]);
  return named(rows, marks);
}

// what was looked at, and how much of what is missed is no clearance
/** @param {Missed[]} missed @param {Verdict} verdict */
function ofWhat(missed, verdict) {
  const near = missed.filter((m) => m.kind === "clearance").length, others = missed.length - near;
  const clearances = verdict.pairs ? `${verdict.pairs} clearances` : "no clearance";
  return (others ? `${near} of ${clearances}, ${others} other${others > 1 ? "s" : ""}`
    : `of ${clearances}`) + (unasked(verdict).length ? ", no loads" : "");
}

/** @type {Record<string, string>} */
const TINY = { directions: "Ways", travels: "Travels", unjudged: "", proof: "" };

/** @param {[string, "bad" | "open" | "ok", string, string][]} rows @param {Record<string, string>} marks */
const named = (rows, marks) => rows.map(([key, state, big, small]) => ({ key, state, big, small,
  mark: marks[state], tiny: key === "proof" ? big.split(",")[0] : TINY[key] ?? big }));

/**
 * Whether a spacer made of other stock has a pair met that the file misses.
 * @param {StockRow} row
 * @param {{ verdict: Verdict | null }} state
 * @param {string} name of the pair
 */
export function rowsKept(row, state, name) {
  return name !== "" && missedIn(state.verdict).has(name) && !missedIn(row.verdict).has(name);
}

/** @param {Verdict | null} verdict */
const missedIn = (verdict) => new Set((verdict?.missed || []).map((m) => m.what || m.kind));

/**
 * What a spacer made of other stock costs that the file has, and in words what is then proven.
 * @param {StockRow} row
 * @param {{ verdict: Verdict | null }} state
 * @returns {string}
 */
export function saidCost(row, state) {
  const before = missedIn(state.verdict);
  const lost = [...new Set([...row.required.filter((r) => !r.ok).map((r) => r.surface),
    ...row.verdict.missed.map((m) => m.what || m.kind).filter((what) => !before.has(what)
      && !row.required.some((r) => !r.ok && what.startsWith(r.surface)))])];
  if (lost.length) return `\u25c6 loses ${lost.join(", ")}`;
  return `\u2713 proven${row.required.length ? "; travels kept" : ""}`;
}
