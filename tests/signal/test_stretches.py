"""A capture read in stretches has the same content as one read whole, wherever its blocks end."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from emulator.description.chips import CHIPS, OneWire
from emulator.errors import CaptureError
from emulator.signal import clocked, csvfile, onewire, samples, vcd
from emulator.signal.capture import decode_capture
from emulator.signal.capturefile import CaptureFile
from emulator.signal.framing import frame_bytes
from emulator.signal.stretches import stretches
from emulator.signal.vcdfile import write_vcd
from emulator.signal.waveform import Waveform, joined
from tests.tables import telling

CAPTURES = Path(__file__).parents[1] / "captures"
WS2812B = CHIPS["WS2812B"]
KINDS = ("vcd", "csv", "samples")
RATE_HZ = 20_000_000
STEP_NS = 50


def frames_of(parts, chip):
    """(time, bytes, bits, cut) of every frame, by line."""
    found: dict[str, list[tuple[int, bytes, int, bool]]] = {}
    for part in parts:
        for line in decode_capture(part, chip).lines:
            found.setdefault(line.name, []).extend(
                (frame.time_ns, frame.data.tobytes(), frame.bits, frame.cut)
                for frame in line.frames
            )
    return found


def written(lines, kind, folder):
    """The lines as a file of a kind; raw samples need edges on their grid, from 0 on."""
    path = folder / f"lines.{kind}"
    if kind == "vcd":
        write_vcd(path, lines)
        return CaptureFile(path)
    times = np.unique(np.concatenate([line.edges_ns for line in lines.values()]))
    start = min(line.start_ns for line in lines.values())
    end = max(line.end_ns for line in lines.values())
    if kind == "samples":
        times = np.arange(start, end, STEP_NS)
    else:
        times = np.unique(np.concatenate([[start], times, [end]]))
    levels = [line.levels_before(times + 1) for line in lines.values()]
    if kind == "samples":
        path.write_bytes(sum(level << bit for bit, level in enumerate(levels)).tobytes())
        return CaptureFile(path, RATE_HZ, tuple(range(len(levels))))
    rows = np.stack([times, *levels], axis=1).tolist()
    text = "\n".join(",".join(map(str, row)) for row in rows)
    path.write_text(f"time_ns,{','.join(lines)}\n{text}\n")
    return CaptureFile(path)


def in_blocks_of(monkeypatch, size):
    for module in (vcd, csvfile, samples):
        monkeypatch.setattr(module, "_BLOCK", size)


on_files = settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "part"),
    [
        ("rgb_24leds_4mhz.vcd", "WS2812B"),
        ("rgb_4lines_5mhz.vcd", "WS2812B"),
        ("rgbw_4leds_4mhz.vcd", "SK6812-RGBW"),
    ],
)
def test_real_captures_come_out_the_same(monkeypatch, name, part):
    file = CaptureFile(CAPTURES / name)
    whole = file.waveforms()
    in_blocks_of(monkeypatch, 4096)
    parts = list(file.stretches(CHIPS[part]))
    assert len(parts) > 1
    assert frames_of(parts, CHIPS[part]) == frames_of([whole], CHIPS[part])
    steps = {line.resolution_ns for line in parts[-1].values()}
    assert steps == {line.resolution_ns for line in whole.values()}


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
@given(
    frames=st.lists(st.tuples(st.integers(1, 12), st.integers(0, 400)), min_size=1, max_size=6),
    block=st.integers(300, 3000),
)
@on_files
def test_frames_with_any_pauses_come_out_the_same(tmp_path, monkeypatch, kind, frames, block):
    """Pauses from none to longer than a reset, on two lines out of step, and one silent line."""
    wire = WS2812B.wire
    assert isinstance(wire, OneWire)
    rng = np.random.default_rng(len(frames))
    edges, now_ns = [], 100_000
    for count, pause_us in frames:
        line = onewire.encode(rng.integers(0, 256, count, dtype=np.uint8), wire, now_ns)
        edges.append(line.edges_ns)
        now_ns = int(line.edges_ns[-1]) + 900 + 1000 * pause_us
    end_ns = now_ns + 400_000
    first = Waveform(np.concatenate(edges), False, 0, end_ns)
    second = Waveform(first.edges_ns + 7_000, False, 0, end_ns)
    silent = Waveform(np.zeros(0, np.int64), False, 0, end_ns)
    file = written({"A": first, "B": second, "C": silent}, kind, tmp_path)
    whole = frames_of([file.waveforms()], WS2812B)
    in_blocks_of(monkeypatch, block)
    assert frames_of(file.stretches(WS2812B), WS2812B) == whole
    sent = decode_capture({"A": first, "B": second}, WS2812B).lines
    assert [[data for _, data, _, _ in frames] for frames in list(whole.values())[:2]] == [
        [frame.data.tobytes() for frame in line.frames] for line in sent
    ]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("part", "kind"),
    telling(
        [(part, kind) for part in ("WS2801", "APA102") for kind in KINDS],
        lambda case: case in {("WS2801", KINDS[0]), ("APA102", KINDS[-1])},
    ),
)
@given(data=st.data())
@on_files
def test_chips_with_a_clock_come_out_the_same(tmp_path, monkeypatch, kind, part, data):
    """One clock for two data lines, pauses of the clock within frames, data that rests high."""
    chip = CHIPS[part]
    count, leds = data.draw(st.integers(1, 6)), data.draw(st.integers(1, 9))
    drives = data.draw(arrays(np.uint8, (2, count, leds, chip.bytes_per_led)))
    drives[..., 0] &= 31
    lines = [np.stack([frame_bytes(one, chip) for one in line]) for line in drives]
    bits = 8 * lines[0].shape[1]
    rest_ns = chip.wire.rest_ns
    pauses = data.draw(st.lists(st.integers(0, 3), min_size=count, max_size=count))
    # After the first pause the clock does not rest long enough: the WS2801 takes one long frame.
    rests = [rest_ns * (pause > 0) + 50_000 * (pause + 1) for pause in pauses[1:]]
    starts = np.cumsum([0, *(1000 * bits + rest for rest in rests)])
    pairs = [clocked.encode(line, 1e6, starts, rest_ns + 1000) for line in lines]
    begin_ns = pairs[0][0].start_ns
    moved = [
        Waveform(w.edges_ns - begin_ns, w.first_level, 0, w.end_ns - begin_ns)
        for w in (pairs[0][0], pairs[0][1], pairs[1][1])
    ]
    file = written(dict(zip(("CLK", "D0", "D1"), moved, strict=True)), kind, tmp_path)
    if kind == "samples":  # the names do not say which is the clock: its edges do
        assert list(file.waveforms()) == ["bit 0", "bit 1", "bit 2"]
    whole = frames_of([file.waveforms()], chip)
    in_blocks_of(monkeypatch, data.draw(st.integers(200, 3000)))
    assert frames_of(file.stretches(chip), chip) == whole
    got = [[data for _, data, _, _ in frames] for frames in whole.values()]
    if part == "WS2801" and all(pauses[1:]):
        assert got == [[frame.tobytes() for frame in line] for line in lines]


@given(
    st.lists(st.integers(0, 300), min_size=2, max_size=6),
    st.integers(0, 400_000),
    st.lists(st.integers(1, 3_000_000), max_size=6),
)
def test_pairs_with_a_clock_each_come_out_the_same_however_late_one_is(pauses, late_ns, ends):
    chip = CHIPS["APA102"]
    rng = np.random.default_rng(len(pauses))
    leds = rng.integers(0, 32, (len(pauses), 3, 4), dtype=np.uint8)
    data = np.stack([frame_bytes(frame, chip) for frame in leds])
    starts = np.cumsum([1000 * (8 * data.shape[1] + pause) for pause in pauses])
    pair = clocked.encode(data, 1e6, starts)
    end_ns = pair[0].end_ns + late_ns
    lines = {
        f"{name}{number}": Waveform(line.edges_ns + number * late_ns, False, 0, end_ns)
        for number in (0, 1)
        for name, line in zip(("CLK", "D"), pair, strict=True)
    }
    blocks, rest = [], lines
    for end in sorted(end for end in ends if end < end_ns):
        parts = {name: line.parted(end, end) for name, line in rest.items()}
        blocks.append({name: before for name, (before, _) in parts.items()})
        rest = {name: after for name, (_, after) in parts.items()}
    found = stretches([*blocks, rest], chip)
    assert frames_of(found, chip) == frames_of([lines], chip)


def test_a_chip_with_start_frames_is_cut_at_every_frame_that_both_lines_begin_together():
    """Worked by hand: blocks that end anywhere; a cut needs the first LED's mark behind it."""
    chip = CHIPS["APA102"]
    frames = np.stack([frame_bytes(np.full((2, 4), n, np.uint8), chip) for n in range(1, 5)])
    clock, data = clocked.encode(frames, 1e6)
    frame_ns = 1000 * (8 * frames.shape[1] + 1)  # and one bit of rest
    ends = [frame_ns * k + 40_000 for k in range(1, 4)]  # 40 bits into frames 1, 2, 3
    blocks, rest = [], {"CLK": clock, "DATA": data}
    for end_ns in (clock.start_ns + end for end in ends):
        parts = {name: line.parted(end_ns, end_ns) for name, line in rest.items()}
        blocks.append({name: before for name, (before, _) in parts.items()})
        rest = {name: after for name, (_, after) in parts.items()}
    found = list(stretches([*blocks, rest], chip))
    assert [frames_of([part], chip)["DATA"][0][1] for part in found] == [
        f.tobytes() for f in frames
    ]


