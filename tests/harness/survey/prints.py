"""What is said of the light of right walls behind prints: `python -m tests.harness.survey.prints`.

Prints of several kinds, drawn by a seed, dim and colour the light of an exact film, as each cell's
mean of the print; through a telephone that darkens corners, with noise. No LED is weak and no batch
is another, so all that is found is false.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import replace

import cv2
import numpy as np

from emulator.picture.srgb import LUMINANCE
from harness.survey.told import told
from tests.harness.survey.exact import seen_of
from tests.harness.survey.filming.room import motif
from tests.harness.survey.walls import telephone, wall

KINDS = ("motif", "areas", "one area", "text", "lines", "spot", "border", "stripe")
WALLS = ("hall", "sign")
_PX = 10  # of a cell


def printed(kind, shape, rng):
    """(rows, columns, 3) share of the light that passes a print, 0.12 to 1."""
    rows, columns = shape
    size = high, wide = rows * _PX, columns * _PX
    if kind == "motif":
        return cv2.resize(motif(size, rng), (columns, rows), interpolation=cv2.INTER_AREA)
    sheet = np.ones((*size, 3), np.float32)
    for _ in range(1 if kind in ("one area", "spot", "border", "stripe") else rng.integers(1, 6)):
        drawn = np.zeros(size, np.uint8)
        x, y = int(rng.integers(0, wide)), int(rng.integers(0, high))
        if kind in ("areas", "one area"):
            most = (high, wide // 2) if kind == "areas" else (high // 2, wide // 2)
            down, across = (int(rng.integers(_PX // 2, one)) for one in most)
            drawn[y : y + down, x : x + across] = 1
        elif kind == "text":
            scale, thick = float(rng.uniform(0.5, 3)), int(rng.integers(1, 12))
            cv2.putText(drawn, "FOYER", (x // 2, y), cv2.FONT_HERSHEY_SIMPLEX, scale, 1, thick)
        elif kind == "lines":
            to = int(rng.integers(0, wide)), int(rng.integers(0, high))
            cv2.line(drawn, (x, y), to, 1, int(rng.integers(2, 3 * _PX)))
        elif kind == "spot":
            cv2.circle(drawn, (x, y), int(rng.integers(3, 3 * _PX)), 1, -1)
        elif kind == "border":
            edge = int(rng.integers(1, 2 * _PX))
            drawn[:] = 1
            drawn[edge:-edge, edge:-edge] = 0
        else:
            drawn[y : y + int(rng.integers(_PX, 3 * _PX))] = 1
        sheet[drawn > 0] = rng.uniform(0.12, 1, 3)
    return cv2.resize(sheet, (columns, rows), interpolation=cv2.INTER_AREA)


def behind(seen, kind, rng):
    """The same film of a wall behind a print."""
    gap = seen.display.gap
    share, noise = printed(kind, gap.shape, rng), rng.uniform(0, 0.05)
    corners = telephone(seen.display, rng)
    light = seen.light * share * corners[..., None] * rng.normal(1, noise, seen.light.shape)
    swing = seen.swing * (share @ LUMINANCE) * corners * rng.normal(1, noise / 2, gap.shape)
    light, swing = (one / np.nanmedian(one[~gap], axis=0) for one in (light, swing))
    return replace(seen, light=light, swing=swing)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--each", type=int, default=40)
    chosen = parser.parse_args()
    walls, false = [seen_of(wall(name)) for name in WALLS], Counter()
    for kind in KINDS:
        for seed in range(chosen.each):
            seen = behind(walls[seed % 2], kind, np.random.default_rng([seed, 7]))
            what = [one.what for one in told(seen).findings]
            false[kind] += bool(what)
            if what:
                print(f"{kind} {seed}: {'; '.join(what)}", flush=True)
    print(f"false: {false.total()} of {len(KINDS) * chosen.each}, {dict(false)}")


if __name__ == "__main__":
    main()
