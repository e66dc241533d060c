"""Real captures decode to the content that their authors name.

Source of every figure: tests/captures/README.md (authors' notes, and an independent decode).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from emulator.description.chips import CHIPS
from emulator.signal.capture import Capture, decode_capture
from emulator.signal.vcd import read_vcd
from harness.report.capture.terminal import reasons

CAPTURES = Path(__file__).parents[1] / "captures"


def decoded(file: str, part: str) -> Capture:
    return decode_capture(read_vcd(CAPTURES / file).waveforms, CHIPS[part])


def gaps_ms(capture: Capture, file: str) -> list[float]:
    """Low between the end of one frame and the start of the next, from the edges themselves."""
    edges = next(iter(read_vcd(CAPTURES / file).waveforms.values())).edges_ns
    starts = [frame.time_ns for frame in capture.lines[0].frames[1:]]
    return [(start - int(edges[edges < start].max())) / 1e6 for start in starts]


@pytest.mark.parametrize(
    ("file", "step_ns"),
    [("rgbw_4leds_4mhz.vcd", 250), ("rgb_24leds_4mhz.vcd", 250), ("rgb_4lines_5mhz.vcd", 200)],
)
def test_sampling_rate_is_found(file: str, step_ns: int) -> None:
    # 'sampled at' 4 MHz and 5 MHz
    lines = read_vcd(CAPTURES / file).waveforms.values()
    assert {line.resolution_ns for line in lines} == {step_ns}


def test_rgbw_levels_one_channel_a_frame() -> None:
    capture = decoded("rgbw_4leds_4mhz.vcd", "SK6812-RGBW")
    frames = capture.lines[0].frames
    # '4 frames; levels 0, 63, 127, 255 on LED 0..3, one channel a frame: green, blue, white, red',
    # 'GRBW on the wire'
    assert [frame.bits for frame in frames] == [4 * 32] * 4
    for frame, channel in zip(frames, "GBWR", strict=True):
        expected = np.zeros((4, 4), dtype=np.uint8)
        expected[:, "GRBW".index(channel)] = [0, 63, 127, 255]
        assert frame.leds(capture.chip).tolist() == expected.tolist()
        assert (frame.cut, frame.partial_bits) == (False, 0)
    # 'Gaps about 1.02 ms'
    assert gaps_ms(capture, "rgbw_4leds_4mhz.vcd") == pytest.approx([1.02] * 3, abs=0.01)


def test_chain_of_24_leds_with_a_moving_light() -> None:
    capture = decoded("rgb_24leds_4mhz.vcd", "WS2812B")
    frames = capture.lines[0].frames
    # '6 frames of 576 bits', 'Gaps about 0.98 ms'
    assert [frame.bits for frame in frames] == [576] * 6
    assert gaps_ms(capture, "rgb_24leds_4mhz.vcd") == pytest.approx([0.98] * 5, abs=0.01)
    # 'a moving light fading out behind it': along the chain the lit LEDs rise to a head, and
    # from frame to frame what is behind the head only gets darker.
    light = np.stack([frame.leds(capture.chip).sum(axis=1) for frame in frames]).astype(int)
    heads = light.argmax(axis=1)
    for levels, head in zip(light, heads, strict=True):
        tail = levels[: head + 1]
        assert (np.diff(tail) >= 0).all()
        assert not levels[head + 1 :].any()
    steady = heads[1:] == heads[:-1]
    assert ((light[1:] <= light[:-1]).all(axis=1) == steady).all()


def test_four_lines_in_parallel() -> None:
    capture = decoded("rgb_4lines_5mhz.vcd", "WS2812B")
    # 'four lines in parallel (OUT1..OUT4), 2 frames of 6120 bits (255 LEDs) each'
    assert [line.name for line in capture.lines] == ["OUT1", "OUT2", "OUT3", "OUT4"]
    for line in capture.lines:
        assert [frame.bits for frame in line.frames] == [6120, 6120]
        assert [len(frame.leds(capture.chip)) for frame in line.frames] == [255, 255]
        assert not any(frame.cut or frame.partial_bits for frame in line.frames)
    # 'one gap of about 2.36 ms'
    assert gaps_ms(capture, "rgb_4lines_5mhz.vcd") == pytest.approx([2.36], abs=0.01)


@pytest.mark.parametrize(
    ("file", "part"),
    [
        ("rgb_24leds_4mhz.vcd", "WS2812B"),
        ("rgb_4lines_5mhz.vcd", "WS2812B"),
        ("rgbw_4leds_4mhz.vcd", "SK6812-RGBW"),
    ],
)
def test_timing_finer_than_the_sample_cannot_be_told(file: str, part: str) -> None:
    # 'a judge of timing must … say cannot tell where the tolerance is finer than the sample'
    capture = decoded(file, part)
    for line in capture.lines:
        told = {symbol.name: symbol.verdict for symbol in line.timing.symbols}
        assert told.pop("reset") == "pass"
        assert set(told.values()) == {"cannot tell"}
        assert line.verdict == "cannot tell"


def test_the_mean_hints_at_what_no_single_pulse_proves() -> None:
    # SK6812RGBW datasheet: T1H 0.6 µs ±150 ns. At 250 ns a step a pulse read as 1000 ns may last
    # 750, the limit; but a steady pulse reads as its true length on average.
    line = decoded("rgbw_4leds_4mhz.vcd", "SK6812-RGBW").lines[0]
    (t1h,) = (symbol for symbol in line.timing.symbols if symbol.name == "T1H")
    assert (t1h.max_ns, t1h.verdict) == (1000, "cannot tell")
    wave = read_vcd(CAPTURES / "rgbw_4leds_4mhz.vcd").waveforms["DATA"]
    rises, falls = wave.pulses()
    high = falls - rises
    assert t1h.mean_ns == pytest.approx(high[high > 600].mean())
    assert any("T1H lasts 887 ns on average" in r for r in reasons(line, CHIPS["SK6812-RGBW"]))


@pytest.mark.parametrize("begin", [417_100, 417_000, 1_300_000])
def test_a_capture_may_begin_within_a_frame_or_a_pulse(begin: int) -> None:
    # 'The capture may begin inside a frame or inside a pulse.'
    wave = read_vcd(CAPTURES / "rgb_24leds_4mhz.vcd").waveforms["DATA"]
    ahead = int(np.searchsorted(wave.edges_ns, begin, side="right"))
    part = type(wave)(wave.edges_ns[ahead:], bool(ahead & 1), begin, wave.end_ns, 250)
    frames = decode_capture({"DATA": part}, CHIPS["WS2812B"]).lines[0].frames
    whole = decoded("rgb_24leds_4mhz.vcd", "WS2812B").lines[0].frames
    seen_whole = [frame for frame in frames if not frame.cut]
    assert [f.data.tolist() for f in seen_whole] == [f.data.tolist() for f in whole[1:]]
    assert len(frames) - len(seen_whole) == int(begin < 1_000_000)


def test_a_one_wire_capture_is_none_of_a_clocked_chip() -> None:
    capture = decoded("rgb_4lines_5mhz.vcd", "APA102")
    assert capture.verdict == "cannot tell"
    assert any(
        "has the pulses of a one-wire part" in r for r in reasons(capture.lines[0], capture.chip)
    )
    assert any("No frame has a whole LED" in r for r in reasons(capture.lines[0], capture.chip))
