// Limits how often pictures change: flashing light can harm people with photosensitive epilepsy.

// A flash is a pair of changes; more than three in a second fail WCAG 2.2, SC 2.3.1. Five changes
// a second make at most two and a half, also while somebody scrubs or holds a key.
export const LEAST_MS = 200;
// Between two steps while a pattern plays: at most one flash a second; half of that if the reader
// has asked for less motion.
export const STEP_MS = 500;
export const CALM_MS = 1000;

/** Milliseconds that a step of a pattern stays. */
export function stepMs(holdMs, calm) {
  return Math.max(holdMs, calm ? CALM_MS : STEP_MS);
}

/** Runs the latest of several requests, at most one every `LEAST_MS`, all of a page together. */
export class Pacer {
  constructor(now, later) {
    this.now = now;
    this.later = later;
    this.last = -Infinity;
    this.waiting = new Map();
    this.timed = false;
  }

  /** Ask for a change; a later request of the same owner replaces one that still waits. */
  ask(owner, change) {
    this.waiting.set(owner, change);
    if (!this.timed) this.run();
  }

  run() {
    this.timed = false;
    const left = this.last + LEAST_MS - this.now();
    if (left > 0) {
      this.timed = true;
      this.later(() => this.run(), left);
      return;
    }
    this.last = this.now();
    const changes = [...this.waiting.values()];
    this.waiting.clear();
    changes.forEach((change) => change());
  }
}
