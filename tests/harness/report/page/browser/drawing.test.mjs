import assert from "node:assert/strict";
import { test } from "node:test";

import { nearest, path, range, ticks } from "../../../../../harness/report/page/browser/chart.js";
import { cellAt, every, layout } from "../../../../../harness/report/page/browser/wall.js";

test("each point of a cell is that cell, and the margin is none", () => {
  const wall = { columns: 36, rows: 20, pitch: 0.5 };
  const sizes = layout(wall, 700);
  assert.ok(sizes.wide <= 700);
  assert.ok(Math.abs(sizes.across / sizes.down - 0.5) < 1e-9);
  for (const [column, row] of [[0, 0], [35, 0], [0, 19], [35, 19], [17, 8]])
    for (const share of [0.01, 0.5, 0.99]) {
      const x = sizes.left + (column + share) * sizes.across;
      const y = sizes.top + (row + share) * sizes.down;
      assert.equal(cellAt(wall, sizes, x, y), row * 36 + column);
    }
  assert.equal(cellAt(wall, sizes, sizes.left - 1, sizes.top + 1), -1);
  assert.equal(cellAt(wall, sizes, sizes.left + 36.01 * sizes.across, sizes.top + 1), -1);
});

test("numbers at the edge have room", () => {
  assert.equal(every(30, 20), 1);
  assert.equal(every(4, 22), 10);
});

test("ticks are round, inside, and about as many as asked for", () => {
  assert.deepEqual(ticks(0, 10), [0, 2, 4, 6, 8, 10]);
  assert.deepEqual(ticks(4.6, 5.0), [4.6, 4.7, 4.8, 4.9, 5]);
  assert.deepEqual(ticks(0, 0.03, 3), [0, 0.01, 0.02, 0.03]);
  for (const [least, most] of [[0, 7.3], [3, 3], [-2, 9], [0, 86400]]) {
    const found = ticks(least, most);
    assert.ok(found.length <= 8 && found.every((y) => y >= least - 1e-9), String([least, most]));
  }
});

test("a chart has room for near limits and leaves out far ones", () => {
  const series = [{ x: [0, 1], y: [1, 2] }];
  assert.equal(range({ series, limits: [[5, "near"]], zero: true })[3] > 5, true);
  assert.equal(range({ series, limits: [[500, "far"]], zero: true })[3] < 3, true);
  assert.equal(range({ series, limits: [], zero: true })[2], 0);
  assert.ok(range({ series: [{ x: [0], y: [0] }], limits: [], zero: true }).every(Number.isFinite));
});

test("the value under the pointer is the nearest, or the one that still holds", () => {
  assert.equal(nearest([0, 1, 2], 1.6, false), 2);
  assert.equal(nearest([0, 1, 2], 1.6, true), 1);
  assert.equal(nearest([0, 1, 2], -5, false), 0);
  assert.equal(nearest([0, 1, 2], 9, false), 2);
});

test("a stepped curve keeps each value until the next", () => {
  const one = { x: [0, 10], y: [1, 2], step: true };
  assert.equal(path(one, (x) => x, (y) => y), "M0.0 1.0H10.0V2.0");
});
