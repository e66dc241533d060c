"""An answer in few words, as foreglow repeats it: 'row 7 columns 4 to 35 dark'."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from emulator.arrays import Ints
from emulator.description.display import Display
from harness.find.answer import (
    BRIGHT,
    COLOUR,
    COLOURS,
    DARK,
    DIM,
    FINE,
    FLICKERS,
    MIXED,
    SPOT,
    UNSURE,
    WRONG,
    Seen,
)

LOOKS = {
    DARK: "dark", WRONG: "wrong", MIXED: "wrong here and there", FLICKERS: "flickers",
    UNSURE: "not sure", DIM: "dim", BRIGHT: "too bright", SPOT: "with an odd spot",
    **{COLOUR + number: name for number, name in enumerate(COLOURS)},
}  # fmt: skip


def said(seen: Seen, display: Display, most: int | None = None) -> str:
    """The words (N,) of an answer as text; 'fine' if nothing differs.

    most: parts to name; the others are counted.
    """
    parts = []
    for word in np.unique(seen[~display.wiring.hidden]):
        if word != FINE:
            places = places_of(np.flatnonzero(seen == word), display)
            parts += [f"{place} {LOOKS[int(word)]}".strip() for place in places]
    if not parts:
        return "fine"
    if most is not None and len(parts) > most:
        parts = [*parts[:most], f"and {len(parts) - most} more places"]
    return "; ".join(parts)


def places_of(leds: Ints, display: Display) -> list[str]:
    """Some LEDs (positions) as few places: the whole wall, pieces of lines, of rows or columns."""
    wiring = display.wiring
    leds = leds[~wiring.hidden[leds]]
    if leds.size == len(wiring.placed):
        return ["all"]
    ways = (_pieces(leds, display), _stretches(leds, display, "row", "column"),
            _stretches(leds, display, "column", "row"))  # fmt: skip
    return min(ways, key=len)


def _pieces(leds: Ints, display: Display) -> list[str]:
    """Stretches of the order of the data."""
    wiring = display.wiring
    place = np.searchsorted(wiring.placed, leds)
    found = []
    for part in _split(leds, (np.diff(place) != 1) | (np.diff(wiring.line[leds]) != 0)):
        line = f" of line {wiring.line[part[0]]}" if len(wiring.line_lengths) > 1 else ""
        first, last = int(wiring.led[part[0]]), int(wiring.led[part[-1]])
        name = f"LED {first}" if first == last else f"LEDs {first} to {last}"
        found.append(name + line)
    return found


def _stretches(leds: Ints, display: Display, outer: str, inner: str) -> list[str]:
    """Stretches of rows, or of columns; whole neighbouring ones together."""
    wiring = display.wiring
    outside: Ints = getattr(wiring, outer)
    inside: Ints = getattr(wiring, inner)
    order = leds[np.lexsort((inside[leds], outside[leds]))]
    full = np.bincount(outside[wiring.placed])
    found: list[str] = []
    whole: list[int] = []
    for part in _split(order, np.diff(outside[order]) != 0):
        number = int(outside[part[0]])
        if part.size == full[number]:
            whole.append(number)
            continue
        # A stretch goes on behind a gap.
        held = np.sort(inside[wiring.placed[outside[wiring.placed] == number]])
        place = np.searchsorted(held, inside[part])
        for stretch in _split(part, np.diff(place) != 1):
            first, last = int(inside[stretch[0]]), int(inside[stretch[-1]])
            name = f"{inner} {first}" if first == last else f"{inner}s {first} to {last}"
            found.append(f"{outer} {number} {name}")
    return [*_together(whole, outer), *found]


def _together(whole: list[int], outer: str) -> Iterator[str]:
    numbers = np.array(whole, dtype=np.int64)
    for part in _split(numbers, np.diff(numbers) != 1):
        one = part.size == 1
        yield f"{outer} {part[0]}" if one else f"{outer}s {part[0]} to {part[-1]}"


def _split(values: Ints, cut: np.ndarray) -> list[Ints]:
    return np.split(values, np.flatnonzero(cut) + 1) if values.size else []
