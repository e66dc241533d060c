"""Functions and programs that are wrong in time: their map and colours are right."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from tests.outside.generated import endings, lateness, unsteady
from tests.outside.generated.cases import Case
from tests.outside.generated.player import Player, after, lies
from tests.outside.generated.programs import programs
from tests.outside.generated.walls import WALLS, Array, Wall
from tests.outside.generated.words import Said

SEED = 21


@cache
def cases() -> tuple[Case, ...]:
    """All cases; the random numbers are always the same."""
    random = np.random.default_rng(SEED)
    made: list[Case] = []
    walls = [WALLS[n] for n in ("square", "two", "clocked", "rgbw", "small", "foyer")]

    def add(
        kind: str, wall: Wall, truth: str, frame: Any, *named: Said, wrong: Array | None = None
    ) -> None:
        made.append(
            Case(kind, wall, truth, lambda: Player(wall, frame), named, wrong=wrong, lies=lies)
        )

    def act(
        kind: str, wall: Wall, truth: str, deed: Any, *named: Said, first: bool = True,
        exits: tuple[int, ...] = (1,), apart: bool = True,
    ) -> None:  # fmt: skip
        made.append(
            Case(kind, wall, truth, lambda: after(wall, deed, first), named, lies=lies,
                 exits=exits, apart=apart)
        )  # fmt: skip

    lateness.late(add, walls, random)
    lateness.black_and_frozen(add, walls)
    lateness.exchanged_and_blended(add, walls)
    unsteady.noisy(add, walls, random)
    unsteady.drifting(add, walls)
    endings.handed_in(act, walls)
    endings.slow(act)
    endings.ending(act, walls)
    endings.printing(act, walls)
    programs(made)
    return tuple(made)
