"""`foreglow find` at the terminal, on a small wall that is rehearsed."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys

import pytest

from emulator import load_display
from emulator.description.faults.strip import DataOpen, LedSwallows
from tests.harness.find.walls import TEXT

FAULT = "data-open after=6"


@pytest.fixture
def small(tmp_path, monkeypatch):
    (tmp_path / "small.toml").write_text(TEXT)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def talk(monkeypatch, capsys, *arguments, answers=()):
    """Run the command in this process; its exit status, and what it printed."""
    from harness.cli import main

    monkeypatch.setattr(sys, "argv", ["foreglow", "find", *arguments])
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in answers)))
    with pytest.raises(SystemExit) as end:
        main()
    said = capsys.readouterr()
    return end.value.code, said.out + said.err


def test_a_rehearsed_fault_is_found_and_written(small, monkeypatch, capsys):
    # Joints alone: a table of all faults takes seconds.
    joints = "harness.find.loose.possible_faults"
    monkeypatch.setattr(joints, lambda display: tuple(DataOpen.everywhere(display)))
    # However fast the answers come, the second picture waits for the table.
    monkeypatch.setattr("harness.cli.findtalk._FIRST", ("channels 4",))
    status, said = talk(
        monkeypatch, capsys, "small.toml", "--rehearse", FAULT, "--built", "built.toml",
        "--rewire", "built.csv",
        # Up to two more pictures come while foreglow calculates; the end takes no such answer.
        answers=["banana", *["dark after led 6"] * 3, "left", "quit"],
    )  # fmt: skip
    assert status == 1, said
    assert "'banana' is not clear" in said
    assert "Understood: LEDs 7 to 11 dark" in said
    assert "the data joint between LED 6 and LED 7" in said
    assert "seen from the back" in said
    assert "power off: less than 1 Ω from DOUT of LED 6 to DIN of LED 7" in said
    assert "Never\nsolder with the power on" in said
    assert [str(one) for one in load_display(small / "built.toml").faults] == [FAULT]
    assert "another map is not enough" in said
    assert not (small / "built.csv").exists()


def test_what_looks_the_same_without_a_number_stays_after_a_no(small, monkeypatch, capsys):
    monkeypatch.setattr(
        "harness.find.loose.possible_faults",
        lambda display: (*DataOpen.everywhere(display), *LedSwallows.everywhere(display)),
    )
    monkeypatch.setattr("harness.cli.findtalk._FIRST", ("channels 4",))
    monkeypatch.setattr("harness.cli.findtalk.MOST_ALIKE", 1)
    _, said = talk(
        monkeypatch, capsys, "small.toml", "--rehearse", FAULT,
        answers=["dark after led 6", "no", "quit"],
    )  # fmt: skip
    first, second = said.split("where:    ")[1:3]
    assert first.startswith("the data joint between LED 6 and LED 7\n")
    assert second.startswith(("LED 6, lit itself\n", "LED 7\n"))


def test_a_wall_of_one_led_is_searched(tmp_path, monkeypatch, capsys):
    text = '[grid]\ncolumns = 1\nrows = 1\n[chip]\npart = "WS2812B"\n[wiring]\nlines = 1\n'
    (tmp_path / "one.toml").write_text(text)
    monkeypatch.chdir(tmp_path)
    status, said = talk(monkeypatch, capsys, "one.toml", "--sheet", answers=["all dark", "quit"])
    assert status == 0, said
    assert "Understood: all dark" in said


def test_the_last_picture_is_shown_again_before_somebody_solders(small, monkeypatch, capsys):
    joints = "harness.find.loose.possible_faults"
    monkeypatch.setattr(joints, lambda display: tuple(DataOpen.everywhere(display)))
    monkeypatch.setattr("harness.cli.findtalk._FIRST", ("channels 4",))
    _, said = talk(
        monkeypatch, capsys, "small.toml", "--rehearse", FAULT,
        answers=["dark after led 6", "again", "dark after led 6", "quit"],
    )  # fmt: skip
    first, second = said.split("'again' shows the last picture")[:2]
    assert first.count("It should show every LED white") == 1
    assert second.count("It should show every LED white") == 1
    assert "2. It should show" in second


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["small.toml"], "say where the wall is"),
        (["small.toml", "--sheet", "--to", "window:"], "--sheet does without"),
        (["small.toml", "--rehearse", "data-opn after=6"], "did you mean 'data-open'"),
        (["small.toml", "--to", "serial:///dev/no-such-port"], "no-such-port"),
        (["small.toml", "--sheet", "--built", "b.txt"], ".toml"),
        (["small.toml", "--sheet", "--session", "no/such/s.json"], "no folder"),
        (["nowall.toml", "--sheet"], "nowall"),
    ],
)
def test_bad_input_is_told_with_status_2(small, monkeypatch, capsys, arguments, says):
    status, said = talk(monkeypatch, capsys, *arguments)
    assert status == 2
    assert says in said.replace("\n", " ")


@pytest.mark.slow
def test_a_killed_session_goes_on(small):
    """SIGKILL after an answer; the same command goes on behind it."""
    command = [sys.executable, "-m", "foreglow", "find", "small.toml", "--sheet"]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    process.stdin.write("led 3 dark\n")
    process.stdin.flush()
    for line in process.stdout:
        if line.startswith("2."):
            break
    os.kill(process.pid, signal.SIGKILL)
    process.communicate()
    done = subprocess.run(command, input="quit\n", capture_output=True, text=True, check=False)
    assert "goes on after 1 answer" in done.stdout
    assert "Start the pattern" in done.stdout
