"""A simulated person before a wall with faults: looks, says it in words or paints it."""

from __future__ import annotations

import numpy as np

from harness.find.answer import DARK, DIM, FINE, WRONG, spoken
from harness.find.saying import said
from harness.find.words import planned_words, read_answer


def painted(symbols, rng=None, slips=0.0):
    """What a person paints (N,) for symbols of the eye; of a share of cells something else."""
    seen = spoken(symbols, colours=False)
    if slips:
        wrong = rng.random(seen.size) < slips
        other = rng.choice([FINE, DARK, WRONG, DIM], seen.size)
        seen = np.where(wrong, np.where(seen == FINE, np.where(other == FINE, DARK, other), FINE),
                        seen).astype(np.uint8)  # fmt: skip
    return seen


def in_words(symbols, display, picture):
    """What a person types, read again by foreglow: (N,)."""
    seen = spoken(symbols, colours=True)
    tinted = (seen == planned_words(display, picture)) & (symbols != 0)
    seen = np.where(tinted, WRONG, seen).astype(np.uint8)  # 'white' would mean: as it should be
    return read_answer(said(seen, display), display, picture)
