// What a page is laid out for, and what is read off what it was given.

/** @import { Head, Model, State } from "./types.js" */

/** @type {{ text: string, head: Head | null }} */
const READ = { text: "", head: null };  // the text is read once

/** @param {Model} model @returns {Head} */
export const headOf = (model) => {
  const head = model.get("head");
  if (typeof head !== "string") return head;
  if (head !== READ.text) [READ.text, READ.head] = [head, JSON.parse(head)];  // from a kernel
  return /** @type {Head} */ (READ.head);
};

/** @param {Head} head */
export const namesOf = (head) => head.pairs.map(([i, j]) =>
  `${head.solids[i].name} | ${head.solids[j].name}`);
/** @param {State} state @returns {Record<string, number[]>} */
export const limitsOf = (state) => Object.fromEntries(Object.entries(state.limits).map(
  ([n, t]) => [n, [...t]]));
/** @param {State} state @returns {Record<string, number>} */
export const spacersOf = (state) =>
  Object.fromEntries(state.stops.map((s) => [s.name, s.thickness]));

// with other inputs, surfaces or stops a page is made anew
/** @param {Head} head @param {State} state */
export const shapeOf = (head, state) => JSON.stringify([
  head.inputs.map((i) => [i.name, i.unit, i.words]), head.surfaces.map((s) => s.name),
  state.stops.map((s) => [s.name, Boolean(s.on), s.stock]), head.title, head.length.name]);

// canvases that are out of sight, and sizes of all of them
/**
 * @param {HTMLElement} root
 * @param {Set<unknown>} hidden
 * @param {() => void} changed
 */
export function watchSight(root, hidden, changed) {
  const sight = new IntersectionObserver((seen) => {
    for (const { target, isIntersecting } of seen) hidden[isIntersecting ? "delete" : "add"](target);
    changed();
  });
  for (const canvas of root.querySelectorAll("canvas")) sight.observe(canvas);
  return sight;
}
