"""`foreglow listen --serial` and `--capture`, and the replay of captures."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from emulator import (
    CaptureError,
    RealClock,
    SimulatedClock,
    UnknownNameError,
    load_display,
    open_output,
)
from emulator.ports.address import AddressError
from emulator.ports.link import wire_link
from emulator.ports.replay import replay
from emulator.ports.serial.protocol import FROM_BOARD, Ack, Decoder, encode_frame
from emulator.signal.capture import decode_capture
from emulator.signal.vcd import read_vcd
from emulator.window.screen import Screen
from harness.cli import app

CAPTURES = Path(__file__).parent.parent / "captures"


@pytest.fixture(autouse=True)
def in_a_folder_of_its_own(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGHUP)}
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


def run(*arguments):
    return CliRunner().invoke(app, ["listen", *arguments])


@pytest.mark.slow
def test_a_program_in_another_process_drives_the_wall_and_the_port_goes_with_it(tmp_path):
    name = tmp_path / "wall"
    code = "from harness.cli import main; main()"
    arguments = ["listen", "sign", "--serial", "--to", "memory:", "--name", str(name)]
    command = [sys.executable, "-c", code, *arguments]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    clock, end = RealClock(), -1
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)
    try:
        while not name.exists() and process.poll() is None and clock.now_ns() < 20e9:
            clock.wait_until(clock.now_ns() + 10_000_000)
        end = os.open(name, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        os.write(end, encode_frame(0, [bytes(40)]))
        answers, decoder = [], Decoder(FROM_BOARD)
        while not answers and clock.now_ns() < 30e9:
            clock.wait_until(clock.now_ns() + 1_000_000)
            try:
                answers = decoder.feed(os.read(end, 4096))
            except BlockingIOError:
                continue
        process.terminate()
        told, _ = process.communicate(timeout=20)
    finally:
        if end >= 0:
            os.close(end)
        if process.poll() is None:
            process.kill()
            process.communicate()
    assert answers == [Ack(0, 0, 2)]
    assert process.returncode == 0
    assert f"The board of sign: {name}" in told
    assert "1 frame latched, 0 dropped, 0 messages could not be read." in told
    assert (tmp_path / "foreglow-out" / "sign-listen.png").read_bytes()[:4] == b"\x89PNG"
    assert not name.is_symlink()


def test_nobody_comes(tmp_path):
    done = run("sign", "--serial", "--to", "memory:", "--for", "10ms")
    assert done.exit_code == 0
    assert "0 frames latched" in done.output
    assert "No frame came." in done.output


def test_e131_is_heard_for_a_while():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    address = f"e131://127.0.0.1:{port}"
    done = run("sign", "--e131", "--address", address, "--to", "memory:", "--for", "30ms")
    assert done.exit_code == 0
    # 128 LEDs of four bytes fill the 512 slots of a universe (ANSI E1.11)
    where = f"E1.31 on 127.0.0.1:{port}, universe 1, RGBI, synchronized where the source says so"
    assert f"Hearing {where}, for sign." in done.output
    assert "No frame came." in done.output


def test_nothing_is_said_to_be_heard_where_the_port_is_taken():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as taken:
        taken.bind(("127.0.0.1", 0))
        address = f"e131://127.0.0.1:{taken.getsockname()[1]}"
        done = run("sign", "--e131", "--address", address, "--to", "memory:", "--for", "30ms")
    assert isinstance(done.exception, AddressError)
    assert "Hearing" not in done.output


def test_a_link_says_its_frames_per_second_and_latency():
    done = run("foyer", "--serial", "--to", "memory:", "--for", "1ms")
    # 2262 bytes a frame (tests/ports/test_serial_output.py) of 10 bits at 2 Mbaud: 11.31 ms
    assert "11.31 ms, at 2000000 baud: at most 88.4 frames/s" in " ".join(done.output.split())
    # and then the LED wire, as `wire_link` has it (tests/ports/test_output.py)
    latency = float(re.search(r"([0-9.]+) ms from the first byte", done.output)[1])
    wire_ms = 1e3 * wire_link(load_display("foyer")).latency_s
    assert latency == pytest.approx(11.31 + wire_ms, abs=0.011)


@pytest.mark.parametrize(
    "arguments",
    [
        ["--serial", "--address", "e131:"],
        ["--serial", "--rate", "1MHz"],
        ["--serial", "--on-loss", "dark"],
        ["--e131", "--baud", "115200"],
        ["--e131", "--bit", "0"],
        ["--capture", "x.vcd", "--name", "wall"],
    ],
)
def test_an_option_of_another_way_in_is_refused(arguments):
    done = run("foyer", *arguments, "--to", "memory:", "--for", "1ms")
    assert done.exit_code == 2
    option = [word for word in arguments if word.startswith("--")][1]
    assert f"{option} goes with" in " ".join(done.output.split())


def test_help_tells_the_options_of_e131_addresses():
    told = " ".join(run("--help").output.replace("│", " ").split())
    assert "170 RGB or 128 RGBW LEDs a universe" in told
    assert all(option in told for option in ("universe=1", "packing=", "order=", "sync="))


def test_a_window_says_what_it_shows(monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    said = set()
    draw = Screen.draw

    def drawn(self, drives, light, status):
        said.add(status.playing)
        return draw(self, drives, light, status)

    monkeypatch.setattr(Screen, "draw", drawn)
    assert run("sign", "--serial", "--to", "window:", "--for", "100ms").exit_code == 0
    assert "pictures from the serial port" in said


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_what_became_of_the_datagrams_is_told_however_it_ends(number, monkeypatch):
    def interrupted(*args, tally, **options):
        tally.used = 3
        signal.raise_signal(number)

    monkeypatch.setattr("emulator.ports.e131.listen_e131", interrupted)
    done = run("sign", "--e131", "--to", "memory:")
    assert done.exit_code == 0
    assert "3 datagrams, 3 used, 0 frames" in done.output


def test_a_signal_that_is_ignored_stays_ignored():
    """As `nohup` starts a program."""
    signal.signal(signal.SIGHUP, signal.SIG_IGN)
    run("sign", "--serial", "--to", "memory:", "--for", "1ms")
    assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    assert signal.getsignal(signal.SIGTERM) is signal.default_int_handler


def test_a_baud_rate_too_low_for_the_wanted_rate_is_told():
    done = run("foyer", "--serial", "--to", "memory:", "--for", "1ms", "--baud", "115200")
    # 2262 bytes a frame (tests/ports/test_serial_output.py), 10 bits each: 5.09 frames/s
    assert "30 frames/s are not possible" in done.output
    assert "at most 5 frames/s" in done.output


def test_a_capture_is_played_and_a_sheet_written(tmp_path):
    done = run("foyer", "--capture", str(CAPTURES / "rgb_24leds_4mhz.vcd"), "--to", "memory:")
    assert done.exit_code == 0
    assert (tmp_path / "foreglow-out" / "foyer-listen.png").exists()


@pytest.mark.parametrize("on_loss", ["hold", "dark", "aurora"])
def test_what_shows_when_e131_falls_silent_is_chosen_by_name(on_loss):
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    place = ["--address", f"e131://127.0.0.1:{port}", "--to", "memory:", "--for", "30ms"]
    assert run("sign", "--e131", *place, "--on-loss", on_loss).exit_code == 0
    refused = run("sign", "--e131", *place, "--on-loss", on_loss + "x")
    assert isinstance(refused.exception, UnknownNameError)


@pytest.mark.parametrize(
    "arguments",
    [[], ["--serial", "--e131"], ["--serial", "--capture", "x"], ["--serial", "--baud=1"]],
)
def test_one_way_in_must_be_chosen(arguments):
    assert run("foyer", *arguments).exit_code == 2


def capture_of(display, frames, tmp_path):
    with open_output(f"vcd:{tmp_path}/t.vcd", display) as output:
        sent = [output.send_frame(frame) for frame in frames]
    return decode_capture(read_vcd(tmp_path / "t.vcd").waveforms, display.chip), sent


def test_a_replay_keeps_the_time_of_the_capture(tmp_path):
    display = load_display("foyer")
    frames = [bytes([n]) * 2148 for n in (1, 200, 3)]
    capture, sent = capture_of(display, frames, tmp_path)
    clock, times = SimulatedClock(), []
    with open_output("memory:", display) as output:
        real = output.send_frame

        def noting(lines):
            times.append(clock.now_ns())
            return real(lines)

        output.send_frame = noting
        assert replay([capture], output, clock, lambda: True) == 3
        assert output.bench.frames[:, 0, 0].tolist() == [1, 200, 3]
    assert times == [each.starts_ns - sent[0].starts_ns for each in sent]


def test_a_replay_ends_when_told_to(tmp_path):
    display = load_display("foyer")
    capture, _ = capture_of(display, [bytes(100)] * 3, tmp_path)
    asked = iter([True, True, False, False])
    with open_output("memory:", display) as output:
        assert replay([capture], output, SimulatedClock(), lambda: next(asked)) == 1


def test_a_capture_that_does_not_fit_is_refused(tmp_path):
    capture, _ = capture_of(load_display("foyer"), [bytes(2148)], tmp_path)
    with (
        open_output("memory:", load_display("banner")) as output,
        pytest.raises(CaptureError, match="2 lines, 'banner' has 1"),
    ):
        replay([capture], output, SimulatedClock(), lambda: True)
    assert not np.any(output.bench.drives)
