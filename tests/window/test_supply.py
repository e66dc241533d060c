from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from emulator import Bench, parse_display
from emulator.view.shown import Shown
from emulator.view.status import Status, Supply, supply_words


def test_the_strip_tells_current_limit_and_lowest_voltage():
    supply = Supply(12.34, 45.0, None, 4.712)
    assert supply_words(Status("x", 0, supply=supply)) == "12.3 of 45 A, lowest 4.71 V"
    limited = Supply(12.34, 45.0, 30.0, 4.712)
    assert supply_words(Status("x", 0, supply=limited)) == "12.3 of 30 A limit, lowest 4.71 V"
    assert supply_words(Status("x", 0)) == ""


@pytest.mark.parametrize(
    ("supply", "word"),
    [
        (Supply(44.0, 45.0, None, 4.7), ""),
        (Supply(45.0, 45.0, None, 4.7, full=True), "all it can"),
        (Supply(31.0, 45.0, 30.0, 4.7), "limit of 30 A"),
        (Supply(0.0, 45.0, None, 0.0, off=True), "tripped"),
    ],
)
def test_what_is_too_much_is_said_in_words(supply, word):
    assert word in supply.trouble
    assert bool(supply.trouble) is bool(word)


def test_what_is_shown_is_what_the_bench_works_out(display):
    bench = Bench(display, powered=True)
    bench.send(np.full(display.picture_shape, 255, np.uint8))
    shown = Shown.of(bench)
    assert shown.supply.current_a == pytest.approx(bench.current())
    assert shown.supply.lowest_v == pytest.approx(bench.rail_volts().min())
    assert shown.supply.nominal_v == 5.0
    assert (shown.light == bench.light).all()


def test_one_full_supply_among_several_is_told():
    text = "[grid]\ncolumns=24\nrows=2\n[chip]\npart='WS2812B'\n[wiring]\n[power]\n"
    power = "supply=[{amps=1}, {amps=50}]\nfeed=[{led=0}, {led=24, supply=1}]\n"
    bench = Bench(parse_display(text + power, Path("two.toml")), powered=True)
    bench.send(np.full((2, 24, 3), 255, np.uint8))
    supply = Shown.of(bench).supply
    assert supply.current_a < supply.rated_a / 2
    assert supply.trouble
