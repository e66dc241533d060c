"""What the data pins would do, as a capture file."""

from __future__ import annotations

import contextlib
import os
import shutil
import tracemalloc

import numpy as np
import pytest

from emulator import SimulatedClock, WriteError, load_display, open_output
from emulator.ports.address import AddressError
from emulator.ports.vcd import VcdOutput
from emulator.signal import vcdfile
from emulator.signal.capture import decode_capture
from emulator.signal.vcd import read_vcd


def sent_to(path, display, frames):
    with open_output(f"vcd:{path}", display) as output:
        return [output.send_frame(frame) for frame in frames]


@pytest.mark.parametrize("name", ["foyer", "banner", "sign"])
@pytest.mark.parametrize("ending", ["vcd", "vcd.gz"])
def test_the_capture_decodes_to_what_was_sent(name, ending, tmp_path):
    display = load_display(name)
    path = tmp_path / f"trace.{ending}"
    rng = np.random.default_rng(2)
    pictures = [rng.integers(0, 256, display.picture_shape).astype(np.uint8) for _ in range(3)]
    with open_output(f"vcd:{path}", display) as output:
        sent = [output.send(picture) for picture in pictures]
    capture = decode_capture(read_vcd(path).waveforms, display.chip)
    assert capture.verdict == "pass"
    assert len(capture.lines) == len(display.wiring.line_names)
    frames = output.bench.frames
    starts = display.wiring.line_starts
    for line, first, leds in zip(capture.lines, starts, display.wiring.line_lengths, strict=True):
        assert len(line.frames) == 3
        for frame, shown in zip(line.frames, frames, strict=True):
            decoded = frame.leds(display.chip)[:leds, display.chip.from_wire]
            assert np.array_equal(decoded, shown[first : first + leds])
        steps = np.diff([frame.time_ns for frame in line.frames])
        assert steps.tolist() == np.diff([each.starts_ns for each in sent]).tolist()


def test_the_edges_of_one_byte_by_hand(tmp_path):
    # SK6812RGBW datasheet: a 0 is 300 ns high and 900 low, a 1 is 600 and 600.
    display = load_display("banner")
    assert display.chip.part == "SK6812-RGBW"
    sent_to(tmp_path / "t.vcd", display, [b"\xa0"])
    edges = read_vcd(tmp_path / "t.vcd").waveforms["line_0"].edges_ns
    high_ns = (edges[1::2] - edges[::2]).tolist()
    assert high_ns == [600, 300, 600, 300, 300, 300, 300, 300]
    assert (np.diff(edges[::2]) == 1200).all()


def test_frames_that_end_on_a_one_are_followed_rightly_on_a_clocked_line(tmp_path):
    display = load_display("sign")
    frames = [b"\x01\xff", b"\xff", b"\x00\x01", b"\x80"]
    path = tmp_path / "t.vcd"
    sent_to(path, display, frames)
    lines = read_vcd(path).waveforms
    levels = lines["data_0"].levels_before(lines["clk_0"].rises_ns)
    assert np.packbits(levels).tobytes() == b"".join(frames)


def test_lines_that_got_nothing_stay_low(tmp_path):
    sent_to(tmp_path / "t.vcd", load_display("foyer"), [[b"", b"\xff"]])
    lines = read_vcd(tmp_path / "t.vcd").waveforms
    assert [lines[name].edges_ns.size for name in ("line_0", "line_1")] == [0, 16]


def test_nothing_sent_writes_nothing(tmp_path):
    sent_to(tmp_path / "t.vcd", load_display("sign"), [])
    assert list(tmp_path.iterdir()) == []


