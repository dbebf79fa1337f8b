// What is typed in a box, on the table that the file's parser is tested on too.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { readLength, readNumber, readPosition } from "../../linkage/workbook/js/typed.js";

const read = (name) => JSON.parse(readFileSync(new URL(name, import.meta.url), "utf-8"));
const table = read("typed.json");
const { typed: words, inputs } = JSON.parse(process.env.LINKAGE_HEAD);

const near = (a, b) => Math.abs(a - b) <= 1e-12 * Math.max(1, Math.abs(b));

for (const row of table.lengths) {
  test(`length ${JSON.stringify(row.text)} in a box in ${row.unit}`, () => {
    const got = readLength(row.text, row.unit, words);
    if (row.typed === null) {
      assert.ok("wrong" in got, `read as ${got.value}`);
      assert.ok(got.wrong.length > 5 && got.wrong.length < 200);
    } else assert.ok(near(got.value, row.typed), `${JSON.stringify(got)}, not ${row.typed}`);
  });
}

for (const row of table.positions) {
  test(`position ${JSON.stringify(row.text)} of ${row.input}`, () => {
    const got = readPosition(row.text, inputs.find((input) => input.name === row.input), words);
    if (row.value === null) assert.ok("wrong" in got, `read as ${got.value}`);
    else assert.ok(near(got.value, row.value), `${JSON.stringify(got)}, not ${row.value}`);
  });
}

test("what can be read in two ways is refused with both", () => {
  assert.deepEqual(readNumber("1,500"),
                   { wrong: '"1,500" can be read in two ways; write 1500 or 1.500' });
});

test("any text is a finite number or refused (2000 seeded texts)", () => {
  let seed = 12345;
  const next = (n) => { seed = (seed * 1103515245 + 12345) % 2147483648; return seed % n; };
  const signs = "0123456789./-+, eE°inmft'\"\u2212\u2033";
  for (let n = 0; n < 2000; n++) {
    const text = Array.from({ length: next(12) }, () => signs[next(signs.length)]).join("");
    const got = readLength(text, "in", words);
    assert.ok("wrong" in got || Number.isFinite(got.value), text);
  }
});
