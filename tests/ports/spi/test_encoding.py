"""Every encoding, on the wire, against the datasheets of the parts."""

from __future__ import annotations

import numpy as np
import pytest

from emulator.description.chips import CHIPS, OneWire
from emulator.ports.spi.controller import CONTROLLERS
from emulator.ports.spi.encoding import BITS, Encoding, best_clock, encoding_for, latch_bytes
from emulator.signal import onewire
from emulator.signal.spi import Transfer, mosi
from emulator.signal.timing import judge
from tests.outside.test_datasheet_timing import SHEETS

REAL = {"bcm2835": 250e6, "bcm2711": 500e6}


def on_the_wire(way, data, hz, wire):
    one = Transfer(way.encode(data), wire.reset_ns, hz)
    return mosi([one], "low", False, 0, one.end_ns + wire.reset_ns + 1)


@pytest.mark.parametrize("bits", BITS)
@pytest.mark.parametrize("part", SHEETS)
@pytest.mark.parametrize("name", REAL)
def test_what_is_said_to_fit_is_within_the_datasheet_and_what_is_not_is_outside(name, part, bits):
    """The pulses are measured on the waveform; the limits are typed from the datasheets."""
    sheet, wire, controller = SHEETS[part], CHIPS[part].wire, CONTROLLERS[name]
    assert isinstance(wire, OneWire)
    data = np.array([0x00, 0xFF, 0xA5], np.uint8)
    asked, margin = best_clock(wire, bits, controller.real_hz)
    for hz in {asked, 800_000 * bits}:
        real = controller.real_hz(hz)
        divisor = REAL[name] / real
        assert divisor == pytest.approx(2 * round(divisor / 2))
        way = encoding_for(wire, bits, real)
        line = on_the_wire(way, data, real, wire)
        rises, falls = line.pulses()
        ones = np.unpackbits(data).astype(bool)
        assert rises.size == 24
        high, low = falls - rises, rises[1:] - falls[:-1]
        inside = all(
            least <= time <= most
            for times, (least, most) in (
                (high[~ones], sheet.t0h),
                (high[ones], sheet.t1h),
                (low[~ones[:-1]], sheet.t0l),
                (low[ones[:-1]], sheet.t1l),
            )
            for time in times
        )
        edge = abs(way.margin(wire, real)) * 1e9 * bits / real < 1  # within a nanosecond of a limit
        assert edge or inside == (way.margin(wire, real) >= 0)
        assert edge or inside == (judge(line, wire).verdict == "pass")
        if hz == asked:
            assert way.margin(wire, real) == pytest.approx(margin)
        assert np.array_equal(onewire.decode(line, wire).data, data) or not inside


# Common practice, no source: the encodings that builders use, at 2.4, 3.2 and 6.4 MHz.
@pytest.mark.parametrize(
    ("bits", "hz", "zero", "one"),
    [(3, 2.4e6, "100", "110"), (4, 3.2e6, "1000", "1110"), (8, 6.4e6, "11100000", "11111000")],
)
def test_the_usual_encodings_come_out_for_the_usual_chip(bits, hz, zero, one):
    way = encoding_for(CHIPS["WS2812B"].wire, bits, hz)
    told = "".join(map(str, np.unpackbits(way.encode(np.array([0b0000_0001], np.uint8)))))
    assert told == zero * 7 + one


def test_three_bits_at_the_real_speed_last_424_and_848_ns():
    """Datasheet of the WS2812B: T0H 400 ± 150 ns, T0L 850, T1H 800, T1L 450."""
    spans = Encoding(3, 1, 2).spans_ns(CONTROLLERS["bcm2835"].real_hz(2_400_000))
    assert spans == {"T0H": 424.0, "T0L": 848.0, "T1H": 848.0, "T1L": 424.0}


@pytest.mark.parametrize("bits", BITS)
def test_bytes_become_so_many_bytes_each(bits):
    rng = np.random.default_rng(bits)
    data = rng.integers(0, 256, 37).astype(np.uint8)
    way = encoding_for(CHIPS["SK6812"].wire, bits, 800_000 * bits)
    spi = np.unpackbits(way.encode(data)).reshape(-1, bits)
    assert len(spi) == 8 * data.size
    assert np.array_equal(spi.sum(axis=1) == way.one, np.unpackbits(data).astype(bool))
    assert (np.diff(spi.astype(int), axis=1) <= 0).all()  # high, then low


@pytest.mark.parametrize("hz", [1e6, 2.4e6, 250e6 / 106, 6.4e6])
def test_latch_bytes_last_the_reset_time_and_little_longer(hz):
    for reset_ns in (50_000, 80_000, 280_000, 300_000):
        lasts_ns = latch_bytes(reset_ns, hz) * 8e9 / hz
        assert reset_ns <= lasts_ns <= reset_ns + 2 * 8e9 / hz
