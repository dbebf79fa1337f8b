// Numbers as people read them: never a bare sign where there are words for the two ways.

/** @import { InputHead, LengthUnit, Words } from "./types.js" */

/**
 * The size of a number with so many digits as a shop rounds it, a half away from zero: `toFixed`
 * takes an exact half up, and the library has the same allowance for one that came out too small.
 * @param {number} value
 * @param {number} digits
 */
const sizeText = (value, digits) => (Math.abs(value) * (1 + 1e-14)).toFixed(digits);

/** @param {number} value @param {number} digits */
export const fixed = (value, digits) => {
  const text = sizeText(value, digits);
  return (value < 0 && Number(text) !== 0 ? "\u2212" : "") + text;
};

/** @param {number} value */
export const trimmed = (value) => String(Number(value.toPrecision(6))).replace("-", "\u2212");

/**
 * A turn with the word for its way.
 * @param {number | null | undefined} value
 * @param {string[]} ways what less and more than 0 are called
 * @param {string} unit
 * @param {Words} words
 * @param {number} [digits]
 */
export function saidTurn(value, [less, more], unit, words, digits = 1) {
  if (value === null || value === undefined || value !== value) return words.lost;
  const size = sizeText(value, digits);
  if (Number(size) === 0) return `${size}${unit}`;
  return `${size}${unit} ${value < 0 ? less : more}`;
}

/**
 * A stick position in words.
 * @param {InputHead} input
 * @param {number} position degrees, or mm of a slide
 * @param {Words} words
 * @param {number} [finest] digits, where the input has no more of its own
 */
export function saidInput(input, position, words, finest = 1) {
  const value = position / input.per, digits = Math.max(finest, input.digits);
  if (Number(sizeText(value, digits)) === 0) return words.neutral;
  const unit = input.unit === "\u00b0" ? input.unit : ` ${input.unit}`;
  if (!input.signed) return saidTurn(value, input.words, unit, words, digits);
  return `${value > 0 ? "+" : ""}${fixed(value, digits)}${unit} ${input.name}`;
}

/**
 * A position as it stands in a box whose label has the unit: "12.5 aft", or "-3" for want of words.
 * @param {InputHead} input
 * @param {number} position degrees, or mm of a slide
 */
export function boxText(input, position) {
  const number = Number((position / input.per).toFixed(4));
  if (number === 0) return "0";
  if (input.signed) return String(number).replace("-", "\u2212");
  return `${Math.abs(number)} ${input.words[number < 0 ? 0 : 1]}`;
}

/**
 * @param {number | null | undefined} mm
 * @param {LengthUnit} unit
 */
export function saidLength(mm, unit) {
  if (mm === null || mm === undefined || mm !== mm) return "\u2013";
  return `${fixed(mm / unit.mm, unit.digits)} ${unit.name}`;
}

/** How long ago or for how long, from milliseconds: "4 s", "2 min 5 s". @param {number} ms */
export function saidTime(ms) {
  const s = Math.max(0, Math.floor(ms / 1000));
  return s < 60 ? `${s} s` : `${Math.floor(s / 60)} min${s % 60 ? ` ${s % 60} s` : ""}`;
}
