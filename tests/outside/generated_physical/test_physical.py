"""Captures, plans, limits and covers at random are judged rightly.

`COUNT` cases of a part are run, to be short; `python -m tests.outside.generated_physical PART FROM
TO` runs others. What is not right yet is in `OPEN`: each must still fail, so that the list stays
true.
"""

from __future__ import annotations

import importlib

import pytest

from tests.outside.generated_physical.pool import PARTS, run

COUNT = {"captures": 240, "power": 24, "supplies": 24, "light": 30}
OPEN: list[tuple[str, int]] = []

pytestmark = [pytest.mark.slow, pytest.mark.timeout(900)]


@pytest.mark.parametrize("part", PARTS)
def test_nothing_is_judged_wrongly(part):
    numbers = [n for n in range(COUNT[part]) if (part, n) not in OPEN]
    wrong = run(part, numbers)
    print(f"\n{part}: {len(wrong)} of {len(numbers)} went wrong")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize(("part", "number"), OPEN)
@pytest.mark.xfail(strict=True, reason="not right yet")
def test_what_is_open_is_mended(part, number):
    module = importlib.import_module(f"tests.outside.generated_physical.{part}")
    wrong = module.faults(number)
    assert not wrong, wrong