def test_lines_that_are_never_between_frames_together_come_whole():
    """Two WS2812B lines of which one is sent while the other rests."""
    wire = WS2812B.wire
    assert isinstance(wire, OneWire)
    some = np.zeros(60, np.uint8)  # 600 µs
    first = onewire.encode(some, wire, 100_000)
    second = onewire.encode(some, wire, 690_000)
    end_ns = second.end_ns
    blocks = [
        dict(zip("AB", halves, strict=True))
        for halves in zip(
            *(
                Waveform(line.edges_ns, False, 0, end_ns).parted(695_000, 695_000)
                for line in (first, second)
            ),
            strict=True,
        )
    ]
    assert len(list(stretches(blocks, WS2812B))) == 1


@given(
    st.lists(st.integers(1, 50), min_size=1, max_size=30),
    st.booleans(),
    st.lists(st.integers(0, 600), max_size=5),
)
def test_pieces_of_a_waveform_join_to_it(gaps, level, cuts):
    edges = np.cumsum(gaps)
    whole = Waveform(edges, level, 0, int(edges[-1]) + 9)
    pieces, rest = [], whole
    for cut in sorted(cuts):
        if rest.start_ns <= cut <= rest.end_ns:
            piece, rest = rest.parted(cut, cut)
            pieces.append(piece)
    back = joined([*pieces, rest])
    assert back.edges_ns.tolist() == edges.tolist()
    assert (back.first_level, back.start_ns, back.end_ns) == (level, 0, whole.end_ns)


