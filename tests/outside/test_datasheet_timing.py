"""Catalogue, sent waveform and decoder against the datasheets of the parts.

The figures are typed in here from the datasheets (collected in the project's reference table),
not taken from the catalogue. 'From memory' marks those not yet held against the paper.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emulator.description.chips import CHIPS, OneWire
from emulator.signal import onewire
from emulator.signal.timing import judge
from emulator.signal.waveform import Waveform

Range = tuple[int, int]


@dataclass(frozen=True)
class Sheet:
    """Ranges in ns: T0H, T0L, T1H, T1L; reset, bits an LED, channel order."""

    t0h: Range
    t0l: Range
    t1h: Range
    t1l: Range
    reset: int
    bits: int = 24
    order: str = "GRB"


def pm150(t0h: int, t0l: int, t1h: int, t1l: int) -> tuple[Range, Range, Range, Range]:
    return tuple((t - 150, t + 150) for t in (t0h, t0l, t1h, t1l))  # type: ignore[return-value]


LATER = ((220, 380), (580, 1000), (580, 1000), (220, 420))
SHEETS = {
    # WS2812B datasheet, Worldsemi, 'data transfer time': each ±150 ns, reset above 50 µs
    "WS2812B": Sheet(*pm150(400, 850, 800, 450), 50_000),
    # WS2812B-V5 datasheet, Worldsemi (from memory): reset above 280 µs
    "WS2812B-V5": Sheet(*LATER, 280_000),
    # WS2813 datasheet, Worldsemi: lows up to 100 µs, reset at least 300 µs
    "WS2813B": Sheet((300, 450), (300, 100_000), (750, 1000), (300, 100_000), 300_000),
    # SK6812 datasheet, Rev. 01: each ±150 ns, reset above 80 µs
    "SK6812": Sheet(*pm150(300, 900, 600, 600), 80_000),
    # SK6812RGBW datasheet: as SK6812, 32 bits
    "SK6812-RGBW": Sheet(*pm150(300, 900, 600, 600), 80_000, 32, "GRBW"),
    # WS2811 datasheet, Worldsemi, low speed (from memory): each ±150 ns
    "WS2811-LOW": Sheet(*pm150(500, 2000, 1200, 1300), 50_000, 24, "RGB"),
    # WS2811 datasheet, Worldsemi: high speed halves the times (from memory)
    "WS2811-HIGH": Sheet(*pm150(250, 1000, 600, 650), 50_000, 24, "RGB"),
    # WS2815 datasheet, Worldsemi (from memory)
    "WS2815": Sheet(*LATER, 280_000),
}
every_sheet = pytest.mark.parametrize(("part", "sheet"), SHEETS.items(), ids=SHEETS.keys())


def wire_of(part: str) -> OneWire:
    wire = CHIPS[part].wire
    assert isinstance(wire, OneWire)
    return wire


def test_every_one_wire_part_has_its_sheet() -> None:
    assert {part for part, chip in CHIPS.items() if isinstance(chip.wire, OneWire)} == set(SHEETS)


@every_sheet
def test_catalogue_holds_the_datasheet(part: str, sheet: Sheet) -> None:
    wire, chip = wire_of(part), CHIPS[part]
    spans = {name: getattr(wire, name) for name in ("t0h", "t0l", "t1h", "t1l")}
    found = {name: (span.least, span.most) for name, span in spans.items()}
    assert found == {name: getattr(sheet, name) for name in found}
    assert (wire.reset_ns, chip.bits_per_led, chip.order) == (sheet.reset, sheet.bits, sheet.order)


@every_sheet
def test_what_we_send_lies_within_the_datasheet(part: str, sheet: Sheet) -> None:
    line = onewire.encode(np.array([[0b01001101] * 4] * 2, dtype=np.uint8), wire_of(part))
    highs = line.edges_ns[1::2] - line.edges_ns[0::2]
    lows = line.edges_ns[2::2] - line.edges_ns[1:-1:2]
    bits = [0, 1, 0, 0, 1, 1, 0, 1] * 8
    for number, (bit, high) in enumerate(zip(bits, highs, strict=True)):
        least, most = sheet.t1h if bit else sheet.t0h
        assert least <= high <= most
        if number == 31:  # last bit of the first frame
            assert lows[number] >= sheet.reset
        elif number < 63:
            least, most = sheet.t1l if bit else sheet.t0l
            assert least <= lows[number] <= most


def test_800_kbit_parts_take_1250_ns_a_bit() -> None:
    # WS2812B datasheet: TH + TL = 1.25 µs; SK6812's own figures add up to 1.2 µs.
    for part in ("WS2812B", "WS2813B", "WS2815"):
        assert wire_of(part).bit_ns == (1250, 1250)
    assert wire_of("SK6812").bit_ns == (1200, 1200)


def test_576_leds_take_17_28_ms() -> None:
    # Common practice, no source: 576 LEDs × 24 bits × 1.25 µs.
    line = onewire.encode(np.zeros(576 * 3, dtype=np.uint8), wire_of("WS2812B"), 0)
    assert line.edges_ns[-2] + 1250 == 17_280_000  # from the first to the end of the last bit


# One symbol each: the pulse for 0 and for 1, within or just outside its range.
LIMITS = [
    pytest.param(part, name, id=f"{part} {name}")
    for part in SHEETS
    for name in ("t0h", "t0l", "t1h", "t1l")
]


@pytest.mark.parametrize(("part", "name"), LIMITS)
def test_judge_draws_the_line_where_the_datasheet_does(part: str, name: str) -> None:
    sheet = SHEETS[part]
    middle = {key: sum(getattr(sheet, key)) // 2 for key in ("t0h", "t0l", "t1h", "t1l")}
    middle |= {key: 600 for key in ("t0l", "t1l") if middle[key] > 10_000}
    least, most = getattr(sheet, name)
    for value, expected in (
        (least, "pass"),
        (most, "pass"),
        (least - 1, "fail"),
        (most + 1, "fail"),
    ):
        times = {**middle, name: value}
        threshold = (sheet.t0h[1] + sheet.t1h[0]) / 2
        if (name == "t0h" and value >= threshold) or (name == "t1h" and value < threshold):
            continue  # reads as the other bit: SK6812's ranges touch at 450 ns
        widths = [times[key] for key in ("t0h", "t0l", "t1h", "t1l", "t0h")]
        edges = np.cumsum([0, *widths], dtype=np.int64)
        line = Waveform(edges, False, -sheet.reset, int(edges[-1]) + sheet.reset)
        timing = judge(line, wire_of(part))
        told = {s.name.lower(): s.verdict for s in timing.symbols}
        assert told[name] == expected, value
        assert timing.verdict == expected


def decode_by_the_datasheet(
    changes: list[tuple[int, int]], sheet: Sheet
) -> list[tuple[int, list[int]]]:
    """Frames as (time, bits), written from the datasheet alone: one change of level at a time.

    A high of T0H is a 0 and of T1H a 1; a low of the reset time ends the frame.
    """
    frames: list[tuple[int, list[int]]] = []
    rose = fell = None
    for time, level in changes:
        if level:
            if fell is None or time - fell >= sheet.reset:
                frames.append((time, []))
            rose = time
        else:
            assert rose is not None
            high = time - rose
            if sheet.t1h[0] <= high <= sheet.t1h[1]:
                bit = 1
            else:
                assert sheet.t0h[0] <= high <= sheet.t0h[1]
                bit = 0
            frames[-1][1].append(bit)
            fell = time
    return frames


@every_sheet
@given(data=st.data())
@settings(max_examples=25, deadline=None)
def test_any_waveform_within_the_datasheet_decodes_as_the_datasheet_says(
    part: str, sheet: Sheet, data: st.DataObject
) -> None:
    seed = data.draw(st.integers(0, 2**32 - 1))
    rng = np.random.default_rng(seed)
    now, changes = sheet.reset, []
    for _ in range(data.draw(st.integers(1, 4), label="frames")):
        for _ in range(data.draw(st.integers(1, 3 * sheet.bits), label="bits")):
            bit = rng.integers(0, 2)
            high_range, low_range = (sheet.t1h, sheet.t1l) if bit else (sheet.t0h, sheet.t0l)
            low_ns, high_ns = high_range
            high_ns -= int(not bit and high_ns == sheet.t1h[0])  # SK6812: 450 ns is both
            changes.append((now, 1))
            now += int(rng.integers(low_ns, high_ns + 1))
            changes.append((now, 0))
            now += int(rng.integers(low_range[0], low_range[1] + 1))
        now += sheet.reset + int(rng.integers(0, 10**6))
    edges = np.array([time for time, _ in changes], dtype=np.int64)
    line = Waveform(edges, False, 0, now)
    got = onewire.decode(line, wire_of(part))
    ours = [
        (int(start), got.bits[a:b].tolist())
        for start, a, b in zip(got.start_ns, got.offsets[:-1], got.offsets[1:], strict=True)
    ]
    assert ours == decode_by_the_datasheet(changes, sheet)
    assert (got.first_cut, got.last_cut, got.glitches, got.stray) == (False, False, 0, 0)
    assert judge(line, wire_of(part)).verdict == "pass"


def test_apa102_frame_is_that_of_the_datasheet() -> None:
    # APA102 datasheet: start 32 zero bits; per LED 111 + 5-bit brightness, then B, G, R.
    assert (CHIPS["APA102"].order, CHIPS["SK9822"].order) == ("IBGR", "IBGR")
    # WS2801 datasheet: 24 bits an LED, latch when the clock rests low 500 µs.
    wire = CHIPS["WS2801"].wire
    assert not isinstance(wire, OneWire)
    assert (wire.latch, wire.rest_ns, CHIPS["WS2801"].bits_per_led) == ("rest", 500_000, 24)


def test_lpd8806_frame_is_that_of_the_datasheet() -> None:
    # LPD8806 datasheet (from memory): 24 bits an LED, high bit set, a zero byte for 32 LEDs.
    wire = CHIPS["LPD8806"].wire
    assert not isinstance(wire, OneWire)
    assert (wire.latch, wire.rest_ns, CHIPS["LPD8806"].bits_per_led) == ("zero bytes", 0, 24)
    assert CHIPS["LPD8806"].order == "GRB"  # common practice, no source
