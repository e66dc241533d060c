"""Hypothesis strategies for displays, shared by all tests."""

from __future__ import annotations

from pathlib import Path
from typing import Any, get_args

import numpy as np
from hypothesis import strategies as st

from emulator import CHIPS, Display, parse_display
from emulator.description import wiring as w
from emulator.signal.framing import has_seven_bits


@st.composite
def gap_masks(draw: Any, most: int = 9) -> np.ndarray:
    """(rows, columns) bool with at least one LED left and no row or column count over `most`."""
    rows, columns = draw(st.integers(1, most)), draw(st.integers(1, most))
    mask = np.zeros((rows, columns), dtype=bool)
    if draw(st.booleans()):
        column, row = draw(st.integers(0, columns - 1)), draw(st.integers(0, rows - 1))
        mask[row : row + draw(st.integers(1, 2)), column : column + draw(st.integers(1, 2))] = True
    if mask.all():
        mask[:] = False
    return mask


@st.composite
def wirings(draw: Any, most: int = 9) -> w.Wiring:
    """A shorthand wiring over a grid with or without a gap, and with or without hidden LEDs."""
    gap = draw(gap_masks(most))
    along = draw(st.sampled_from(get_args(w.Along)))
    strips = gap.shape[0] if along == "rows" else gap.shape[1]
    has_led = (~gap).any(axis=1 if along == "rows" else 0).all()
    lines = draw(st.integers(1, min(3, strips))) if has_led else 1
    return w.shorthand(
        gap,
        draw(st.sampled_from(get_args(w.Corner))),
        along,
        draw(st.sampled_from(get_args(w.Path))),
        lines,
        dark_leds=gap if draw(st.booleans()) else None,
        hidden=draw(st.sampled_from([(0, 0, 0), (1, 0, 0), (0, 2, 0), (1, 1, 3)])),
    )


@st.composite
def displays(draw: Any, parts: tuple[str, ...] = tuple(CHIPS), most: int = 6) -> Display:
    """A small display with any chip and any shorthand wiring, without gaps.

    Some have hidden LEDs, some lines are sent in turn.
    """
    rows, columns = draw(st.integers(1, most)), draw(st.integers(1, most))
    along = draw(st.sampled_from(get_args(w.Along)))
    lines = draw(st.integers(1, min(3, rows if along == "rows" else columns)))
    text = f"""
        [grid]
        columns = {columns}
        rows = {rows}
        [chip]
        part = "{draw(st.sampled_from(parts))}"
        [wiring]
        start = "{draw(st.sampled_from(get_args(w.Corner)))}"
        along = "{along}"
        path = "{draw(st.sampled_from(get_args(w.Path)))}"
        lines = {lines}
        hidden_first = {draw(st.integers(0, 1))}
        hidden_between = {draw(st.integers(0, 1))}
        hidden_last = {draw(st.integers(0, 2))}
        [controller]
        sends_lines = "{draw(st.sampled_from(("together", "in turn")))}"
    """
    return parse_display(text, Path("drawn.toml"))


def half_step(display: Display) -> float:
    """How far a drive may lie from a level in drive steps: half of one, of 7 bits one more."""
    return 1.5 if has_seven_bits(display.chip) else 0.5
