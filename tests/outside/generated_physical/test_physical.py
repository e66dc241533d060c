"""Captures, plans, limits and covers at random are judged rightly.

`COUNT` cases of a part are run, to be short; `python -m tests.outside.generated_physical PART FROM
TO` runs others. What is not right yet is in `OPEN`: each must still fail, so that the list stays
true.
"""

from __future__ import annotations

import importlib

import pytest

from tests.outside.generated_physical.pool import PARTS, run

COUNT = {"captures": 240, "power": 24, "supplies": 24, "light": 24}
OPEN = [
    # the sampling step is found too small: false fails, of rounded files and odd rates
    *(("captures", n) for n in (11, 88, 91, 504, 559)),
    # zeros and ones near a shared limit fall into two groups, and are cut elsewhere: wrong bytes
    *(("captures", n) for n in (65, 81, 343, 502, 563)),
    ("captures", 191),  # the sampling step is taken for half the clock: undecided
    *(("power", n) for n in (2, 3, 5, 22)),  # files with CR LF get lines with LF
    ("power", 51),  # the worst picture under a limit leaves out the LED lit in part
]

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
