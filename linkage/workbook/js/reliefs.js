// A head in which some of the offered reliefs are cut.

/** @import { Head, PairHead } from "./types.js" */

/**
 * @param {Head} head
 * @param {Set<string>} cuts names of the solids that are cut
 * @returns {Head}
 */
export function headWith(head, cuts) {
  const done = head.offered.filter((offer) => cuts.has(offer.name));
  if (!done.length) return head;
  const solids = [...head.solids], pairs = [...head.pairs];
  for (const { solid, pieces, faces, kept } of done) {
    solids[solid] = { ...solids[solid], pieces, faces, bars: [] };
    for (const [n, m] of Object.entries(kept)) {
      const [one, two, required, rule, inputs, both = [-1, -1]] = pairs[Number(n)];
      pairs[Number(n)] = /** @type {PairHead} */ ([one, two, required, rule, inputs,
        one === solid ? [m, both[1]] : [both[0], m]]);
    }
  }
  return { ...head, solids, pairs };
}
