import assert from "node:assert/strict";
import { test } from "node:test";

import { LEAST_MS, Pacer, STEP_MS, stepMs } from "../../../../../harness/report/page/browser/pace.js";

function clock() {
  const queue = [];
  const time = { now: 0 };
  const later = (run, ms) => queue.push([time.now + ms, run]);
  const until = (end) => {
    while (queue.length && queue[0][0] <= end) {
      const [at, run] = queue.shift();
      time.now = at;
      run();
    }
    time.now = end;
  };
  return { time, until, pacer: new Pacer(() => time.now, later) };
}

test("pictures change at most so often that three flashes a second cannot be", () => {
  // WCAG 2.2, SC 2.3.1: more than three flashes, each a pair of changes, in any second fail.
  const { time, until, pacer } = clock();
  const changes = [];
  for (let ms = 0; ms < 5000; ms += 7) {
    until(ms);
    pacer.ask("wall", () => changes.push(time.now));
    pacer.ask("other", () => {});
  }
  for (const begin of changes) {
    const within = changes.filter((at) => at >= begin && at < begin + 1000).length;
    assert.ok(Math.floor(within / 2) <= 3);
  }
  assert.ok(changes.length >= 20); // it does not stand still either
});

test("the latest request is shown, and no later than the pause", () => {
  const { until, pacer } = clock();
  const shown = [];
  for (const step of [1, 2, 3, 4]) pacer.ask("wall", () => shown.push(step));
  until(LEAST_MS);
  assert.deepEqual(shown, [1, 4]);
});

test("a playing pattern changes at most twice a second, half as often with less motion", () => {
  assert.equal(stepMs(50, false), STEP_MS);
  assert.ok(STEP_MS >= 500);
  assert.equal(stepMs(50, true), 1000);
  assert.equal(stepMs(2000, false), 2000);
});
