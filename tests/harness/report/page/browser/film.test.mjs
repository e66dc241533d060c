import assert from "node:assert/strict";
import { test } from "node:test";
import { deflateSync } from "node:zlib";

import { difference, hexOf, linear, restore, unpack } from "../../../../../harness/report/page/browser/film.js";

test("a film is unpacked: palette, exclusive or with the picture before, and with what was meant", async () => {
  const meant = [[0, 1], [1, 1]];
  const shown = [[0, 1], [1, 2]];
  const bytes = [0, 1, 0 ^ 1, 1 ^ 1, 0 ^ 0, 1 ^ 1, 1 ^ 1, 2 ^ 1];
  const data = deflateSync(Uint8Array.from(bytes)).toString("base64");
  const film = await unpack({ steps: [0, 5], palette: ["000000", "ff8000", "0000ff"], data });
  const colours = [[0, 0, 0], [255, 128, 0], [0, 0, 255]];
  for (const step of [0, 1]) {
    assert.deepEqual([...film.colours("meant", step)], meant[step].flatMap((n) => colours[n]));
    assert.deepEqual([...film.colours("shown", step)], shown[step].flatMap((n) => colours[n]));
  }
});

test("without a palette, red, green and blue are planes of their own", async () => {
  const bytes = [1, 2, 3, 4, 5, 6, 0, 0, 0, 0, 0, 7];
  const data = deflateSync(Uint8Array.from(bytes)).toString("base64");
  const film = await unpack({ steps: [0], palette: null, data });
  assert.deepEqual([...film.colours("meant", 0)], [1, 3, 5, 2, 4, 6]);
  assert.equal(film.colours("shown", 0)[5], 6 ^ 7);
});

test("restore leaves the first picture as it is", () => {
  assert.deepEqual([...restore(Uint8Array.from([9, 8, 1, 1]), 1)], [9, 8, 8, 9]);
});

test("sRGB is linear light as IEC 61966-2-1 says", () => {
  assert.equal(linear(0), 0);
  assert.equal(linear(255), 1);
  assert.ok(Math.abs(linear(10) - 10 / 255 / 12.92) < 1e-12); // its straight piece
  assert.ok(Math.abs(linear(188) - 0.5029) < 1e-4); // ((188/255 + 0.055)/1.055)^2.4
});

test("a difference names the cells that a person can see, and draws faint ones brighter", () => {
  const meant = Uint8ClampedArray.from([255, 255, 255, 0, 0, 0, 200, 0, 0]);
  const shown = Uint8ClampedArray.from([255, 255, 254, 60, 0, 0, 0, 0, 0]);
  const { rgb, wrong } = difference(meant, shown);
  assert.deepEqual(wrong, [1, 2]);
  assert.deepEqual([...rgb], [0, 0, 0, 102, 0, 0, 200, 0, 0]);
  assert.equal(hexOf(shown, 1), "#3c0000");
});
