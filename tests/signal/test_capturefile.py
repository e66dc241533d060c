"""Capture files of every kind hold the same frames."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from emulator.description.chips import CHIPS
from emulator.errors import CaptureError
from emulator.signal.capture import decode_capture
from emulator.signal.capturefile import CaptureFile
from emulator.signal.vcd import read_vcd
from tests.harness.subject.test_program import foreglow

CAPTURES = Path(__file__).parents[1] / "captures"
WS2812B = CHIPS["WS2812B"]


@pytest.fixture
def real():
    """A real line sampled at 4 MHz (tests/captures/README.md)."""
    return read_vcd(CAPTURES / "rgb_24leds_4mhz.vcd").waveforms["DATA"]


@pytest.fixture
def csv(real, tmp_path):
    path = tmp_path / "line.csv"
    rows = [(real.start_ns, int(real.first_level))]
    rows += [(t, (i & 1) ^ (not real.first_level)) for i, t in enumerate(real.edges_ns.tolist())]
    rows.append((real.end_ns, int(real.last_level)))
    text = "".join(f"{time / 1e9:.9f},{int(level)}\n" for time, level in rows)
    path.write_text("Time [s],DATA\n" + text)
    return path


@pytest.fixture
def raw(real, tmp_path):
    path = tmp_path / "line.bin"
    steps = np.zeros((real.end_ns - real.start_ns) // 250, np.uint8)
    steps[(real.edges_ns - real.start_ns) // 250] = 1
    levels = np.bitwise_xor.accumulate(steps) ^ np.uint8(real.first_level)
    path.write_bytes((levels << 3 | 1).astype(np.uint8).tobytes())
    return path


def bytes_of(waveforms):
    (line,) = decode_capture(waveforms, WS2812B).lines
    return line.verdict, [frame.data.tobytes() for frame in line.frames]


def test_csv_and_samples_hold_what_vcd_holds(real, csv, raw):
    wanted = bytes_of({"DATA": real})
    assert len(wanted[1]) == 6  # tests/captures/README.md
    assert bytes_of(CaptureFile(csv).waveforms()) == wanted
    assert bytes_of(CaptureFile(raw, 4_000_000, (3,)).waveforms()) == wanted


def test_a_rate_gives_csv_its_resolution(csv):
    (line,) = CaptureFile(csv, 12_000_000).waveforms().values()
    assert (line.resolution_ns, line.rounding_ns) == (pytest.approx(83.333, abs=1e-3), 1)


def test_a_rate_gives_vcd_its_resolution():
    (line,) = CaptureFile(CAPTURES / "rgb_24leds_4mhz.vcd", 12_000_000).waveforms().values()
    assert (line.resolution_ns, line.rounding_ns) == (pytest.approx(83.333, abs=1e-3), 1)
    (exact,) = CaptureFile(CAPTURES / "rgb_24leds_4mhz.vcd", 10**9).waveforms().values()
    assert exact.margin_ns == 0


@pytest.mark.parametrize(
    ("name", "rate", "bits", "said"),
    [
        ("a.bin", None, (0,), "raw samples need a rate"),
        ("a.csv", 1000, (0,), "CSV has columns, not bits"),
    ],
)
def test_what_does_not_go_together_is_refused(name, rate, bits, said):
    with pytest.raises(CaptureError, match=said):
        CaptureFile(Path(name), rate, bits)


def test_the_commands_take_them(tmp_path, monkeypatch, capsys, csv, raw):
    monkeypatch.chdir(tmp_path)
    by_csv = foreglow(monkeypatch, capsys, "decode", str(csv), "--chip", "WS2812B", "--json")
    sampled = ("--rate", "4MHz", "--bit", "3")
    words = ("decode", str(raw), "--chip", "WS2812B", "--json", *sampled)
    by_samples = foreglow(monkeypatch, capsys, *words)
    frames = [
        [frame["bytes"] for frame in json.loads(out)["lines"][0]["frames"]]
        for _, out, _ in (by_csv, by_samples)
    ]
    assert len(frames[0]) == 6
    assert frames[0] == frames[1]
    words = ("listen", "foyer", "--capture", str(raw), "--to", "memory:", *sampled)
    status, out, _ = foreglow(monkeypatch, capsys, *words)
    assert status == 0
    assert f"6 frames of {raw}; timing: " in out


@pytest.mark.parametrize("rate", ["fast", "4 MHz per s", "-1", "1e6"])
def test_a_rate_that_is_none_is_wrong_use(monkeypatch, capsys, raw, rate):
    words = ("decode", str(raw), "--chip", "WS2812B", f"--rate={rate}", "--bit", "3")
    assert foreglow(monkeypatch, capsys, *words)[0] == 2
