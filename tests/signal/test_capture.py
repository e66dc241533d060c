"""Decoded captures: lines and their pairing, flags, JSON, and the terminal report."""

from __future__ import annotations

import io
import json

import numpy as np
import pytest
from rich.console import Console

from emulator.description.chips import CHIPS, Chip, Clocked, OneWire
from emulator.errors import CaptureError
from emulator.signal import clocked, onewire
from emulator.signal.capture import Capture, decode_capture
from emulator.signal.framing import frame_bytes
from emulator.signal.waveform import Waveform
from harness.report.capture.terminal import print_capture, reasons

SK6812 = CHIPS["SK6812"]
SILENT = Waveform(np.zeros(0, dtype=np.int64), False, 0, 10**6)


def sent(*frames: list[int], chip: Chip = SK6812, resolution: int = 1) -> Waveform:
    assert isinstance(chip.wire, OneWire)
    line = onewire.encode(np.array(frames, dtype=np.uint8), chip.wire)
    return Waveform(line.edges_ns, False, line.start_ns, line.end_ns, resolution)


def spi(chip: Chip, *leds: list[list[int]]) -> tuple[Waveform, Waveform]:
    assert isinstance(chip.wire, Clocked)
    frames = np.stack([frame_bytes(np.array(one, dtype=np.uint8), chip) for one in leds])
    return clocked.encode(frames, 1e6, rest_ns=chip.wire.rest_ns)


def printed(capture: Capture) -> str:
    out = io.StringIO()
    print_capture(capture, Console(file=out, width=110, color_system=None))
    return out.getvalue()


def test_every_line_of_a_one_wire_chip_is_decoded() -> None:
    capture = decode_capture({"A": sent([1, 2, 3], [4, 5, 6]), "B": sent([9, 8, 7])}, SK6812)
    frames = [[frame.data.tolist() for frame in line.frames] for line in capture.lines]
    assert frames == [[[1, 2, 3], [4, 5, 6]], [[9, 8, 7]]]
    assert [line.name for line in capture.lines] == ["A", "B"]
    assert (capture.verdict, capture.lines[0].frames[0].time_ns) == ("pass", 80_000)


def test_a_line_without_frames_does_not_spoil_the_verdict() -> None:
    capture = decode_capture({"A": sent([1, 2, 3]), "B": SILENT}, SK6812)
    assert [line.verdict for line in capture.lines] == ["pass", "cannot tell"]
    assert capture.verdict == "pass"
    assert decode_capture({"B": SILENT}, SK6812).verdict == "cannot tell"


def test_frames_say_what_is_missing() -> None:
    line = sent([0xAB, 0xCD, 0xEF, 0x12])
    cut = Waveform(line.edges_ns[:-6], False, line.start_ns, line.end_ns)  # 3 bits less
    (frame,) = decode_capture({"A": cut}, SK6812).lines[0].frames
    assert (frame.bits, frame.partial_bits, frame.cut) == (29, 5, False)
    assert frame.data.tolist() == [0xAB, 0xCD, 0xEF, 0x10]
    assert frame.leds(SK6812).tolist() == [[0xAB, 0xCD, 0xEF]]
    begun = Waveform(line.edges_ns, False, int(line.edges_ns[0]) - 10, line.end_ns)
    (frame,) = decode_capture({"A": begun}, SK6812).lines[0].frames
    assert frame.cut


@pytest.mark.parametrize(
    ("clock_name", "data_name"), [("CLK", "DI"), ("sck", "mosi"), ("top.CI", "top.DI"), ("a", "b")]
)
def test_the_clock_is_found_by_name_or_by_its_edges(clock_name: str, data_name: str) -> None:
    clock, data = spi(CHIPS["APA102"], [[31, 1, 2, 3]], [[7, 4, 5, 6]])
    for lines in ({clock_name: clock, data_name: data}, {data_name: data, clock_name: clock}):
        (line,) = decode_capture(lines, CHIPS["APA102"]).lines
        assert line.name == data_name
        assert [f.leds(CHIPS["APA102"]).tolist() for f in line.frames] == [
            [[31, 1, 2, 3]],
            [[7, 4, 5, 6]],
        ]
        assert line.verdict == "pass"


