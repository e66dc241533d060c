"""Faults of a capture itself: foreglow names them and bases no verdict on them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from emulator.description.chips import CHIPS, Chip, OneWire
from emulator.signal import clocked, onewire
from emulator.signal.capture import CaptureLine, decode_capture
from emulator.signal.framing import frame_bytes
from emulator.signal.vcd import read_vcd
from emulator.signal.waveform import Waveform

WS2812B = CHIPS["WS2812B"]
BYTES = np.random.default_rng(4).integers(0, 256, (3, 96), dtype=np.uint8)


def line(chip: Chip = WS2812B, data: np.ndarray = BYTES) -> Waveform:
    assert isinstance(chip.wire, OneWire)
    return onewire.encode(data, chip.wire)


def read(waveform: Waveform, chip: Chip = WS2812B) -> CaptureLine:
    return decode_capture({"A": waveform}, chip).lines[0]


def said(found: CaptureLine) -> str:
    return " ".join(doubt.sentence for doubt in found.doubts)


@pytest.mark.parametrize("part", [p for p, c in CHIPS.items() if isinstance(c.wire, OneWire)])
def test_a_right_line_raises_no_doubt_and_an_inverted_one_does(part: str) -> None:
    chip = CHIPS[part]
    right = line(chip)
    assert (read(right, chip).doubts, read(right, chip).verdict) == ((), "pass")
    found = read(replace(right, first_level=True), chip)
    assert "The line is inverted" in said(found)
    assert found.verdict == "cannot tell"


def test_a_line_that_rests_high_is_no_inverted_one() -> None:
    right = line()
    edges = right.edges_ns.reshape(3, -1)
    # High from the end of each frame to the next, except for a moment before it begins.
    after, before = edges[:, -1:] + 500, np.append(edges[1:, :1], edges[-1:, :1] + 10**7) - 900
    edges = np.concatenate([edges, after, before.reshape(3, 1)], axis=1).ravel()
    found = read(Waveform(edges, False, right.start_ns, int(edges[-1]) + 1000))
    assert "The line rests high between frames" in said(found)
    assert found.verdict == "cannot tell"  # its long pulses are rests
    assert "fail" not in {symbol.verdict for symbol in found.timing.symbols}


@pytest.mark.parametrize(
    ("body", "count"),
    [
        ("#0 x! #10 0! #20 1! #30 0!", 0),  # unknown before the first value, as files begin
        ("#0 0! #10 z! #15 0! #20 1! #30 0!", 0),  # low either way
        ("#0 0! #20 1! #30 z! #40 0!", 1),
        ("#0 0! #10 z! #20 1! #30 0!", 1),
        ("#0 z! #20 1! #30 z! #40 1!", 2),
    ],
)
def test_values_that_float_beside_a_high_level_are_counted(
    tmp_path: Path, body: str, count: int
) -> None:
    header = "$timescale 1 ns $end $var wire 1 ! A $end $enddefinitions $end "
    (tmp_path / "a.vcd").write_text(header + body)
    assert read_vcd(tmp_path / "a.vcd").waveforms["A"].unknown == count


def test_a_line_that_floats_has_no_verdict() -> None:
    found = read(replace(line(), unknown=3))
    assert "3 values beside a high level are neither high nor low" in said(found)
    assert found.verdict == "cannot tell"


def test_bits_left_over_in_most_frames_ask_for_the_part() -> None:
    four_white = np.random.default_rng(1).integers(0, 256, (3, 16), dtype=np.uint8)
    found = read(line(CHIPS["SK6812-RGBW"], four_white), CHIPS["SK6812"])
    assert "5 LEDs a frame, and bits left over in 3 of 3 frames: is it SK6812?" in said(found)
    assert "With 32 bits for each LED nothing would be left over." in said(found)
    assert (found.timing.verdict, found.verdict) == ("pass", "cannot tell")


def test_no_whole_led_is_no_verdict() -> None:
    found = read(line(data=np.zeros((2, 2), np.uint8)))
    assert "No frame has a whole LED" in said(found)
    assert (found.timing.verdict, found.verdict) == ("pass", "cannot tell")


def spi(part: str, leds: np.ndarray) -> tuple[Waveform, Waveform]:
    frames = np.stack([frame_bytes(one, CHIPS[part]) for one in leds])
    return clocked.encode(frames, 1e6, rest_ns=600_000)


def test_clock_and_data_exchanged() -> None:
    leds = np.random.default_rng(2).integers(0, 32, (3, 40, 4), dtype=np.uint8)
    clock, data = spi("APA102", leds)
    (right,) = decode_capture({"CLK": clock, "DATA": data}, CHIPS["APA102"]).lines
    assert (right.doubts, right.verdict) == ((), "pass")
    (wrong,) = decode_capture({"CLK": data, "DATA": clock}, CHIPS["APA102"]).lines
    assert "clock and data look exchanged" in said(wrong)
    assert wrong.verdict == "cannot tell"


def test_another_clocked_part() -> None:
    # Plain bytes hold few LEDs of a part whose LEDs begin with three ones.
    bytes_ = np.random.default_rng(3).integers(1, 256, (4, 60, 3), dtype=np.uint8)
    bytes_[:, 0] = [0, 0, 0]
    bytes_[:, 1] = [0, 0xFF, 1]
    (found,) = decode_capture(
        dict(zip("CD", spi("WS2801", bytes_), strict=True)), CHIPS["APA102"]
    ).lines
    assert found.verdict == "cannot tell"
    assert "is it APA102?" in said(found) or "No frame has a whole LED" in said(found)


def test_one_wire_lines_are_no_clock() -> None:
    capture = decode_capture({"A": line(), "B": line(data=BYTES[::-1])}, CHIPS["WS2801"])
    assert "has the pulses of a one-wire part" in said(capture.lines[0])
    assert capture.verdict == "cannot tell"


def test_data_that_change_with_the_clock_are_unsure() -> None:
    leds = np.random.default_rng(2).integers(0, 32, (2, 10, 4), dtype=np.uint8)
    clock, data = spi("APA102", leds)  # data change half a microsecond before the clock rises
    for step, unsure in ((100, False), (490, False), (600, True)):
        coarse = [replace(wave, resolution_ns=step) for wave in (clock, data)]
        (found,) = decode_capture(dict(zip("CD", coarse, strict=True)), CHIPS["APA102"]).lines
        assert ("bits are uncertain" in said(found)) == unsure


def test_a_line_that_never_changes_is_told_with_what_it_may_come_from() -> None:
    for level, word in ((False, "low"), (True, "high")):
        found = read(Waveform(np.zeros(0, np.int64), level, 0, 10**7))
        assert f"never changes, it is {word} throughout" in said(found)
        assert found.verdict == "cannot tell"
    clock, data = spi("APA102", np.zeros((2, 3, 4), np.uint8))
    still = Waveform(np.zeros(0, np.int64), False, clock.start_ns, clock.end_ns)
    for lines, word in (({"CLK": still, "D": data}, "clock"), ({"CLK": clock, "D": still}, "data")):
        found = decode_capture(lines, CHIPS["APA102"]).lines[0]
        assert f"The {word}" in said(found)
        assert "never changes" in said(found)
        assert found.verdict == "cannot tell"


@pytest.mark.parametrize("mean_ns", [60, 400, 3000, 50_000])
@pytest.mark.parametrize("step_ns", [1, 10, 42])
def test_noise_is_named_and_fails_nothing(mean_ns: float, step_ns: int) -> None:
    # Changes at any time, as a line that nobody drives makes them: a Poisson process.
    times = np.cumsum(np.random.default_rng(int(mean_ns)).exponential(mean_ns, 600))
    samples, counts = np.unique(np.ceil(times / step_ns).astype(np.int64), return_counts=True)
    edges = samples[counts % 2 == 1] * step_ns
    found = read(Waveform(edges, False, -10_000, int(edges[-1]) + 10_000, step_ns))
    assert "It floats" in said(found)
    assert found.verdict == "cannot tell"
    assert "fail" not in {symbol.verdict for symbol in found.timing.symbols}


def test_a_line_that_idles_high_is_named_with_any_number_of_frames() -> None:
    for frames in (1, 3):
        right = line(data=BYTES[:frames])
        edges = right.edges_ns.reshape(frames, -1)[:, :-1]  # the last pulse lasts into the rest
        lead = edges[:, :1] - 1300  # and the first bit of a frame begins with a fall
        edges = np.concatenate([lead, edges], axis=1).ravel()
        found = read(Waveform(edges, True, right.start_ns, right.end_ns))
        assert "The line rests high between frames" in said(found)
        assert found.verdict == "cannot tell"
