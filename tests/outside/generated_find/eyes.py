"""What a person before the wall sees: for each LED that it is right, or how it differs.

Common practice, no source: an eye in a dim room sees 0.2 % of full light; it sees a colour by which
channels are at least 0.4 of the strongest; it calls dim what has less than 0.85 of its luminance
(weights of ITU-R BT.709), bright what has more than 1.15 of it. A point of light without its front
glares; what a bench shows of LEDs does not hold the front, so that faults of it are added here.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

import emulator
from harness.patterns.pattern import PATTERNS
from tests.outside.generated_find.cases import Case

FINE, DARK, WRONG, FLICKERS, DIM, BRIGHT, SPOT = (
    "fine", "dark", "wrong", "flickers", "dim", "bright", "spot",
)  # fmt: skip
COLOURS = {
    (1, 0, 0): "red", (1, 1, 0): "yellow", (0, 1, 0): "green", (0, 1, 1): "cyan",
    (0, 0, 1): "blue", (1, 0, 1): "magenta", (1, 1, 1): "white",
}  # fmt: skip
SEEN = 0.002
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
STEPS = 60  # looks at one picture that may flicker: 12 s
STRETCHES = 15  # times that pictures which change are watched


def _colour(light: NDArray[np.float64]) -> str:
    top = light.max()
    return COLOURS[tuple(int(v) for v in light >= 0.4 * top)]  # type: ignore[index]


def look(planned: NDArray[np.float64], built: NDArray[np.float64]) -> str:
    """One LED: what it should be and is, (3,) shares of full light."""
    if built.max() < SEEN:
        return DARK if planned.max() >= SEEN else FINE
    if planned.max() < SEEN or _colour(planned) != _colour(built):
        return _colour(built)
    cast = np.abs(planned / planned.max() - built / built.max()).max()
    ratio = float(built @ LUMINANCE / (planned @ LUMINANCE))
    if 0.85 <= ratio <= 1.15:
        return WRONG if cast > 0.1 else FINE
    return DIM if ratio < 1 else BRIGHT


class Eyes:
    """A person before a wall, as it was built or repaired."""

    def __init__(self, case: Case) -> None:
        self._display = case.display
        self._planned = emulator.Bench(case.display)
        self._built = emulator.Bench(case.display, faults=[case.sentence])
        self._comes_and_goes = "share" in case.fault or case.fault["kind"] in (
            "no-common-ground", "supply-trips", "supply-small",
        )  # fmt: skip
        self._front: dict[int, str] = {}
        kind, wiring = case.fault["kind"], case.display.wiring
        if "column" in case.fault:
            at = (wiring.column == case.fault["column"]) & (wiring.row == case.fault["row"])
            self._front = {
                int(led): DIM if kind == "front-dirty" else SPOT for led in np.flatnonzero(at)
            }
        if kind == "led-off-middle":
            first = int(np.flatnonzero(wiring.line == case.fault.get("line", 0))[0])
            self._front = {first + case.fault["led"]: SPOT}

    def repaired(self) -> None:
        """The fault is gone."""
        self._built, self._front = emulator.Bench(self._display), {}
        self._comes_and_goes = False

    def sees(self, pattern: str, steps: list[int]) -> list[str]:
        """For each LED what is seen of these pictures of a pattern, one after the other."""
        drawn = PATTERNS[pattern]
        often = STRETCHES if self._comes_and_goes and len(steps) > 1 else 1
        should, shown, flickers = [], [], np.zeros(len(self._display.wiring), bool)
        for step in steps * often:
            picture = drawn.draw(self._display, step)
            self._planned.send(picture)
            should.append(self._planned.light.copy())
            looks = self._looks(picture, STEPS // often)
            flickers |= np.ptp(looks, axis=0).max(axis=1) > SEEN
            shown.append(looks[-1])
        seen = []
        for led in range(len(flickers)):
            pairs = [(a[led], b[led]) for a, b in zip(should, shown, strict=True)]
            what = look(*pairs[0]) if len(pairs) == 1 else self._of_stretch(pairs)
            if flickers[led]:
                what = FLICKERS
            if what == FINE and led in self._front and max(a.max() for a, _ in pairs) >= SEEN:
                what = self._front[led]
            seen.append(what)
        return seen

    @staticmethod
    def _of_stretch(pairs: list[tuple[NDArray[np.float64], NDArray[np.float64]]]) -> str:
        """Of pictures that change: an LED that never lights; else nobody follows each cell."""
        lit = [max(light.max() for light in side) >= SEEN for side in zip(*pairs, strict=True)]
        return DARK if lit[0] and not lit[1] else FINE

    def _looks(self, picture: NDArray[np.uint8], many: int) -> NDArray[np.float64]:
        clock, looks = self._built.clock, []
        for _ in range(many if self._comes_and_goes else 2):
            self._built.send(picture)
            looks.append(self._built.light.copy())
            if self._comes_and_goes:
                clock.wait_until(clock.now_ns() + 200_000_000)
        return np.array(looks if self._comes_and_goes else looks[-1:])
