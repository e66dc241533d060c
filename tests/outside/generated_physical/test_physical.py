"""Captures, plans, limits and covers at random are judged rightly.

`COUNT` cases of a part are run, to be short; `python -m tests.outside.generated_physical PART FROM
TO` runs others.
"""

from __future__ import annotations

import pytest

from tests.outside.generated_physical.pool import PARTS, run

COUNT = {"captures": 240, "power": 16, "supplies": 16, "light": 16}
pytestmark = [pytest.mark.slow, pytest.mark.timeout(900)]


@pytest.mark.parametrize("part", PARTS)
def test_nothing_is_judged_wrongly(part):
    numbers = range(COUNT[part])
    wrong = run(part, numbers)
    print(f"\n{part}: {len(wrong)} of {len(numbers)} went wrong")
    assert not wrong, "\n".join(wrong)
