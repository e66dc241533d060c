"""Firmware without a board: an AVR binary of ours under simavr, decoded from its data pin.

simavr (Debian) is a general-purpose simulator of AVR chips: it knows nothing of LEDs or of
foreglow. What it traces is checked against the cycles counted in the program (ATmega328P
datasheet, instruction set summary) and the program's own formula for its bytes.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.harness.subject.programs import WALL
from tests.harness.subject.test_program import foreglow

SOURCE = Path(__file__).parent / "firmware" / "pin.c"
HEADERS = Path("/usr/include/simavr/avr")
FRAMES = [bytes((37 * i + 11 * f) % 256 for i in range(36)) for f in range(2)]
CYCLE_NS = 62.5  # 16 MHz

needed = pytest.mark.skipif(
    not (shutil.which("avr-gcc") and shutil.which("simavr") and HEADERS.is_dir()),
    reason="no simavr (apt-get install simavr libsimavr-dev gcc-avr avr-libc)",
)


def run_firmware(folder: Path, *options: str) -> Path:
    """Build the program, run it to its end, and return the trace of its pin."""
    build = ["avr-gcc", "-std=gnu99", "-Wall", "-Wextra", "-Werror", "-Os", "-mmcu=atmega328p"]
    build += ["-Wl,--undefined=_mmcu,--section-start=.mmcu=0x910000"]
    build += ["-DF_CPU=16000000UL", f"-I{HEADERS}", *options, SOURCE, "-o", "pin.elf"]
    subprocess.run(build, cwd=folder, check=True)
    subprocess.run(["simavr", "pin.elf"], cwd=folder, check=True, timeout=60, capture_output=True)
    return folder / "pin.vcd"


def decoded(monkeypatch, capsys, trace, chip):
    # Exact to 10 ns; without the rate the chip's cycles of 62.5 ns look like a sampler's.
    words = ("decode", str(trace), "--chip", chip, "--rate", "100MHz", "--json")
    status, out, _ = foreglow(monkeypatch, capsys, *words)
    capture = json.loads(out)
    (line,) = capture["lines"]
    return status, capture["verdict"], line


@needed
def test_a_right_firmware_passes_and_its_bytes_are_read(tmp_path, monkeypatch, capsys):
    trace = run_firmware(tmp_path)
    status, verdict, line = decoded(monkeypatch, capsys, trace, "WS2812B-V5")
    assert (status, verdict) == (0, "pass")
    assert [bytes.fromhex(frame["bytes"]) for frame in line["frames"]] == FRAMES
    symbols = {symbol["name"]: symbol for symbol in line["timing"]["symbols"]}
    cycles = {"T0H": 5, "T1H": 14, "T0L": 14, "T1L": 5}
    for name, count in cycles.items():  # the trace has steps of 10 ns
        assert symbols[name]["mean_ns"] == pytest.approx(count * CYCLE_NS, abs=10), name


@needed
def test_a_firmware_whose_ones_last_too_long_fails(tmp_path, monkeypatch, capsys):
    trace = run_firmware(tmp_path, "-DLATE=8")  # 22 cycles, 1375 ns; at most 1000 are allowed
    status, verdict, line = decoded(monkeypatch, capsys, trace, "WS2812B-V5")
    assert (status, verdict) == (1, "fail")
    failed = [each["name"] for each in line["timing"]["symbols"] if each["verdict"] == "fail"]
    assert "T1H" in failed


@needed
def test_its_frames_show_on_a_wall(tmp_path, monkeypatch, capsys):
    trace = run_firmware(tmp_path)
    (tmp_path / "wall.toml").write_text(WALL.replace('"WS2812B"', '"WS2812B-V5"'))
    monkeypatch.chdir(tmp_path)
    words = ("listen", "wall.toml", "--capture", str(trace), "--rate", "100MHz")
    words += ("--to", "memory:")
    status, out, _ = foreglow(monkeypatch, capsys, *words)
    assert status == 0
    assert f"2 frames of {trace}; timing: pass." in out
    assert (tmp_path / "foreglow-out" / "wall-listen.png").exists()
