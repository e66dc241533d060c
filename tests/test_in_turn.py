"""Lines that the controller sends one after the other."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from emulator import Bench, Display, DisplayFileError, parse_display
from emulator.canvas import to_drives, to_wire
from emulator.ports.link import wire_link
from emulator.ports.opening import open_output
from emulator.signal.capture import decode_capture
from emulator.signal.capturefile import CaptureFile
from harness.checks.check import run_checks
from harness.simulated.watched import WatchedBench
from harness.subject.subject import own_code
from harness.subject.trial import Trial

WALL = """
[grid]
columns = 5
rows = 4
[chip]
part = "{part}"
[wiring]
lines = 3
hidden_first = 1
[controller]
sends_lines = "{sends}"
frame_rate = {rate}
"""
BIT_NS, RESET_NS = 1250, 50_000  # WS2812B datasheet, Worldsemi


def wall(sends: str = "in turn", part: str = "WS2812B", rate: float = 30) -> Display:
    return parse_display(WALL.format(part=part, sends=sends, rate=rate), Path("wall.toml"))


def frames(display: Display, count: int) -> np.ndarray:
    drives = np.random.default_rng(5).integers(0, 256, (count, display.leds, 3), dtype=np.uint8)
    if "I" in display.chip.channels:
        drives = np.concatenate([drives, np.full((count, display.leds, 1), 31, np.uint8)], axis=2)
    return np.concatenate(to_wire(drives, display), axis=1)


def test_the_times_of_the_lines_add_up():
    # 11, 6 and 6 LEDs of 24 bits.
    display = wall()
    assert display.wiring.line_lengths == (11, 6, 6)
    sent = Bench(display).send(np.ones(display.picture_shape))
    ends = [24 * BIT_NS * leds for leds in (11, 17, 23)]
    assert [line.ends_ns for line in sent.lines] == ends
    assert [line.ready_ns for line in sent.lines] == [end + RESET_NS for end in ends]
    assert (sent.wire_ns, sent.ready_ns) == (ends[-1], ends[-1] + RESET_NS)
    together = Bench(wall("together")).send(np.ones(display.picture_shape))
    assert together.wire_ns == ends[0]


def test_each_line_shows_its_frame_when_it_has_rested():
    display = wall()
    bench = Bench(display)
    bench.send(np.ones(display.picture_shape), hold_ns=0)
    shown = bench.drives.any(axis=1)
    lines = [shown[display.wiring.line == line].any() for line in range(3)]
    assert lines == [True, True, False]  # the last line's reset has not passed


@pytest.mark.parametrize("part", ["WS2812B", "APA102", "WS2801"])
def test_a_stack_of_frames_is_what_single_frames_and_waveforms_are(part):
    display = wall(part=part)
    data = frames(display, 4)
    one, other, edges = WatchedBench(display), WatchedBench(display), Bench(display, waveform=True)
    period_ns = 20_000_000
    latched = one.send_frames(data, period_ns)
    for number, frame in enumerate(data):
        for bench in (other, edges):
            bench.clock.wait_until(number * period_ns)
            bench.send_frame(frame)
    assert one.sent == other.sent
    assert latched.tolist() == [sent.latched_ns for sent in other.sent]
    for bench in (other, edges):
        assert np.array_equal(bench.frames, one.frames)
        assert np.array_equal(bench.recorder.times_ns, one.recorder.times_ns)


def test_the_check_counts_all_lines_and_says_how_to_be_faster():
    cycle_s = (23 * 24 * BIT_NS + RESET_NS) / 1e9
    display = wall(rate=1500)
    report = run_checks(Trial(display, own_code(display)), ("wire",))
    (finding,) = report.findings
    assert "0.74 ms" in finding.what
    assert "23 LEDs on all lines in turn" in finding.evidence
    assert finding.remedy.startswith("send the lines together, or")
    fastest = report.to_json()["figures"]["wire"]["fastest_frames_per_s"]
    assert fastest == pytest.approx(1 / cycle_s, 1e-6)
    together = wall("together", rate=1500)
    assert not run_checks(Trial(together, own_code(together)), ("wire",)).findings
    (slow,) = run_checks(Trial(wall(rate=9000), own_code(display)), ("wire",)).findings
    assert "send the lines together and share the LEDs among" in slow.remedy


def test_the_link_of_outputs_counts_all_lines():
    link = wire_link(wall())
    assert 1 / link.frames_per_s == pytest.approx((23 * 24 * BIT_NS + RESET_NS) / 1e9)
    assert link.latency_s == pytest.approx((23 * 24 * BIT_NS + RESET_NS + 5 * 300) / 1e9)
    assert "for 3 lines in turn" in link.words


def test_a_trace_shows_one_line_after_the_other(tmp_path):
    display = wall()
    picture = np.random.default_rng(2).random(display.picture_shape)
    with open_output(f"vcd:{tmp_path / 'trace.vcd'}", display) as out:
        out.send(picture)
    found = decode_capture(CaptureFile(tmp_path / "trace.vcd").waveforms(), display.chip)
    starts = [line.frames[0].time_ns for line in found.lines]
    assert np.diff(starts).tolist() == [24 * BIT_NS * 11, 24 * BIT_NS * 6]
    data = np.concatenate([line.frames[0].data for line in found.lines])
    assert np.array_equal(data, np.concatenate(to_wire(to_drives(picture, display), display)))


def test_one_line_is_never_in_turn():
    assert wall().in_turn
    alone = parse_display(
        WALL.format(part="WS2812B", sends="in turn", rate=30).replace("lines = 3", "lines = 1"),
        Path("wall.toml"),
    )
    assert not alone.in_turn


def test_another_word_is_refused_with_those_allowed():
    with pytest.raises(DisplayFileError, match="sends_lines") as caught:
        wall("serially")
    assert "in turn" in str(caught.value)
