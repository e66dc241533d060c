"""What the data pins would do, as a capture file."""

from __future__ import annotations

import os
import shutil
import tracemalloc

import numpy as np
import pytest

from emulator import WriteError, load_display, open_output
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


def test_more_than_fits_is_refused_and_what_came_before_is_written(tmp_path, monkeypatch):
    monkeypatch.setattr(vcdfile, "MOST_BYTES", 50_000)
    display = load_display("banner")
    path = tmp_path / "t.vcd"
    with open_output(f"vcd:{path}", display) as output:
        output.send_frame(bytes(200))  # 3200 edges, at most 12 characters each
        with pytest.raises(WriteError, match="To mend:"):
            output.send_frame(bytes(200))
    assert path.stat().st_size < 50_000
    capture = decode_capture(read_vcd(path).waveforms, display.chip)
    assert [len(line.frames) for line in capture.lines] == [1]


def test_where_no_file_can_be_is_refused_at_once(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "no" / "t.vcd", tmp_path, tmp_path / "pipe"):
        with pytest.raises(WriteError, match="To mend:"):
            open_output(f"vcd:{path}", load_display("sign"))


def test_a_folder_that_has_gone_is_told_when_closing(tmp_path):
    folder = tmp_path / "folder"
    folder.mkdir()
    output = open_output(f"vcd:{folder}/t.vcd", load_display("sign"))
    output.send_frame(b"\1")
    shutil.rmtree(folder)
    with pytest.raises(WriteError, match="To mend:"):
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
