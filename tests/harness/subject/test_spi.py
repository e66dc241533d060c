"""`--spi`: programs in Python that send through spidev, unchanged, to emulated pins."""

from __future__ import annotations

import json
import sys

import numpy as np
import pytest

from emulator import Bench, RealClock, SubjectError, load_display
from harness import cli
from harness.checks.check import run_checks
from harness.checks.listening import hear
from harness.subject.program import ProgramSubject
from harness.subject.trial import Trial

WALL = """
grid = {columns = 6, rows = 4}
chip = {part = "WS2812B"}
wiring = {start = "top-left", along = "rows", path = "progressive"}
"""
# What anyone would write, with the library's names alone, for any Python from 3.7 on.
SHOW = """
import json, sys, time
import spidev

def encode(data):
    bits = "".join("110" if byte >> (7 - i) & 1 else "100" for byte in data for i in range(8))
    return list(int(bits, 2).to_bytes(len(bits) // 8, "big"))

def grb(rgb):
    return b"".join(bytes((rgb[i + 1], rgb[i], rgb[i + 2])) for i in range(0, len(rgb), 3))

spi = spidev.SpiDev()
"""
SETUP = "spi.open(0, 0)\nspi.max_speed_hz = 2400000\n"
ASKED = (
    SHOW
    + SETUP
    + """
for line in sys.stdin:
    spi.writebytes2([0] + encode(grb(bytes.fromhex(json.loads(line)["rgb"]))) + [0] * 20)
"""
)


@pytest.fixture
def wall(tmp_path):
    path = tmp_path / "wall.toml"
    path.write_text(WALL)
    return load_display(path)


@pytest.fixture
def command(tmp_path):
    def made(text):
        path = tmp_path / "show.py"
        path.write_text(text)
        return f"{sys.executable} '{path}'"

    return made


@pytest.fixture
def running(wall, command):
    """Starts a program from its text, yields its ProgramSubject, and ends it."""
    started = []

    def start(text, **options):
        started.append(ProgramSubject(command(text), wall, RealClock(), spi=True, **options))
        return started[-1]

    yield start
    for subject in started:
        subject.close()


def picture(seed=1):
    return np.random.default_rng(seed).integers(0, 256, (4, 6, 3), np.uint8)


def test_an_unchanged_program_is_asked_for_pictures(running, wall):
    subject = running(ASKED)
    for seed in range(3):
        asked = picture(seed)
        (line,) = subject.to_wire(asked)
        assert np.array_equal(line, asked[..., [1, 0, 2]].ravel())
    (told,) = subject.subject.trouble()
    assert told.severity == "note"
    assert "2.358 MHz" in told.what


@pytest.mark.parametrize(("second_hz", "where"), [(2_400_000, "all lines"), (2_358_491, "line 0")])
def test_trouble_of_both_lines_is_told_once_and_that_of_one_with_its_number(
    tmp_path, command, second_hz, where
):
    path = tmp_path / "wall.toml"
    path.write_text(WALL.replace('"progressive"', '"progressive", lines = 2'))
    second = f"two = spidev.SpiDev(1, 0)\ntwo.max_speed_hz = {second_hz}\n"
    sends = ASKED.replace(SETUP, SETUP + second).replace(
        "    spi.writebytes2(", "    for one in (spi, two): one.writebytes2("
    )
    with ProgramSubject(command(sends), load_display(path), RealClock(), spi=True) as subject:
        subject.to_wire(picture())
        (told,) = (t for t in subject.subject.trouble() if "2.358 MHz" in t.what)
    assert told.where == where


def test_all_checks_run_on_it_and_a_wrong_map_is_explained(running, wall):
    wrong = ASKED.replace("rgb[i + 1], rgb[i], rgb[i + 2]", "rgb[i], rgb[i + 1], rgb[i + 2]")
    report = run_checks(Trial(wall, running(wrong).subject), ("wire", "colour"))
    told = [finding.what for finding in report.findings if finding.severity == "fault"]
    assert any("red and green" in what for what in told)
    assert any("2.358 MHz" in finding.what for finding in report.findings)


def test_a_frame_split_by_bufsiz_shows_what_the_wall_would(tmp_path, command):
    path = tmp_path / "wall.toml"
    path.write_text(WALL.replace("columns = 6, rows = 4", "columns = 24, rows = 24"))
    display = load_display(path)
    subject = ProgramSubject(command(ASKED), display, RealClock(), spi=True)
    with subject:
        (line,) = subject.to_wire(np.full((24, 24, 3), 200, np.uint8))
        bench = Bench(display)
        bench.send_frame(line)
        assert np.count_nonzero(bench.drives.any(axis=1)) == 455  # of 576
        told = {one.severity: one for one in subject.subject.trouble()}
        assert "a frame goes in several transfers" in told["fault"].what


@pytest.mark.slow
def test_foreglows_own_output_finds_the_stand_in(running, wall):
    """Code written for foreglow drives /dev/spidev0.0 with the library, here the emulated one."""
    text = f"""
import json, sys
import numpy as np
import emulator

display = emulator.load_display({str(wall.path)!r})
with emulator.open_output("spi:///dev/spidev0.0?hz=2400000&bits=3", display) as out:
    for line in sys.stdin:
        rgb = np.frombuffer(bytes.fromhex(json.loads(line)["rgb"]), np.uint8)
        out.send(rgb.reshape(display.picture_shape))
"""
    subject = running(text)
    (line,) = subject.to_wire(picture())
    bench = Bench(wall)
    bench.send(picture())
    drives = bench.drives
    bench.send_frame(line)
    assert np.array_equal(bench.drives, drives)
    assert {one.severity for one in subject.subject.trouble()} <= {"note"}


