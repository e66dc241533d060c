"""`foreglow check --program`: separately written programs, asked for pictures."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from emulator import RealClock, SubjectError, load_display
from harness import cli
from harness.checks.check import run_checks
from harness.subject.program import ProgramSubject
from harness.subject.reception import E131Reception
from harness.subject.trial import Trial
from tests.harness.subject import programs
from tests.tables import telling


@pytest.fixture
def wall(tmp_path):
    path = tmp_path / "wall.toml"
    path.write_text(programs.WALL)
    return load_display(path)


@pytest.fixture
def running(tmp_path, wall):
    """Starts a program from its text, yields its ProgramSubject, and ends it."""
    started = []

    def start(text: str, command: str = "{python} {file} {port}", **options) -> ProgramSubject:
        file = tmp_path / "their show.py"
        file.write_text(text)
        words = command.replace("{python}", sys.executable).replace("{file}", f"'{file}'")
        started.append(ProgramSubject(words, wall, RealClock(), **options))
        return started[-1]

    yield start
    for subject in started:
        subject.close()


def picture(seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).integers(0, 256, (3, 4, 3), np.uint8)


def free_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def gone_soon(note: Path) -> bool:
    """Whether the process whose number is in a file ends: a grandchild, not ours to wait for."""
    clock, stat = RealClock(), Path(f"/proc/{note.read_text()}/stat")
    while clock.now_ns() < 5e9:
        try:
            if stat.read_text().rpartition(")")[2].split()[0] == "Z":
                return True
        except (FileNotFoundError, ProcessLookupError):
            return True
        clock.wait_until(clock.now_ns() + 1_000_000)
    return False


def test_a_child_left_behind_is_ended(running, tmp_path):
    note = tmp_path / "pid"
    program = running(programs.LEAVES_A_CHILD, f"{{python}} {{file}} {{port}} {note}")
    with pytest.raises(SubjectError, match="ended with status 0"):
        program.subject.to_wire(picture())
    program.close()
    assert gone_soon(note)


def test_what_was_latched_is_what_the_program_made_of_the_picture(running):
    subject = running(programs.RIGHT).subject
    for seed in range(3):
        rgb = picture(seed)
        rgb[1] = rgb[1, ::-1].copy()  # serpentine, by hand
        (line,) = subject.to_wire(picture(seed))
        assert line.tolist() == rgb[..., [1, 0, 2]].ravel().tolist()  # GRB: WS2812B datasheet


def test_all_checks_of_a_right_program_pass_on_its_map_and_colours(running, wall):
    report = run_checks(Trial(wall, running(programs.RIGHT).subject), ("wire", "map", "colour"))
    assert report.verdict == "pass"


@pytest.mark.slow
def test_a_wrong_map_in_a_program_is_explained(running, wall):
    report = run_checks(Trial(wall, running(programs.PROGRESSIVE).subject), ("map",))
    assert "row 1 runs backwards" in report.findings[0].what


@pytest.mark.slow
def test_a_program_that_shows_each_picture_late_is_told(running, wall):
    report = run_checks(Trial(wall, running(programs.ONE_LATE).subject), ("wire", "map"))
    assert [f.what for f in report.findings] == ["each picture is shown one frame late"]


@pytest.mark.slow
def test_code_written_for_foreglow_is_a_program_too(running, wall):
    report = run_checks(Trial(wall, running(programs.OWN).subject), ("wire", "map"))
    assert report.verdict == "pass"


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("node") is None, reason="node is not installed")
def test_a_program_in_another_language_is_checked(running, wall):
    subject = running(programs.NODE, "node {file} {port}").subject
    report = run_checks(Trial(wall, subject), ("wire", "map", "colour"))
    assert report.verdict == "pass"


@pytest.mark.slow
def test_a_program_that_sends_e131_is_checked(running, wall):
    address = f"e131://127.0.0.1:{free_port()}"
    program = running(programs.E131, "{python} {file} {e131}", address=address)
    report = run_checks(Trial(wall, program.subject), ("wire", "map", "colour"))
    assert report.verdict == "pass"


def test_a_picture_of_a_program_that_sends_e131_is_what_it_made_of_it(running):
    address = f"e131://127.0.0.1:{free_port()}"
    subject = running(programs.E131, "{python} {file} {e131}", address=address).subject
    rgb = picture()
    rgb[1] = rgb[1, ::-1].copy()  # serpentine, by hand
    (line,) = subject.to_wire(picture())
    assert line.tolist() == rgb[..., [1, 0, 2]].ravel().tolist()


@pytest.mark.slow
def test_a_program_that_never_stops_sending_is_told(running, monkeypatch):
    # No pause of the program on a busy machine is as long as this.
    monkeypatch.setattr(E131Reception, "settle_ns", 100_000_000_000)
    options = {"address": f"e131://127.0.0.1:{free_port()}", "patience_s": 4}
    program = running(programs.STREAM_E131, "{python} {file} {e131}", **options)
    with pytest.raises(SubjectError, match="keeps sending: no frame for picture 0 lasted for"):
        program.subject.to_wire(picture())


@pytest.mark.parametrize(
    ("text", "patience_s", "said"),
    telling(
        [
            (programs.EXITS, 20, "ended with status 3 and had sent no frame for picture 0"),
            ("import os\nos.abort()\n", 20, "was ended by signal 6 (Aborted) and had sent"),
            (programs.SILENT, 0.2, "sent nothing for picture 0 in 0.2 s"),
            (programs.GARBAGE, 4, "not a message of the serial protocol"),
            (programs.BYTES_OVER, 4, "line 0 takes 36 bytes and got 3 too many"),
        ],
        lambda case: case[1] != 4,
    ),
)
def test_a_bad_program_is_told_in_words(running, text, patience_s, said):
    program = running(text, patience_s=patience_s)
    with pytest.raises(SubjectError) as caught:
        program.subject.to_wire(picture())
    assert said in str(caught.value)
    assert "\n  Fix: " in str(caught.value)


def test_the_picture_at_which_a_program_ends_is_named(running):
    subject = running(programs.DIES_AT_SECOND).subject
    subject.to_wire(picture())
    with pytest.raises(SubjectError, match="status 4 and had sent no frame for picture 1"):
        subject.to_wire(picture())


@pytest.mark.parametrize(
    ("command", "said"),
    [
        ("nowhere/show {port}", "'nowhere/show' cannot be started: No such file"),
        ("node show.js", "neither {port} nor {e131}"),
        ("node show.js {port} {e131}", "both {port} and {e131}"),
        ("node 'show.js {port}", "is not a valid command: No closing quotation"),
        ("", "the command is empty"),
    ],
)
def test_a_command_that_cannot_be_run_is_told(wall, command, said):
    with pytest.raises(SubjectError) as caught:
        ProgramSubject(command, wall, RealClock())
    assert said in str(caught.value)


def open_ends() -> int:
    return len(os.listdir("/proc/self/fd"))


@pytest.mark.slow
def test_a_program_that_will_not_end_is_ended_with_its_children(running, tmp_path):
    before = open_ends()
    note = tmp_path / "pid"
    program = running(programs.DEAF, f"{{python}} {{file}} {{port}} {note}", patience_s=1)
    with pytest.raises(SubjectError):
        program.subject.to_wire(picture())
    program.close()
    assert gone_soon(note)
    assert open_ends() == before
    program.close()  # does nothing


def test_a_picture_larger_than_a_pipe_reaches_a_program_that_reads_late(tmp_path):
    path = tmp_path / "wide.toml"  # 72,000 digits; Linux: a pipe holds 64 KiB (pipe(7))
    path.write_text(programs.WALL.replace("columns = 4", "columns = 4000"))
    (tmp_path / "show.py").write_text(programs.LAST_CELLS)
    command = f"{sys.executable} '{tmp_path}/show.py' {{port}}"
    rgb = np.random.default_rng(5).integers(0, 256, (3, 4000, 3), np.uint8)
    with ProgramSubject(command, load_display(path), RealClock()) as program:
        (line,) = program.subject.to_wire(rgb)
    assert line.tolist() == rgb[2].ravel()[-36:].tolist()


@pytest.mark.slow
@pytest.mark.parametrize(
    "number", telling([signal.SIGTERM, signal.SIGHUP], lambda number: number is signal.SIGTERM)
)
def test_the_command_ends_the_program_when_it_is_told_to_end(tmp_path, wall, number):
    note = tmp_path / "pid"
    (tmp_path / "deaf.py").write_text(programs.DEAF)
    code = "from harness.cli import main; main()"
    theirs = f"{sys.executable} deaf.py {{port}} {note}"
    command = [sys.executable, "-c", code, "check", "wall.toml", "--program", theirs]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    process = subprocess.Popen(
        command,
        cwd=tmp_path,
        env=environment,
        stderr=subprocess.PIPE,
        # A run of the tests under nohup would hand down that SIGHUP is ignored.
        preexec_fn=lambda: signal.signal(number, signal.SIG_DFL),
    )
    clock = RealClock()
    try:
        while not (note.exists() and note.read_text()) and clock.now_ns() < 20e9:
            clock.wait_until(clock.now_ns() + 10_000_000)
        process.send_signal(number)
        process.communicate(timeout=20)
    finally:
        process.kill()
        process.wait()
    assert process.returncode == 130
    assert gone_soon(note)


def foreglow(monkeypatch, capsys, *words: str) -> tuple[int, str, str]:
    monkeypatch.setattr(sys, "argv", ["foreglow", *words])
    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGHUP)}
    with pytest.raises(SystemExit) as stop:
        cli.main()
    for number, handler in before.items():
        signal.signal(number, handler)
    out, err = capsys.readouterr()
    return int(stop.value.code or 0), out, err


@pytest.mark.slow
def test_the_command_reports_on_a_program(tmp_path, wall, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "show.py").write_text(programs.PROGRESSIVE)
    theirs = f"{sys.executable} show.py {{port}}"
    words = ("check", "wall.toml", "--program", theirs, "--only", "map", "--json")
    status, out, _ = foreglow(monkeypatch, capsys, *words)
    assert status == 1
    assert "row 1 runs backwards" in json.loads(out)["findings"][0]["what"]


def test_a_program_that_cannot_be_started_is_bad_input(tmp_path, wall, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    words = ("check", "wall.toml", "--program", "./nothing {port}")
    status, _, err = foreglow(monkeypatch, capsys, *words)
    assert status == 2
    assert "SubjectError: the program './nothing' cannot be started" in err


def test_one_subject_at_a_time(tmp_path, wall, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    words = ("check", "wall.toml", "--program", "x {port}", "--call", "a:b")
    assert foreglow(monkeypatch, capsys, *words)[0] == 2