def test_at_its_limit_it_stops_writing_tells_so_once_and_sends_on(tmp_path, monkeypatch, caplog):
    monkeypatch.setattr(vcdfile, "MOST_BYTES", 50_000)
    display = load_display("banner")
    path = tmp_path / "t.vcd"
    with open_output(f"vcd:{path}", display) as output:
        for _ in range(3):
            output.send_frame(bytes(200))  # 3200 edges, at most 12 characters each
        assert len(output.bench.frames) == 3
        assert path.exists()
    assert [record.getMessage() for record in caplog.records] == [
        f"{path}: over 0 MiB of text; foreglow writes no more"
    ]
    assert path.stat().st_size < 50_000
    capture = decode_capture(read_vcd(path).waveforms, display.chip)
    assert [len(line.frames) for line in capture.lines] == [1]


def frames_of(path, display):
    capture = decode_capture(read_vcd(path).waveforms, display.chip)
    assert capture.verdict != "fail"
    return [[frame.data.tobytes() for frame in line.frames] for line in capture.lines]


@pytest.mark.parametrize("name", ["banner", "sign"])
def test_each_so_much_time_or_when_it_is_full_it_goes_on_in_a_next_file(
    name, tmp_path, monkeypatch
):
    display, clock = load_display(name), SimulatedClock()
    (tmp_path / "t-2.vcd").write_text("mine")
    pictures = [np.full(display.picture_shape, 30 * number, np.uint8) for number in range(1, 8)]
    with VcdOutput(display, tmp_path / "t.vcd", 60, clock) as output:
        for number, picture in enumerate(pictures):
            clock.wait_until(number * 25_000_000_000)  # 3 frames within 60 s: 0, 25 and 50 s
            if number == 6:
                monkeypatch.setattr(vcdfile, "MOST_BYTES", output._file._written + 10)
            with contextlib.suppress(WriteError):  # nor does the last one fit in an empty file
                output.send(picture)
    found = sorted(path.name for path in tmp_path.iterdir())
    assert found == ["t-1.vcd", "t-2.vcd", "t-3.vcd", "t-4.vcd"]
    assert (tmp_path / "t-2.vcd").read_text() == "mine"
    kept = [frames_of(tmp_path / f"t-{number}.vcd", display) for number in (1, 3)]
    assert [[len(line) for line in lines] for lines in kept] == [[3], [3]]
    shown = kept[0][0] + kept[1][0]
    assert len(set(shown)) == 6


def test_the_address_says_how_long_each_file_is(tmp_path):
    display = load_display("sign")
    with open_output(f"vcd:{tmp_path}/t.vcd?each=10min", display) as output:
        assert output._each_ns == 600_000_000_000
        output.send_frame(b"\1")
    assert [path.name for path in tmp_path.iterdir()] == ["t-1.vcd"]
    for text in ("each=soon", "each=10ms", "each=9000h", "every=10min"):
        with pytest.raises(AddressError, match="Fix:"):
            open_output(f"vcd:{tmp_path}/t.vcd?{text}", display)


def test_where_no_file_can_be_is_refused_at_once(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "no" / "t.vcd", tmp_path, tmp_path / "pipe"):
        with pytest.raises(WriteError, match="Fix:"):
            open_output(f"vcd:{path}", load_display("sign"))


def test_a_folder_that_has_gone_is_told_when_closing(tmp_path):
    folder = tmp_path / "folder"
    folder.mkdir()
    output = open_output(f"vcd:{folder}/t.vcd", load_display("sign"))
    output.send_frame(b"\1")
    shutil.rmtree(folder)
    with pytest.raises(WriteError, match="Fix:"):
        output.close()
    output.close()


def test_memory_does_not_grow_with_the_file(tmp_path):
    """The file is some 220 bytes for each that is sent; none of it is kept."""
    display = load_display("banner")
    frame = bytes(range(256)) * 6
    tracemalloc.start()
    try:
        with open_output(f"vcd:{tmp_path}/t.vcd", display) as output:
            held = []
            for _ in range(40):
                output.send_frame(frame)
                held.append(tracemalloc.get_traced_memory()[0])
    finally:
        tracemalloc.stop()
    assert (tmp_path / "t.vcd").stat().st_size > 40 * 200 * len(frame)
    # the twin's recording keeps the drives of each frame: no more than the frame itself
    assert max(held[20:]) - held[19] < 20 * 2 * len(frame)