def test_rows_at_one_time_in_two_blocks_are_one_row(tmp_path, monkeypatch):
    path = tmp_path / "lines.csv"
    path.write_text("ns,D\n0,0\n5,1\n5,0\n9,1\n")
    for block in range(4, 30):
        in_blocks_of(monkeypatch, block)
        line = CaptureFile(path).waveforms()["D"]
        assert (line.edges_ns.tolist(), line.first_level) == ([9], False)


@pytest.mark.parametrize("kind", telling(KINDS, lambda kind: kind == KINDS[0]))
def test_memory_does_not_grow_with_the_length(tmp_path, monkeypatch, kind):
    wire = WS2812B.wire
    assert isinstance(wire, OneWire)
    peaks = []
    in_blocks_of(monkeypatch, 20_000)
    for count in (10, 60):
        data = np.random.default_rng(1).integers(0, 256, (count, 60), dtype=np.uint8)
        line = onewire.encode(data, wire, np.arange(count) * 800_000 + wire.reset_ns)
        file = written({"A": Waveform(line.edges_ns, False, 0, line.end_ns)}, kind, tmp_path)
        sent = 0
        tracemalloc.start()
        for part in file.stretches(WS2812B):
            sent += len(decode_capture(part, WS2812B).lines[0].frames)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
        assert sent == count
    assert peaks[1] < 1.3 * peaks[0]


def test_how_far_it_is_goes_up_to_the_size_of_the_file(monkeypatch):
    path, told = CAPTURES / "rgb_24leds_4mhz.vcd", []
    in_blocks_of(monkeypatch, 10_000)
    for _ in CaptureFile(path).stretches(WS2812B, told.append):
        pass
    assert told == sorted(told)
    assert told[-1] == path.stat().st_size


def test_damage_is_told_after_what_came_before_it(tmp_path, monkeypatch):
    text = (CAPTURES / "rgb_24leds_4mhz.vcd").read_text()
    path = tmp_path / "cut.vcd"
    path.write_text(text + "#1 nonsense\n")
    in_blocks_of(monkeypatch, 4096)
    parts = CaptureFile(path).stretches(WS2812B)
    assert next(parts)["DATA"].edges_ns.size
    with pytest.raises(CaptureError, match="line"):
        list(parts)
