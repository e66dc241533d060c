"""A VCD file in stretches holds what the whole file holds."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from emulator.description.chips import CHIPS, OneWire
from emulator.errors import CaptureError
from emulator.signal import clocked, onewire, vcd
from emulator.signal.capture import decode_capture
from emulator.signal.framing import frame_bytes
from emulator.signal.vcd import read_vcd, write_vcd
from emulator.signal.vcdstream import stream_vcd
from emulator.signal.waveform import Waveform

CAPTURES = Path(__file__).parents[1] / "captures"
WS2812B = CHIPS["WS2812B"]


def frames_of(captures):
    """(time, bytes, bits, cut) of every frame, by line."""
    found: dict[str, list[tuple[int, bytes, int, bool]]] = {}
    for capture in captures:
        for line in capture.lines:
            found.setdefault(line.name, []).extend(
                (frame.time_ns, frame.data.tobytes(), frame.bits, frame.cut)
                for frame in line.frames
            )
    return found


def both_ways(path, chip):
    stretches = [decode_capture(part.waveforms, chip) for part in stream_vcd(path, chip)]
    return stretches, decode_capture(read_vcd(path).waveforms, chip)


@pytest.mark.parametrize(
    ("name", "part"),
    [
        ("rgb_24leds_4mhz.vcd", "WS2812B"),
        ("rgb_4lines_5mhz.vcd", "WS2812B"),
        ("rgbw_4leds_4mhz.vcd", "SK6812-RGBW"),
    ],
)
def test_real_captures_come_out_the_same(monkeypatch, name, part):
    monkeypatch.setattr(vcd, "_BLOCK", 4096)
    stretches, whole = both_ways(CAPTURES / name, CHIPS[part])
    assert len(stretches) > 1
    assert frames_of(stretches) == frames_of([whole])
    one = read_vcd(CAPTURES / name)
    last = list(stream_vcd(CAPTURES / name, CHIPS[part]))[-1]
    assert [w.resolution_ns for w in last.waveforms.values()] == [
        w.resolution_ns for w in one.waveforms.values()
    ]


@given(
    st.lists(st.tuples(st.integers(1, 30), st.integers(0, 400)), min_size=1, max_size=12),
    st.integers(40, 2000),
)
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_frames_with_any_pauses_come_out_the_same(tmp_path, monkeypatch, frames, block):
    """Pauses from none to longer than a reset, on two lines out of step."""
    wire = WS2812B.wire
    assert isinstance(wire, OneWire)
    rng = np.random.default_rng(len(frames))
    edges, now_ns = [], 100_000
    for count, pause_us in frames:
        line = onewire.encode(rng.integers(0, 256, count, dtype=np.uint8), wire, now_ns)
        edges.append(line.edges_ns)
        now_ns = int(line.edges_ns[-1]) + 900 + 1000 * pause_us
    first = Waveform(np.concatenate(edges), False, 0, now_ns + 400_000)
    second = Waveform(first.edges_ns + 7_000, False, 0, now_ns + 400_000)
    path = tmp_path / "lines.vcd"
    write_vcd(path, {"A": first, "B": second})
    monkeypatch.setattr(vcd, "_BLOCK", block)
    stretches, whole = both_ways(path, WS2812B)
    assert frames_of(stretches) == frames_of([whole])


@pytest.mark.parametrize("part", ["WS2801", "APA102"])
def test_chips_with_a_clock_come_out_the_same(tmp_path, monkeypatch, part):
    chip = CHIPS[part]
    rng = np.random.default_rng(3)
    leds = rng.integers(0, 32, (6, 5, chip.bytes_per_led), dtype=np.uint8)
    data = np.stack([frame_bytes(frame, chip) for frame in leds])
    clock, line = clocked.encode(data, 1e6, rest_ns=chip.wire.rest_ns)
    path = tmp_path / "lines.vcd"
    write_vcd(path, {"CLK": clock, "DATA": line})
    monkeypatch.setattr(vcd, "_BLOCK", 300)
    stretches, whole = both_ways(path, chip)
    assert frames_of(stretches) == frames_of([whole])
    assert sum(len(each.lines[0].frames) for each in stretches) == 6


def test_how_far_it_is_goes_up_to_the_size_of_the_file(monkeypatch):
    path, told = CAPTURES / "rgb_24leds_4mhz.vcd", []
    monkeypatch.setattr(vcd, "_BLOCK", 10_000)
    for _ in stream_vcd(path, WS2812B, told.append):
        pass
    assert told == sorted(told)
    assert told[-1] == path.stat().st_size


def test_damage_is_told_after_what_came_before_it(tmp_path, monkeypatch):
    text = (CAPTURES / "rgb_24leds_4mhz.vcd").read_text()
    path = tmp_path / "cut.vcd"
    path.write_text(text + "#1 nonsense\n")
    monkeypatch.setattr(vcd, "_BLOCK", 4096)
    stretches = stream_vcd(path, WS2812B)
    assert next(stretches).waveforms["DATA"].edges_ns.size
    with pytest.raises(CaptureError, match="line"):
        list(stretches)
