import assert from "node:assert/strict";
import { test } from "node:test";

import { cellWords, find, index } from "../../../../../harness/report/page/browser/find.js";
import { beside } from "../../../../../harness/report/page/browser/map.js";

// 3 × 2 cells; line 0 has a hidden LED and row 0, line 1 ('Left') row 1 from the right, with a gap.
const wall = index({
  columns: 3,
  rows: 2,
  lines: ["line 0", "Left"],
  line: [0, 0, 0, 0, 1, 1],
  led: [0, 1, 2, 3, 0, 1],
  cell: [-1, 0, 1, 2, 5, 4],
});

test("an LED is found by line and number, by the name of its line, and by its cell", () => {
  for (const text of ["1/1", "1:1", "1 1", "line 1 led 1", "left 1", "LEFT LED 1", "1,1", "column 1 row 1", "c1r1"])
    assert.deepEqual(find(wall, text), { leds: [5], problem: "" }, text);
  assert.deepEqual(find(wall, "0").leds, [0, 4]); // LED 0 of each line
  assert.deepEqual(find(wall, "led 3").leds, [3]);
  assert.deepEqual(find(wall, "  "), { leds: [], problem: "" });
});

test("what is not there is said with what there is", () => {
  assert.match(find(wall, "0,1").problem, /no LED/);
  assert.match(find(wall, "9,0").problem, /Columns go to 2, rows to 1/);
  assert.match(find(wall, "2/0").problem, /lines go to 1/);
  assert.match(find(wall, "1/7").problem, /LEDs 0 to 1/);
  assert.match(find(wall, "77").problem, /No line has/);
  for (const text of ["<b>", "left", "1/2/3", "-1"]) assert.ok(find(wall, text).problem, text);
});

test("words for a cell, with and without an LED", () => {
  assert.equal(cellWords(wall, 5), "line 1 “Left”, LED 0 (column 2, row 1)");
  assert.equal(cellWords(wall, 3), "column 0, row 1: no LED");
});

test("arrow keys stay on the wall", () => {
  assert.equal(beside(wall, -1, "ArrowDown"), 0);
  assert.equal(beside(wall, 0, "ArrowLeft"), 0);
  assert.equal(beside(wall, 2, "ArrowRight"), 2);
  assert.equal(beside(wall, 2, "ArrowDown"), 5);
  assert.equal(beside(wall, 5, "ArrowUp"), 2);
});
