from __future__ import annotations

import numpy as np
import pytest

from emulator import CHIPS, UnknownNameError, chip
from emulator.description.chips import OneWire


@pytest.mark.parametrize("part", CHIPS)
def test_every_figure_of_the_catalogue_has_a_source(part):
    figures = {"order", "wire", "volts", "channel_ma", "dark_ma", "emitter_mm"}
    assert set(CHIPS[part].sources) >= figures
    assert CHIPS[part].emitter_mm >= 0
    assert all(CHIPS[part].sources.values())


@pytest.mark.parametrize("part", CHIPS)
def test_nominal_times_lie_in_their_tolerance_and_bits_can_be_told_apart(part):
    wire = CHIPS[part].wire
    if isinstance(wire, OneWire):
        for span in (wire.t0h, wire.t0l, wire.t1h, wire.t1l):
            assert 0 < span.least <= span.nominal <= span.most
        # The SK6812 datasheet lets the two meet: 0.3 µs + 150 ns and 0.6 µs − 150 ns.
        assert wire.t0h.most <= wire.threshold_ns <= wire.t1h.least
        assert wire.t0h.most < wire.t1h.nominal


@pytest.mark.parametrize("part", CHIPS)
def test_wire_order_and_back_is_where_we_began(part):
    one = CHIPS[part]
    values = np.arange(len(one.order))
    assert (values[one.to_wire][one.from_wire] == values).all()
    assert "".join(one.channels[i] for i in one.to_wire) == one.order


def test_parts_are_found_in_lower_case_and_near_misses_are_named():
    assert chip("ws2812b").part == "WS2812B"
    with pytest.raises(UnknownNameError, match="did you mean 'WS2812B'") as caught:
        chip("WS28l2B")
    assert "SK6812" in caught.value.known
