"""Ways to a wall at random are judged rightly: LEDs by number, SPI programs, hidden LEDs, firmware.

A run takes every `STEP`-th case of a part, to be short; `python -m tests.outside.generated_ways
PART` takes all.
"""

from __future__ import annotations

import pytest

from tests.outside.generated_ways.firmware import missing
from tests.outside.generated_ways.pool import PARTS, cases, rates, run

STEP = {"leds": 8, "spi": 8, "hidden": 6, "firmware": 4}

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]


@pytest.mark.parametrize("part", PARTS)
def test_right_code_passes_and_wrong_code_is_named(part):
    numbers = [n for n in range(0, len(cases(part)), STEP[part]) if cases(part)[n].kind != BUILT]
    done, told = run(part, numbers)
    print(f"\n{part}: {rates(done)}")
    assert all(j.good for j in done), told


BUILT = "built and run"


@pytest.mark.skipif(bool(missing()), reason=f"not installed: {missing()}")
def test_a_firmware_shows_what_was_sent():
    number = next(n for n, case in enumerate(cases("firmware")) if case.kind == BUILT)
    done, told = run("firmware", [number])
    assert all(j.good for j in done), told
