"""`foreglow firmware` and `foreglow listen --firmware`, as a user runs them, under simavr."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from emulator import load_display, open_output
from emulator.clock import RealClock
from emulator.errors import UnsupportedError
from emulator.ports.firmware import simulator as building
from emulator.ports.firmware.controller import FirmwareError
from emulator.ports.firmware.live import LiveFirmware, told_by
from emulator.ports.firmware.simulator import simulator
from tests.harness.subject.programs import WALL
from tests.harness.subject.test_program import foreglow
from tests.outside.firmware_chain import Chain, build, needed, random_frames, wall
from tests.outside.test_firmware import SOURCE

MMCU = "-Wl,--undefined=_mmcu,--section-start=.mmcu=0x910000"


@pytest.fixture(scope="module")
def own_firmware(tmp_path_factory) -> Path:
    """An .elf that sends two frames by itself and sleeps for ever (pin.c)."""
    folder = tmp_path_factory.mktemp("own")
    build = ["avr-gcc", "-std=gnu99", "-Os", "-mmcu=atmega328p", "-DF_CPU=16000000UL", MMCU]
    build += ["-I/usr/include/simavr/avr", str(SOURCE), "-o", "pin.elf"]
    subprocess.run(build, cwd=folder, check=True)
    return folder / "pin.elf"


@needed
def test_anybodys_firmware_shows_on_the_wall_and_its_end_is_told(
    tmp_path, own_firmware, monkeypatch, capsys
):
    shutil.copy(own_firmware, tmp_path)
    (tmp_path / "wall.toml").write_text(WALL.replace('"WS2812B"', '"WS2812B-V5"'))
    monkeypatch.chdir(tmp_path)
    words = ("listen", "wall.toml", "--firmware", "pin.elf", "--pins", "B0", "--to", "memory:")
    status, out, err = foreglow(monkeypatch, capsys, *words)
    assert (status, err) == (0, "")
    assert "pin.elf on atmega328p at 16 MHz: /dev/" in out
    assert "The firmware has stopped: it sleeps forever." in out
    assert "2 frames at the pins; timing: pass." in out
    assert re.search(r"of the controller's time: (\d+\.\d\d times slower|as fast)", out)
    assert (tmp_path / "foreglow-out" / "wall-listen.png").exists()


@needed
@pytest.mark.slow
def test_a_project_is_made_built_run_and_driven(tmp_path, monkeypatch, capsys):
    """All from the command line; only the sender is in this process."""
    (tmp_path / "wall.toml").write_text(WALL)
    monkeypatch.chdir(tmp_path)
    made, out, _ = foreglow(monkeypatch, capsys, "firmware", "wall.toml", "-o", "fw")
    assert made == 0
    assert "Line 0: 12 WS2812B, data on B0." in out
    assert re.search(r"of 2048 bytes of RAM.*at most [\d.]+ frames/s", out, re.S)
    again, _, err = foreglow(monkeypatch, capsys, "firmware", "wall.toml", "-o", "fw")
    assert (again, "exists and is left as it is" in err) == (2, True)
    subprocess.run(["make", "-C", "fw"], check=True, capture_output=True)
    words = ["listen", "wall.toml", "--firmware", "fw/wall.elf", "--name", "port"]
    words += ["--to", "memory:"]
    command = [sys.executable, "-m", "foreglow", *words]
    listener = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        clock = RealClock()
        while not (tmp_path / "port").exists():
            assert listener.poll() is None, listener.communicate()
            clock.wait_until(clock.now_ns() + 50_000_000)
        display = load_display("wall.toml")
        baud = re.search(r"serial://DEVICE\?(baud=\d+)", out)[1]
        with open_output(f"serial://{tmp_path}/port?{baud}", display) as output:
            for drives in random_frames(display, 10):
                output.send(drives.reshape(display.picture_shape))
        clock.wait_until(clock.now_ns() + 2_000_000_000)  # the last one is on its way
    finally:
        listener.send_signal(signal.SIGINT)
        told, err = listener.communicate(timeout=60)
    assert listener.returncode == 0, err
    assert "10 frames at the pins; timing: pass." in told
    assert "lost" not in told
    assert not (tmp_path / "port").is_symlink()


@needed
@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--firmware", "nothing.elf"), "nothing.elf: cannot be read (No such file or directory)"),
        (("--firmware", "wall.toml"), "wall.toml: is not an ELF file for an AVR"),
        (("--firmware", sys.executable), "is not an ELF file for an AVR"),
        (("--firmware", "cut.elf"), "no program is in cut.elf"),
        (("--firmware", "pin.elf", "--pins", "B0,B1"), "pins B0,B1 for 1 line(s)"),
        (("--firmware", "pin.elf", "--pins", "L7"), "the controller has no pin L7"),
        (("--firmware", "pin.elf", "--controller", "Z80"), "no controller is called 'Z80'"),
        (("--firmware", "pin.elf", "--baud", "300"), "--baud goes with --serial"),
    ],
)
def test_bad_input_is_told(tmp_path, own_firmware, monkeypatch, capsys, words, told):
    elf = Path(shutil.copy(own_firmware, tmp_path))
    (tmp_path / "cut.elf").write_bytes(elf.read_bytes()[:60])
    (tmp_path / "wall.toml").write_text(WALL)
    monkeypatch.chdir(tmp_path)
    status, _, err = foreglow(monkeypatch, capsys, "listen", "wall.toml", *words, "--to", "memory:")
    assert status == 2
    assert told in " ".join(err.replace("│", " ").split())


@pytest.mark.slow
@needed
def test_the_simulator_is_built_once_and_anew_for_another_source(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    first = simulator()
    made = first.stat().st_mtime_ns
    assert first.parent == tmp_path / "foreglow"
    assert simulator() == first
    assert first.stat().st_mtime_ns == made
    changed = tmp_path / "live.c"
    changed.write_text(building.SOURCE.read_text() + "\n/* another */\n")
    monkeypatch.setattr(building, "SOURCE", changed)
    assert simulator() != first
    changed.write_text("int main(void) { return missing; }")
    with pytest.raises(
        UnsupportedError, match=r"cannot be built:(.|\n)*missing(.|\n)*libsimavr-dev"
    ):
        simulator()
    assert len([*first.parent.iterdir()]) == 2


def test_what_is_missing_is_named(tmp_path, monkeypatch):
    monkeypatch.setattr(building, "_PREFIXES", (tmp_path,))
    with pytest.raises(
        UnsupportedError, match=r"simavr's library is not installed(.|\n)*libsimavr-dev"
    ):
        simulator()
    monkeypatch.setattr(shutil, "which", lambda name: None)
    with pytest.raises(
        UnsupportedError, match=r"a C compiler is not installed(.|\n)*apt-get install gcc"
    ):
        simulator()


@needed
def test_the_program_has_no_warnings(tmp_path):
    build = ["gcc", "-std=gnu11", "-O2", "-Wall", "-Wextra", "-Werror", "-isystem"]
    build += ["/usr/include/simavr", str(building.SOURCE), "-o", str(tmp_path / "live")]
    subprocess.run([*build, "-lsimavr"], check=True)


@needed
def test_a_firmware_ends_with_its_owner_and_leaves_nothing(tmp_path, own_firmware):
    live = LiveFirmware(own_firmware, ["B0"], name=tmp_path / "port")
    process = live._process.pid
    assert (tmp_path / "port").is_symlink()
    live.close()
    live.close()
    assert not (tmp_path / "port").is_symlink()
    with pytest.raises(ProcessLookupError):
        os.kill(process, 0)


@needed
def test_a_file_that_says_no_controller_is_run_as_told(tmp_path, own_firmware):
    assert told_by(own_firmware) == ("atmega328p", 16_000_000)
    bare = tmp_path / "bare.elf"
    subprocess.run(["avr-objcopy", "-R", ".mmcu", own_firmware, bare], check=True)
    assert told_by(bare) is None
    with (
        LiveFirmware(bare, ["B0"]) as live,
        pytest.raises(FirmwareError, match="does not contain controller"),
    ):
        until_ended(live)
    with LiveFirmware(bare, ["B0"], part="atmega328p", hz=8_000_000) as live:
        assert until_ended(live) == 2 * 2 * 8 * 36  # edges: two frames of 36 bytes
        assert live.hz == 8_000_000


def until_ended(live):
    clock, edges = RealClock(), 0
    end_ns = clock.now_ns() + 60_000_000_000
    while not live.ended:
        edges += live.read().size
        assert clock.now_ns() < end_ns
    return edges


@needed
@pytest.mark.slow
def test_bytes_that_a_firmware_does_not_take_are_lost_as_on_a_real_chip(tmp_path):
    """An ATmega holds two bytes in its buffer and one in its shift register (datasheet)."""
    display = wall((12,))
    plan, elf, _ = build(tmp_path / "project", display)
    uart = elf.parent / "uart.c"
    uart.write_text(uart.read_text().replace("1 << RXCIE0 | ", ""))  # it never looks
    subprocess.run(["make"], cwd=elf.parent, check=True, capture_output=True)
    with Chain(plan, elf) as chain:
        chain.until(lambda: chain.cycle > 0.01 * chain.hz)
        port = os.open(chain.path, os.O_WRONLY | os.O_NOCTTY)
        os.write(port, b"\x55" * 20)
        chain.until(lambda: chain.came + chain.lost >= 20)
        os.close(port)
        assert (chain.came, chain.lost) == (3, 17)
