"""Wrong colours and levels: functions with a right map and wrong light."""

from __future__ import annotations

from functools import cache

from tests.outside.generated import curves, gains
from tests.outside.generated.cases import Case
from tests.outside.generated.changes import Making

SEED = 20


@cache
def cases() -> tuple[Case, ...]:
    """All cases; the random numbers are always the same."""
    make = Making(SEED)
    for step in (
        gains.gains, gains.mixing, gains.white_die, curves.ranges, curves.curves, curves.blacks,
        gains.places, gains.orders, curves.tables,
    ):  # fmt: skip
        step(make)
    return tuple(make.cases)
