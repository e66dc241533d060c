"""Some cases of each part; `python -m tests.outside.generated_use PART FIRST LAST` runs more."""

from __future__ import annotations

import sys
from concurrent.futures import ThreadPoolExecutor

import pytest

from tests.outside.generated_use.cases import case, kinds

pytestmark = [
    pytest.mark.slow,
    pytest.mark.timeout(900),
    pytest.mark.skipif(sys.platform != "linux", reason="the judges walk /proc"),
]


@pytest.mark.parametrize("part", ["show", "escapes", "network"])
def test_a_case_of_each_kind_is_as_the_requirement_has_it(part):
    first = {kind: number for number, kind in reversed(list(enumerate(kinds(part))))}
    with ThreadPoolExecutor(3 if part == "show" else 1) as pool:  # shows wait most of the time
        outcomes = list(pool.map(lambda number: case(part, number), first.values()))
    assert not [o for o in outcomes if o.complaints], "\n".join(map(str, outcomes))


@pytest.mark.parametrize(("part", "kind"), [
    ("files", "theirs"), ("files", "strange"), ("files", "display_itself"), ("files", "garbage"),
    ("files", "unreadable"), ("files", "foreign"), ("guests", "time_of_day"),
    ("guests", "names_taken"), ("guests", "bad_time"), ("guests", "imports"),
])  # fmt: skip
def test_some_cases_of_a_kind_are_as_the_requirement_has_it(part, kind):
    numbers = [n for n, k in enumerate(kinds(part)) if k.__name__ == kind]
    outcomes = [case(part, number) for number in numbers]
    assert not [o for o in outcomes if o.complaints], "\n".join(map(str, outcomes))
