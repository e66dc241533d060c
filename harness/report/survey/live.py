"""What `foreglow survey --camera` says while it films."""

from __future__ import annotations

import numpy as np

from emulator.arrays import Bools
from harness.survey.taking import Taking

_BLINKS = 0.08  # of the block that blinks most: the wall is there
_FRAMES = 3.0  # a picture: fewer may miss some


def blinks(taking: Taking) -> Bools | None:
    """(rows, columns) blocks of the frame in which the wall blinks; None before the marker."""
    light = taking.light
    return None if light is None else np.asarray(light > _BLINKS * light.max())


def words_of(taking: Taking, wall: str) -> list[str]:
    """How far the film is, what to do better, and how to end it; at most three lines.

    wall: what the commands take for the display.
    """
    if taking.pictures is None:
        return [
            "The whole wall in the picture? Start the pattern now.",
            f"foreglow run {wall} coded-film --to …",
            (f"{taking.rate:.0f} frames a second. " if taking.rate else "") + "Q or Escape ends.",
        ]
    first = (
        f"The pattern is seen: {taking.pictures} of {taking.of} pictures. Hold the camera still."
    )
    return [first, *_advice(taking), "Q or Escape ends the film early."][:3]


def _advice(taking: Taking) -> list[str]:
    """What is missing."""
    found = []
    if taking.pace_s is not None and taking.rate * taking.pace_s < _FRAMES:
        found.append(
            f"{taking.rate:.0f} frames a second are few for {1 / taking.pace_s:.0f} pictures:"
            " film again with a slower pattern, --pace 2."
        )
    where = blinks(taking)
    if where is not None:
        sides = {
            "left": where[:, 0], "right": where[:, -1], "top": where[0], "bottom": where[-1],
        }  # fmt: skip
        at = [side for side, edge in sides.items() if edge.any()]
        if at:
            found.append(
                f"What blinks reaches the edge of the picture ({', '.join(at)}): if the wall goes"
                " on there, move back."
            )
    return found