@pytest.mark.parametrize(
    ("broken", "said"),
    [
        ("spi.xfer2(", r"xfer2 got 5[0-9]{3} bytes and takes 4096: OverflowError"),
        ("spi.lsbfirst = True\n    spi.writebytes2(", "lsbfirst = True was refused: EINVAL"),
        (
            "spi.open(1, 0)\n    spi.writebytes2(",
            "opened /dev/spidev1.0, but there is only /dev/spidev0.0",
        ),
    ],
)
def test_what_is_refused_ends_the_program_and_is_named(running, broken, said):
    text = ASKED.replace("spi.writebytes2(", broken).replace("[0] * 20", "[0] * 5000")
    with pytest.raises(SubjectError, match=said):
        running(text).to_wire(picture())


def test_a_program_that_opens_nothing_is_told_how_the_stand_in_is_found(running):
    with pytest.raises(SubjectError, match="sudo, python -I and python -E hide PYTHONPATH"):
        running("import sys\nsys.stdin.read()\n", patience_s=0.5).to_wire(picture())


@pytest.mark.slow
def test_mosi_resting_high_is_told_where_nothing_latches(running):
    text = ASKED.replace(" + [0] * 20", "")
    with pytest.raises(SubjectError, match="MOSI rests high between transfers"):
        running(text, address="spi:?idle=high", patience_s=1.0).to_wire(picture())


@pytest.mark.slow
@pytest.mark.parametrize("leading", ["", "[0] + "])
def test_what_damages_frames_is_told_and_code_not_blamed_for_it(running, wall, leading):
    """After MOSI rested high, the first bits of a message are not those of the code."""
    text = ASKED.replace("[0] + encode", f"{leading}encode")
    report = run_checks(Trial(wall, running(text, address="spi:?idle=high").subject))
    assert {f.check for f in report.findings if f.severity == "fault"} == {"wire"}
    for name in ("map", "colour", "levels"):
        (result,) = (r for r in report.results if r.check == name)
        assert not result.judged or not result.findings


@pytest.mark.slow
def test_a_device_that_gets_nothing_is_told_and_no_map_is_blamed(tmp_path, command):
    path = tmp_path / "wall.toml"
    path.write_text(WALL.replace('"progressive"', '"progressive", lines = 2'))
    display = load_display(path)
    text = ASKED.replace(
        SETUP, SETUP + "two = spidev.SpiDev(0, 1)\ntwo.max_speed_hz = 2400000\n"
    ).replace("    spi.writebytes2(", "    for one in (spi, two): one.writebytes2(")
    with ProgramSubject(command(text), display, RealClock(), spi=True) as subject:
        report = run_checks(Trial(display, subject.subject), ("map",))
    (told,) = (f for f in report.findings if f.severity == "fault")
    assert told.what == "nothing was sent to /dev/spidev1.0, the device of line 1"
    assert told.where == "line 1"


LISTENED = (
    SHOW
    + SETUP
    + """
for step in range(40):
    spi.writebytes2([0] + encode(bytes([step]) * 72) + [0] * 20)
    time.sleep(0.02)
time.sleep(30)
"""
)


def test_what_a_program_sends_by_itself_is_heard(wall, command):
    heard = hear(wall, RealClock(), 0.6, program=command(LISTENED), spi=True)
    figures = heard.report.figures
    assert figures["frames"]["frames"] >= 5
    assert not [
        one for one in heard.report.findings if one.check == "frames" and one.severity == "fault"
    ]


def run(monkeypatch, capsys, *words):
    monkeypatch.setattr(sys, "argv", ["foreglow", *words])
    with pytest.raises(SystemExit) as stop:
        cli.main()
    out, err = capsys.readouterr()
    return int(stop.value.code or 0), out, err


def test_listen_shows_it_and_judges_the_timing(wall, command, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    text = LISTENED.replace("time.sleep(30)", "").replace("range(40)", "range(5)")
    words = ("listen", str(wall.path), "--spi", "--program", command(text), "--to", "memory:")
    status, out, _ = run(monkeypatch, capsys, *words)
    assert status == 0
    assert "5 frames; timing of MOSI: pass." in out
    assert "The program ended with status 0." in out
    assert (tmp_path / "foreglow-out" / "wall-listen.png").exists()


@pytest.mark.slow  # 50 pictures and more
def test_check_reports_on_it_as_json(wall, command, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    words = (
        "check",
        str(wall.path),
        "--spi",
        "--program",
        command(ASKED),
        "--only",
        "wire",
        "--json",
    )
    status, out, _ = run(monkeypatch, capsys, *words)
    report = json.loads(out)
    assert status == 0
    assert "2.358 MHz" in report["findings"][0]["what"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("check", "banner", "--spi"), "--program"),
        (("listen", "banner", "--spi"), "--program"),
        (("listen", "banner", "--serial", "--address", "spi:"), "--e131 or --spi"),
        (("listen", "banner", "--e131", "--program", "x"), "--spi"),
        (("check", "banner", "--spi", "--program", "x", "--address", "spi:?idle=up"), "idle"),
    ],
)
def test_options_that_do_not_go_together(monkeypatch, capsys, words, said):
    status, _, err = run(monkeypatch, capsys, *words)
    assert status == 2
    assert said in " ".join(err.split())
