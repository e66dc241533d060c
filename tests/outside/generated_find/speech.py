"""What a person says of what they see, in several styles.

What is seen is put into a few regions (all, rows, columns, LEDs of a line from one to another);
each region is then worded. `plain` is as the command's own help has it; the others are invented.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

import emulator
from tests.outside.generated_find import eyes

STYLES = ("plain", "terse", "wordy", "mistyped", "places", "one sentence")
MANY = 7  # regions that a person names before they sum up
ORDINALS = (
    "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth",
    "eleventh", "twelfth", "thirteenth", "fourteenth",
)  # fmt: skip
WORDS = {
    eyes.DARK: ("dark", "black", "off", "unlit", "dead", "out", "without light"),
    eyes.WRONG: ("wrong", "the wrong colour", "off colour", "not right"),
    eyes.FLICKERS: ("flickering", "blinking", "flickers"),
    eyes.DIM: ("dim", "too dim", "weak", "darker than the others"),
    eyes.BRIGHT: ("too bright", "bright", "brighter"),
    eyes.SPOT: ("a glaring point", "an odd spot", "glaring"),
}
FINE = (
    "fine", "all fine", "looks good", "ok", "everything is as it should be", "perfect",
    "no difference", "all good", "Fine!", "all ok.", "nothing wrong",
)  # fmt: skip
UNSURE = ("not sure", "no idea", "hard to tell", "can't say", "dunno", "unsure")

Region = tuple[str, int, int, int, frozenset[int]]  # kind, line or 0, first, last, its LEDs
Said = tuple[str, list[str]]  # the sentence, and what it means for each LED


class Speaker:
    """Somebody who says what they see of a wall."""

    def __init__(self, display: emulator.Display, rng: np.random.Generator) -> None:
        self._wiring = w = display.wiring
        self._rng = rng
        self._rows, self._columns = display.grid.rows, display.grid.columns
        self._lines = int(w.line.max()) + 1
        self._leds = len(w)
        placed = [n for n in range(len(w)) if not w.hidden[n]]
        self._regions: list[Region] = [("all", 0, 0, 0, frozenset(placed))]
        for kind, axis, size in (("row", w.row, self._rows), ("column", w.column, self._columns)):
            for a in range(size):
                for b in range(a, size):
                    inside = frozenset(n for n in placed if a <= axis[n] <= b)
                    if inside:
                        self._regions.append((kind, 0, a, b, inside))

    def _whole(self, cells: set[int], free: set[int]) -> Region | None:
        """The largest of the regions that holds none but these cells, and three or more."""
        fit = [r for r in self._regions if r[4] <= cells | free and len(r[4] & cells) > 2]
        return max(fit, key=lambda r: len(r[4] & cells), default=None)

    def _stretch(self, cells: set[int], free: set[int]) -> Region:
        """The longest piece of a line that holds none but these, and begins and ends with one."""
        best: list[int] = []
        now: list[int] = []
        for led in range(self._leds):
            new_line = led == 0 or self._wiring.line[led] != self._wiring.line[led - 1]
            if new_line or (led not in cells and led not in free):
                now = []
            if led in cells or (now and led in free):
                now = [*now, led]
            held = now[: next((k for k in range(len(now), 0, -1) if now[k - 1] in cells), 0)]
            if len(cells & set(held)) > len(cells & set(best)):
                best = held
        line = int(self._wiring.line[best[0]])
        first, last = (int(self._wiring.led[k]) for k in (best[0], best[-1]))
        return "leds", line, first, last, frozenset(best)

    def parts(self, seen: list[str]) -> list[tuple[str, Region]]:
        """What is seen as regions; what is dark may reach over cells that should be dark."""
        made = []
        for what in sorted(set(seen) - {eyes.FINE}):
            cells = {n for n, s in enumerate(seen) if s == what}
            free = set[int]()
            while cells:
                whole, stretch = self._whole(cells, free), self._stretch(cells, free)
                take = whole if whole and len(whole[4]) >= len(stretch[4]) else stretch
                made.append((what, take))
                cells -= take[4]
                free |= take[4]
        return made

    def says(self, seen: list[str], style: str) -> Said:
        """A sentence, and for each LED what it means."""
        if all(s == eyes.FINE for s in seen):
            return self._pick(FINE), seen
        parts = self.parts(seen)
        if len(parts) > MANY and (summed := self._summed(seen)):
            parts = summed
        if len(parts) > 4 * MANY:
            return self._pick(UNSURE), ["unsure"] * len(seen)
        means = [eyes.FINE] * len(seen)
        for what, region in parts:
            for led in region[4]:
                means[led] = what
        texts = [self._worded(what, region, style) for what, region in parts]
        joint = {"terse": "; ", "wordy": "; ", "one sentence": " and "}.get(style, "; ")
        text = joint.join(texts)
        if style == "wordy":
            text = self._pick(("I see that ", "I think ", "hm, ", "well, ")) + text
            if len(parts) == 1:
                text += self._pick((", the rest is fine", "", ", all the others look right"))
        if style == "mistyped":
            text = self._mistyped(text)
        return text, means

    def _summed(self, seen: list[str]) -> list[tuple[str, Region]] | None:
        """'From LED 6 on all is wrong', if most between the first and the last is."""
        off = [n for n, s in enumerate(seen) if s != eyes.FINE]
        first, last = off[0], off[-1]
        line = self._wiring.line
        if line[first] != line[last] or len(off) < 0.6 * (last - first + 1):
            return None
        inside = frozenset(range(first, last + 1))
        leds = self._wiring.led
        return [(eyes.WRONG, ("leds", int(line[first]), int(leds[first]), int(leds[last]), inside))]

    def _pick(self, of: tuple[str, ...]) -> str:
        return of[int(self._rng.integers(len(of)))]

    def _mistyped(self, text: str) -> str:
        """Two letters exchanged or one doubled, in some of the longer words."""
        made = []
        for word in text.split(" "):
            if len(word) > 4 and word.isalpha() and self._rng.random() < 0.5:
                k = int(self._rng.integers(1, len(word) - 2))
                swap = word[:k] + word[k + 1] + word[k] + word[k + 2 :]
                word = swap if self._rng.random() < 0.5 else word[:k] + word[k] + word[k:]
            made.append(word)
        return " ".join(made)

    def _worded(self, what: str, region: Region, style: str) -> str:
        word = self._pick(WORDS.get(what, (what,)))
        if style == "plain":
            word = {eyes.FLICKERS: "flickers", eyes.SPOT: "odd spot"}.get(what, what)
            return f"{self._place(region, style)} {word}"
        place = self._place(region, style)
        if what in (eyes.WRONG, eyes.SPOT) or word in ("flickers",):
            return f"{place} {word}" if style != "terse" else f"{place}: {word}"
        shapes: dict[str, tuple[Callable[[], str], ...]] = {
            "terse": (
                lambda: f"{place} {word}", lambda: f"{word} {place}", lambda: f"{place}: {word}",
            ),
            "wordy": (lambda: f"{place} is completely {word}", lambda: f"{place} is {word}"),
        }  # fmt: skip
        forms = shapes.get(style, (lambda: f"{place} is {word}", lambda: f"{place} {word}"))
        return forms[int(self._rng.integers(len(forms)))]()

    def _place(self, region: Region, style: str) -> str:
        kind, line, a, b, leds = region
        if kind == "all":
            return "all" if style in ("plain", "terse") else "the whole wall"
        if kind == "leds":
            return self._of_line(line, a, b, min(leds), style)
        size = self._rows if kind == "row" else self._columns
        if a == b:
            usual = (f"{kind} {a}", f"the {ORDINALS[a]} {kind}", f"{kind} number {a}")
            ends = {0: ("the top row", "the leftmost column")}
            ends[size - 1] = ("the bottom row", "the rightmost column")
            if style == "plain":
                return usual[0]
            return (
                ends[a][kind == "column"] if a in ends and style == "places" else self._pick(usual)
            )
        if size % 2 == 0 and style in ("places", "wordy"):
            if (a, b) == (size // 2, size - 1):
                return "the lower half" if kind == "row" else "the right half"
            if (a, b) == (0, size // 2 - 1):
                return "the upper half" if kind == "row" else "the left half"
        usual = (f"{kind}s {a} to {b}", f"{kind}s {a}-{b}", f"{kind} {a} to {b}")
        return usual[0] if style == "plain" else self._pick(usual)

    def _of_line(self, line: int, a: int, b: int, led: int, style: str) -> str:
        tail = f" of line {line}" if self._lines > 1 else ""
        last = int((self._wiring.line == line).sum()) - 1
        column, row = int(self._wiring.column[led]), int(self._wiring.row[led])
        if a == b:
            usual: tuple[str, ...] = (f"LED {a}{tail}", f"led number {a}{tail}", f"LED {a}{tail}")
            if style == "places":
                usual = (f"row {row} column {column}", f"column {column}, row {row}",
                         f"row {row}, the {ORDINALS[column]} from the left",
                         f"the {ORDINALS[column]} of row {row}",
                         f"the cell in column {column}, row {row}")  # fmt: skip
        elif b == last and style != "plain":
            usual = (f"from LED {a}{tail} on everything", f"LED {a}{tail} and all after it",
                     f"LEDs {a} to {b}{tail}")  # fmt: skip
            if not tail:
                usual += (f"everything after LED {a - 1}", f"LED {a} to the end") if a else ()
        else:
            usual = (f"LEDs {a} to {b}{tail}", f"LEDs {a}-{b}{tail}", f"LED {a} to {b}{tail}",
                     f"leds {a} through {b}{tail}", f"LED {a} to LED {b}{tail}")  # fmt: skip
        return usual[0] if style == "plain" else self._pick(usual)
