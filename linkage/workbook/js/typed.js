// What a person types into a box, by the rules of the model file's own text: typed.py has the same
// rules, and one table of cases holds for both.

/** @import { InputHead, UnitWords } from "./types.js" */

const NUMBER = new RegExp("^(?:"
  + "([+-]?)(?:([0-9]+)(?:\\s+|-))?([0-9]+)\\s*/\\s*([1-9][0-9]*)\\s*(\\S.*)?"
  + "|([+-]?)((?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?)\\s*(\\S.*)?)$");
const LONGEST = 60;  // signs that a box is read to
const THOUSANDS = /^[1-9][0-9]{0,2},[0-9]{3}$/;

/**
 * The number of a text and what stands after it, or why it is none.
 * @param {string} text
 * @returns {{ value: number, rest: string, signed: boolean } | { wrong: string }}
 */
export function readNumber(text) {
  const plain = text.replaceAll("\u2212", "-").trim().split(/\s+/).join(" ");
  const shown = plain.length <= 40 ? plain : `${plain.slice(0, 40)}\u2026`;
  const match = plain.length <= LONGEST ? NUMBER.exec(plain) : null;
  if (!match) return { wrong: plain ? `"${shown}" is no number` : "the box is empty" };
  const [, sign1, whole, top, bottom, rest1, sign2, digits, rest2] = match;
  let size;
  if (top) size = Number(whole || 0) + Number(top) / Number(bottom);
  else {
    if (THOUSANDS.test(digits))
      return { wrong: `"${shown}" can be read in two ways; write ${digits.replace(",", "")} or `
        + digits.replace(",", ".") };
    size = Number(digits.replace(",", "."));
  }
  if (!(size < 1e300)) return { wrong: `"${shown}" is no number that a part can have` };
  const sign = top ? sign1 : sign2;
  return { value: sign === "-" ? -size : size, rest: (rest1 || rest2 || "").trim(),
           signed: Boolean(sign) };
}

/** @type {(words: Record<string, number>, word: string) => number | undefined} */
const perOf = (words, word) => (Object.hasOwn(words, word) ? words[word] : undefined);

/**
 * A length as a person types it, mm, or why it is none.
 * @param {string} text
 * @param {string} unit what a bare number means
 * @param {UnitWords} words
 * @returns {{ value: number } | { wrong: string }}
 */
export function readLength(text, unit, words) {
  const read = readNumber(text);
  if ("wrong" in read) return read;
  const per = perOf(words.length, read.rest || unit);
  if (per === undefined)
    return { wrong: `"${read.rest.slice(0, 40)}" is no unit of length; write it like 3.2 mm or `
      + "1/8 in" };
  return { value: read.value * per };
}

/**
 * A position of an input as a person types it, degrees (mm for a slide), or why it is none: a
 * number with its sign, or a size with the word for its way, such as "13 forward".
 * @param {string} text
 * @param {InputHead} input
 * @param {UnitWords} words
 * @returns {{ value: number } | { wrong: string }}
 */
export function readPosition(text, input, words) {
  const read = readNumber(text);
  if ("wrong" in read) return read;
  let { rest } = read;
  const way = input.words.findIndex((word) => rest.toLowerCase().endsWith(word.toLowerCase()));
  if (way >= 0) rest = rest.slice(0, rest.length - input.words[way].length).trim();
  const turns = input.unit === "\u00b0";
  const per = perOf(turns ? words.angle : words.length, rest || input.unit);
  if (per === undefined)
    return { wrong: `"${rest.slice(0, 40)}" is no unit of ${turns ? "angle" : "length"}; write it `
      + `like ${turns ? "12.5\u00b0" : input.unit === "in" ? "1/8 in" : "3.2 mm"} `
      + input.words[1] };
  if (way >= 0 && read.signed)
    return { wrong: `a sign and "${input.words[way]}" both say the way; write one of them` };
  return { value: read.value * per * (way === 0 ? -1 : 1) };
}
