from __future__ import annotations

import numpy as np
import pytest

from emulator import Bench
from emulator.window.shown import Shown
from emulator.window.status import Status, Supply, supply_words


def test_the_strip_tells_current_limit_and_lowest_voltage():
    supply = Supply(12.34, 45.0, None, 4.712)
    assert supply_words(Status("x", 0, supply=supply)) == "12.3 of 45 A, lowest 4.71 V"
    limited = Supply(12.34, 45.0, 30.0, 4.712)
    assert supply_words(Status("x", 0, supply=limited)) == "12.3 of 30 A limit, lowest 4.71 V"
    assert supply_words(Status("x", 0)) == ""


@pytest.mark.parametrize(
    ("supply", "too_much"),
    [
        (Supply(44.0, 45.0, None, 4.7), False),
        (Supply(45.0, 45.0, None, 4.7, full=True), True),
        (Supply(31.0, 45.0, 30.0, 4.7), True),
        (Supply(0.0, 45.0, None, 0.0, off=True), True),
    ],
)
def test_too_much_is_told_apart(supply, too_much):
    assert supply.too_much is too_much


def test_what_is_shown_is_what_the_bench_works_out(display):
    bench = Bench(display, powered=True)
    bench.send(np.full(display.picture_shape, 255, np.uint8))
    shown = Shown.of(bench)
    assert shown.supply.current_a == pytest.approx(bench.current())
    assert shown.supply.lowest_v == pytest.approx(bench.rail_volts().min())
    assert (shown.light == bench.light).all()
