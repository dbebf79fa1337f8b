// When a page says that its kernel doesn't answer.

import assert from "node:assert/strict";
import { test } from "node:test";

import { bandText, standOf } from "../../linkage/workbook/js/link.js";

const well = { waited: null, ended: "", kernel: "idle", connection: "connected" };
const stand = (now) => standOf({ ...well, ...now });

test("nothing is said while nothing is awaited", () => {
  assert.equal(stand({}), "ready");
  assert.equal(stand({ waited: 400 }), "ready");
  assert.equal(stand({ kernel: "", connection: "" }), "ready");
  assert.equal(bandText("ready", "", "idle", 0), "");
  assert.equal(bandText("slow", "", "busy", 3000), "");
});

test("an answer that takes over a second is awaited aloud, then the whole page says so", () => {
  assert.equal(stand({ waited: 1000 }), "slow");
  assert.equal(stand({ waited: 7999, kernel: "busy" }), "slow");
  assert.equal(stand({ waited: 8000 }), "silent");
  assert.match(bandText("silent", "", "busy", 12000), /busy .* no answer for 12 s.*from before/);
  assert.match(bandText("silent", "", "idle", 9000), /may have been restarted/);
  assert.match(bandText("silent", "", "", 9000), /busy, or it has ended/);
});

test("a kernel that is gone is gone, whatever is awaited", () => {
  for (const kernel of ["dead", "terminating", "restarting", "autorestarting"])
    assert.equal(stand({ kernel }), "ended");
  assert.equal(stand({ ended: "The kernel has been restarted", kernel: "idle" }), "ended");
  assert.match(bandText("ended", "The kernel has been restarted", "idle", 0),
               /^The kernel has been restarted\. Every number here is from before/);
});

test("a line that is cut is told from a kernel that is gone", () => {
  assert.equal(stand({ connection: "disconnected" }), "cut");
  assert.equal(stand({ connection: "connecting", kernel: "unknown" }), "cut");
  assert.match(bandText("cut", "", "unknown", 0), /line to the kernel is cut/);
});
