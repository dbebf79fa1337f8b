// How the page says numbers: as the library says them (what it says comes in by LINKAGE_WORDED).

import assert from "node:assert/strict";
import { test } from "node:test";

import { boxText, saidInput, saidLength, saidTime, saidTurn }
  from "../../linkage/workbook/js/wording.js";
import { readPosition } from "../../linkage/workbook/js/typed.js";

const { typed, words, inputs, lengths } = JSON.parse(process.env.LINKAGE_HEAD);
const worded = JSON.parse(process.env.LINKAGE_WORDED);
const plain = (text) => text.replaceAll("\u2212", "-");  // the page has the typographic minus
const inputOf = (name) => inputs.find((input) => input.name === name);

for (const [[mm, unit], said] of worded.length)
  test(`length ${mm} mm in ${unit}`, () => {
    assert.equal(plain(saidLength(mm, lengths[unit])), said);
  });

for (const [[degrees, digits], said] of worded.turn)
  test(`turn ${degrees}`, () => {
    assert.equal(saidTurn(degrees, ["TEU", "TED"], "\u00b0", words, digits), said);
  });

for (const [[name, value], said] of worded.input)
  test(`${name} ${value}`, () => {
    assert.equal(plain(saidInput(inputOf(name), value, words)), said);
  });

test("what a box shows is read back as the same number", () => {
  for (const input of inputs)
    for (const shown of [-17, -0.25, -0.00004, 0, 0.1, 12.3456])
      assert.equal(readPosition(boxText(input, shown * input.per), input, typed).value,
                   (Number(shown.toFixed(4)) || 0) * input.per);
});

test("no sign is bare where there are words for the two ways", () => {
  assert.equal(boxText(inputOf("pitch"), -13), "13 forward");
  assert.equal(boxText(inputOf("pitch"), 17), "17 aft");
  assert.equal(boxText(inputOf("yaw"), -13), "13 left pedal forward");
});

test("times", () => {
  assert.deepEqual([0, 999, 4000, 65000, 120000].map(saidTime),
                   ["0 s", "0 s", "4 s", "1 min 5 s", "2 min"]);
});