def test_clocks_and_data_lines_pair_up_in_order() -> None:
    chip = CHIPS["WS2801"]
    (c0, d0), (c1, d1) = spi(chip, [[1, 2, 3]]), spi(chip, [[4, 5, 6]])
    pairs = decode_capture({"CLK0": c0, "CLK1": c1, "D0": d0, "D1": d1}, chip)
    assert [line.frames[0].data.tolist() for line in pairs.lines] == [[1, 2, 3], [4, 5, 6]]
    shared = decode_capture({"D0": d0, "CLK": c0, "D1": d1}, chip)
    assert [line.name for line in shared.lines] == ["D0", "D1"]
    for lines in ({"CLK": c0}, {}, {"CLK0": c0, "CLK1": c1, "D": d0}):
        with pytest.raises(CaptureError, match=r"clock line[\s\S]*Fix"):
            decode_capture(lines, chip)


def test_json_has_the_fields_promised() -> None:
    # The promised fields: lines[] with name, verdict, timing; frames[] of time_ns, bits, bytes.
    capture = decode_capture({"A": sent([0, 171, 255])}, SK6812)
    (line,) = json.loads(json.dumps(capture.to_json()))["lines"]
    assert (line["name"], line["verdict"]) == ("A", "pass")
    (frame,) = line["frames"]
    assert (frame["time_ns"], frame["bits"], frame["bytes"]) == (80_000, 24, "00abff")
    t0h = line["timing"]["symbols"][0]
    # SK6812 datasheet: T0H 0.3 µs ±150 ns.
    assert (t0h["name"], t0h["least_ns"], t0h["most_ns"]) == ("T0H", 150, 450)
    assert (t0h["min_ns"], t0h["median_ns"], t0h["max_ns"], t0h["verdict"]) == (
        300,
        300,
        300,
        "pass",
    )


def test_the_report_shows_timing_frames_and_verdict() -> None:
    text = printed(decode_capture({"OUT": sent(*[[i, 171, 255] * 8 for i in range(15)])}, SK6812))
    assert "Line OUT  15 frames, pass" in text
    assert "150–450 ns" in text
    assert "00abff 00abff 00abff 00abff 00abff 00abff …" in text
    assert "3 more" in text
    assert "Verdict: pass as SK6812." in text


def test_the_report_says_why_in_words() -> None:
    def said(*frames: list[int], resolution: int = 1, chip: Chip = SK6812) -> str:
        capture = decode_capture({"A": sent(*frames, resolution=resolution)}, chip)
        assert all(
            sentence in " ".join(printed(capture).split())
            for sentence in reasons(capture.lines[0], chip)
        )
        return " ".join(reasons(capture.lines[0], chip))

    assert said([1, 2, 3]) == ""
    coarse = said([1, 2, 3], resolution=250)
    assert "T0H, T0L, T1H, T1L cannot be judged at this sampling rate" in coarse
    assert "every 250 ns" in coarse
    wrong = said([1, 2, 3], chip=CHIPS["WS2812B"])
    assert "T1H is out of tolerance: 600 ns to 600 ns found" in wrong
    assert "WS2812B needs 650–950 ns" in wrong
    assert "1 frame not ending on a whole LED or byte" in said([1, 2, 3, 4])
    early = said([1, 2, 3], [1, 2, 3], chip=CHIPS["WS2812B-V5"])  # 80 µs where 280 are wanted
    assert "1 frame came before the reset time had passed" in early


def test_the_report_of_an_odd_line_names_what_is_odd() -> None:
    edges = np.cumsum([700, 900, 300, 900, 40, 3000, 600], dtype=np.int64)
    capture = decode_capture({"A": Waveform(edges, True, 0, 9000)}, SK6812)
    text = " ".join(printed(capture).split())
    assert "1 pulse or gap too short for any symbol" in text
    assert "1 pulse or bit outside any frame, or cut off at an end of" in text
    assert "(may be cut)" in text
    assert "Verdict: fail" in text
    assert "no frames" in printed(decode_capture({"A": SILENT}, SK6812))
