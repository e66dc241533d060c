"""The board on a pseudo-terminal: pace, back-pressure, real programs, and nothing left open."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import termios
import threading
from contextlib import contextmanager, suppress
from pathlib import Path

import numpy as np
import pytest
import serial
from serial.rfc2217 import PortManager

import emulator
from emulator import RealClock, SimulatedClock, WriteError, open_output, parse_display
from emulator.ports.memory import MemoryOutput
from emulator.ports.reopening import Reopening
from emulator.ports.serial import output as serial_output
from emulator.ports.serial.board import Board
from emulator.ports.serial.output import SerialOutput
from emulator.ports.serial.port import LinkError, SerialPort
from emulator.ports.serial.protocol import (
    FROM_BOARD,
    Ack,
    Ask,
    Decoder,
    Description,
    Hello,
    encode,
    encode_frame,
)
from emulator.ports.serial.terminal import SerialPty
from tests.ports.cable import PatientClock

SMALL = '[grid]\ncolumns = 4\nrows = 3\n[chip]\npart = "WS2812B"\n[wiring]\nlines = 2\n'
FRAME = [bytes(range(24)), bytes(range(12))]


@pytest.fixture
def display():
    return parse_display(SMALL, Path("small.toml"))


def open_files():
    return set(os.listdir("/proc/self/fd"))


@contextmanager
def program_end(path):
    end = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    try:
        yield end
    finally:
        os.close(end)


def pty_of(display, baud, name=None, clock=None):
    return SerialPty(Board(MemoryOutput(display), baud), clock or SimulatedClock(), name)


def step_until(pty, time_ns):
    pty.run(lambda: pty.clock.now_ns() < time_ns)


def test_bytes_come_no_faster_than_the_baud_rate(display):
    data = encode_frame(0, FRAME)
    with pty_of(display, 9600) as pty, program_end(pty.path) as end:
        os.write(end, data)
        needed_ns = len(data) * 10 * 1_000_000_000 // 9600  # 10 bits a byte: common practice
        step_until(pty, needed_ns - 3_000_000)
        assert pty.board.status.latched == 0
        step_until(pty, needed_ns + 5_000_000)
        assert pty.board.status.latched == 1
        step_until(pty, needed_ns + 200_000_000)
        assert Decoder(FROM_BOARD).feed(os.read(end, 4096)) == [Ack(0, 0, 2)]


def write_most(end):
    """Write until the program is held back; returns how many bytes were taken."""
    written = 0
    try:
        while written < 1_000_000:
            written += os.write(end, bytes(1000))
    except BlockingIOError:
        pass
    return written


@pytest.mark.slow
def test_a_program_that_writes_too_fast_is_held_back(display):
    with pty_of(display, 9600) as pty, program_end(pty.path) as end:
        assert write_most(end) < 100_000, "what the kernel holds"
        for seconds in range(1, 241):
            step_until(pty, seconds * 1_000_000_000)
            if seconds == 120:  # the kernel gives room in larger pieces
                write_most(end)
                written = 0
            elif seconds > 120:
                written += write_most(end)
    assert written == pytest.approx(120 * 960, rel=0.1)


def test_the_time_a_board_was_busy_is_made_up_for_but_not_more(display):
    with pty_of(display, 100_000) as pty, program_end(pty.path) as end:  # 10 bytes a millisecond
        step_until(pty, 10_000_000)
        os.write(end, bytes(3000))
        pty.clock.wait_until(10_000_000_000)
        got = []
        pty.board.feed = lambda data, now_ns: got.append(len(data))
        pty.step()
        assert sum(got) == pytest.approx(500, abs=1)  # 50 ms


def test_the_terminal_passes_every_byte_unchanged(display):
    with pty_of(display, 1_000_000) as pty, program_end(pty.path) as end:
        got = []
        pty.board.feed = lambda data, now_ns: got.append(data)
        sent = bytes(range(256)) * 4
        os.write(end, sent)
        step_until(pty, 100_000_000)
        assert b"".join(got) == sent
        os.write(pty._end, sent)
        assert os.read(end, 4096) == sent
        assert not termios.tcgetattr(end)[3] & termios.ECHO


def test_programs_come_and_go(display):
    with pty_of(display, 1_000_000) as pty:
        for number in range(3):
            with program_end(pty.path) as end:
                os.write(end, encode_frame(number, FRAME))
            step_until(pty, (number + 1) * 100_000_000)
            assert pty.board.status.latched == number + 1


def test_answers_nobody_reads_do_not_hold_the_board_up(display):
    with pty_of(display, 1_000_000) as pty, program_end(pty.path) as end:
        for _ in range(50):  # 200 answers of 17 bytes; the kernel holds some 64 KiB
            pty.board.feed(encode(Ask()) * 200, pty.clock.now_ns())
            step_until(pty, pty.clock.now_ns() + 50_000_000)
        assert pty.board.answers_lost > 0
        os.write(end, encode_frame(0, FRAME))
        step_until(pty, pty.clock.now_ns() + 50_000_000)
        assert pty.board.status.latched == 1


def test_everything_is_closed_and_the_link_taken_away(display, tmp_path):
    before, name = open_files(), tmp_path / "wall"
    with pty_of(display, 9600, name) as pty:
        assert pty.path == str(name)
        assert name.resolve().is_char_device()
        with program_end(name):
            pass
    pty.close()
    assert open_files() == before
    assert not name.is_symlink()
    with pytest.raises(RuntimeError, match="out"), pty_of(display, 9600, name):
        raise RuntimeError("out")
    assert open_files() == before
    assert not name.is_symlink()


def test_a_link_that_cannot_be_made(display, tmp_path):
    before, taken = open_files(), tmp_path / "taken"
    taken.write_text("mine")
    for name in (taken, tmp_path / "no" / "folder"):
        with pytest.raises(WriteError, match="Fix:"):
            pty_of(display, 9600, name)
    assert taken.read_text() == "mine"
    left_over = tmp_path / "left"
    left_over.symlink_to(tmp_path / "gone")
    with pty_of(display, 9600, left_over):
        assert left_over.exists()
    assert open_files() == before


KILLED = """
import sys
from pathlib import Path
from emulator import SimulatedClock, parse_display
from emulator.ports.memory import MemoryOutput
from emulator.ports.serial.board import Board
from emulator.ports.serial.terminal import SerialPty
board = Board(MemoryOutput(parse_display(sys.argv[2], Path("small.toml"))), 9600)
with SerialPty(board, SimulatedClock(), Path(sys.argv[1])):
    print("up", flush=True)
    sys.stdin.read()
"""


def test_a_board_that_was_killed_is_started_again_though_its_terminal_is_another_s_now(
    display, tmp_path
):
    name = tmp_path / "wall"
    command = [sys.executable, "-c", KILLED, str(name), SMALL]
    root = Path(emulator.__file__).parent.parent
    board = subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env={"PYTHONPATH": str(root)}
    )
    with board:
        assert board.stdout.readline() == b"up\n"
        with pytest.raises(WriteError, match="another board has it"):
            pty_of(display, 9600, name)
        board.kill()
    number = os.readlink(name)
    others = []  # somebody opens terminals until one has the number of the killed board's
    try:
        while not os.path.exists(number):
            others += os.openpty()
        with pty_of(display, 9600, name) as pty:
            assert os.path.samefile(pty.path, os.ttyname(pty._program_end))
            assert os.readlink(name) != number
    finally:
        for end in others:
            os.close(end)
    assert not name.is_symlink()


def test_a_link_to_a_terminal_that_is_nobody_s_board_is_left_alone(display, tmp_path):
    ends, name = os.openpty(), tmp_path / "wall"
    try:
        name.symlink_to(os.ttyname(ends[1]))
        with pytest.raises(WriteError, match="Fix:"):
            pty_of(display, 9600, name)
        assert name.is_symlink()
    finally:
        for end in ends:
            os.close(end)


# With real ports and real time: bounded, and nothing is asserted about how long it takes. -----


@pytest.fixture(autouse=True)
def patient_senders(monkeypatch):
    monkeypatch.setattr(serial_output, "RealClock", PatientClock)


@contextmanager
def running(pty):
    """The board runs in a thread, for at most 20 s."""
    stop = threading.Event()
    end_ns = pty.clock.now_ns() + 20_000_000_000
    thread = threading.Thread(
        target=pty.run, args=(lambda: not stop.is_set() and pty.clock.now_ns() < end_ns,)
    )
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join()


def wait_for(met, most_s=10):
    clock = RealClock()
    while not met() and clock.now_ns() < most_s * 1_000_000_000:
        clock.wait_until(clock.now_ns() + 1_000_000)
    assert met()


def test_the_serial_output_drives_the_board_through_the_terminal(display):
    before = open_files()
    rng = np.random.default_rng(1)
    with pty_of(display, 2_000_000, clock=RealClock()) as pty, running(pty):
        with open_output(f"serial://{pty.path}?baud=2000000", display) as output:
            for _ in range(20):
                output.send(rng.integers(0, 256, display.picture_shape).astype(np.uint8))
        assert (output.counts.written, output.counts.latched) == (20, 20)
        assert pty.board.status.latched == 20
        assert np.array_equal(pty.board.output.bench.frames, output.bench.frames[:20])
    assert open_files() == before


def test_a_port_unplugged_and_plugged_in_again(display, tmp_path):
    name, before = tmp_path / "wall", open_files()
    picture = np.full(display.picture_shape, 200, np.uint8)
    with pty_of(display, 2_000_000, name, RealClock()) as pty, running(pty):
        output = open_output(f"serial://{name}", display)
        output.send(picture)
        wait_for(lambda: pty.board.status.latched == 1)
    for _ in range(30):
        output.send(picture)
    assert output.connection.outages == 1
    assert output.counts.not_written > 20
    with pty_of(display, 2_000_000, name, RealClock()) as pty, running(pty):

        def back():
            output.send(picture)
            return pty.board.status.latched > 0

        wait_for(back)
        output.close()
        assert output.connection.lost_ns > 0
    assert open_files() == before


PROGRAM = """
import sys
data = bytes.fromhex(sys.argv[2])
with open(sys.argv[1], "r+b", buffering=0) as port:
    port.write(data)
    print(port.read(1).hex())
"""


def test_a_program_that_knows_only_bytes(display):
    data = encode(Hello()) + encode_frame(0, FRAME)
    with pty_of(display, 2_000_000, clock=RealClock()) as pty, running(pty):
        program = subprocess.run(
            [sys.executable, "-c", PROGRAM, pty.path, data.hex()],
            capture_output=True,
            timeout=20,
            check=True,
        )
        wait_for(lambda: pty.board.status.latched == 1)
    first = encode(Description(1, 2, 246, (8, 4), "WS2812B"))[:1]
    assert program.stdout.strip().decode() == first.hex()


def test_a_port_that_another_show_uses_is_refused(display):
    with pty_of(display, 115200) as port:
        first = SerialPort(str(port.path), 115200, 1.0)
        try:
            with pytest.raises(LinkError, match="that no other program does"):
                SerialPort(str(port.path), 115200, 1.0)
        finally:
            first.close()
        SerialPort(str(port.path), 115200, 1.0).close()


def test_a_port_that_is_not_there(display, tmp_path):
    with pytest.raises(LinkError, match=r"cannot be opened.*\n.*Fix:.*plugged in"):
        open_output(f"serial://{tmp_path}/nothing", display)
    for url in ("socket://127.0.0.1:1", "rfc2217://127.0.0.1:1", "socket://127.0.0.1"):
        with pytest.raises(LinkError, match=r"cannot be opened.*\n.*Fix: write HOST:PORT"):
            open_output(url, display)
    with pytest.raises(LinkError, match="cannot be opened"):
        SerialPort("nowhere://x", 9600, 1)


class PlainLink:
    """Bytes as they are: what pyserial's socket:// expects."""

    baud = None

    def __init__(self, peer):
        self._peer = peer

    def coming(self, data):
        return data

    def send(self, data):
        self._peer.sendall(data)


class Rfc2217Link:
    """pyserial's own server of RFC 2217 before one connection."""

    def __init__(self, peer):
        self._peer = peer
        self._device = serial.serial_for_url("loop://")  # takes the settings, and has modem lines
        self._manager = PortManager(self._device, self)

    def write(self, data):
        self._peer.sendall(data)

    def coming(self, data):
        return b"".join(self._manager.filter(data))

    def send(self, data):
        self._peer.sendall(b"".join(self._manager.escape(data)))

    @property
    def baud(self):
        return self._device.baudrate


class TcpBoard:
    """A board behind a TCP port of this machine; one connection at a time."""

    def __init__(self, display, link_class):
        self.board = Board(MemoryOutput(display), 2_000_000)
        self.link = None
        self.connections = 0
        self.hang_up = threading.Event()
        self._link_class, self._stop = link_class, threading.Event()
        self._server = socket.create_server(("127.0.0.1", 0))
        self._server.settimeout(0.02)
        self.place = f"127.0.0.1:{self._server.getsockname()[1]}"
        self._thread = threading.Thread(target=self._serve)

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *_):
        self._stop.set()
        self._thread.join()
        self._server.close()

    def _serve(self):
        clock = RealClock()
        while not self._stop.is_set():
            try:
                peer, _ = self._server.accept()
            except TimeoutError:
                continue
            with peer, suppress(ConnectionError):
                peer.settimeout(0.002)
                self.link = self._link_class(peer)
                self.connections += 1
                while not self._stop.is_set() and not self.hang_up.is_set():
                    try:
                        data = self.link.coming(peer.recv(4096))
                    except TimeoutError:
                        data = b""
                    self.board.feed(data, clock.now_ns())
                    if answers := self.board.answers(clock.now_ns()):
                        self.link.send(answers)
            self.hang_up.clear()


# 0xff is the byte that RFC 2217, 'Telnet Com Port Control Option', doubles in transit.
BRIGHT = [b"\xff" * 24, bytes(range(244, 256))]


# pyserial 3.5 starts its thread in ways that Python calls out of date.
of_pyserial = pytest.mark.filterwarnings(
    "ignore:setDaemon:DeprecationWarning", "ignore:setName:DeprecationWarning"
)


@of_pyserial
@pytest.mark.parametrize(
    ("kind", "link_class", "baud"), [("socket", PlainLink, None), ("rfc2217", Rfc2217Link, 921_600)]
)
def test_the_board_behind_a_tcp_port(display, kind, link_class, baud):
    """As serial port servers offer it; the one of RFC 2217 gets the baud rate."""
    with TcpBoard(display, link_class) as there:
        with open_output(f"{kind}://{there.place}?baud=921600", display) as output:
            assert isinstance(output, SerialOutput)
            for _ in range(3):
                output.send_frame(BRIGHT)
            assert there.link.baud == baud
        wait_for(lambda: there.board.status.latched == 3)
        assert output.counts.latched == 3
        assert (output.connection.bad, there.board.status.bad) == (0, 0)
        latched = there.board.output.bench.drives
        assert np.array_equal(latched, output.bench.drives)
        assert latched[0].tolist() == [255, 255, 255]


@pytest.mark.slow
@of_pyserial
@pytest.mark.parametrize(("kind", "link_class"), [("socket", PlainLink), ("rfc2217", Rfc2217Link)])
def test_a_tcp_connection_that_is_cut_comes_back(display, kind, link_class):
    with (
        TcpBoard(display, link_class) as there,
        open_output(f"{kind}://{there.place}", display) as output,
    ):
        output.send_frame(BRIGHT)
        there.hang_up.set()

        def back():
            output.send_frame(FRAME)
            return there.connections == 2 and output.connection.up

        wait_for(back)
        output.send_frame(BRIGHT)
        wait_for(lambda: there.board.status.latched >= 2)
        assert output.connection.outages == 1
        assert output.counts.not_written > 0


def test_pyserials_loop_with_no_answers(display):
    with open_output("loop://?answers=no", display) as output:
        output.send_frame(FRAME)
        output.send_frame(FRAME)
    assert (output.counts.written, output.counts.not_written) == (2, 0)


class SlowHost:
    """Answers at once the first time, later when `switched_on` is set."""

    def __init__(self):
        self.switched_on = threading.Event()
        self.on_line = 0
        self.closed = threading.Event()

    def open_port(self):
        self.on_line += 1
        if self.on_line > 1 and not self.switched_on.wait(20):
            raise LinkError("it stays off")
        return self

    def close(self):
        self.closed.set()


def test_a_host_that_does_not_answer_holds_nobody_up():
    host = SlowHost()
    opening = Reopening(host.open_port)
    assert opening() is host
    for _ in range(3):
        with pytest.raises(LinkError, match="no answer yet"):
            opening()
    assert host.on_line == 2, "one attempt at a time"
    host.switched_on.set()
    while True:
        with suppress(LinkError):
            assert opening() is host
            break
    assert not host.closed.is_set()
    opening.close()
    assert not host.closed.is_set(), "it belongs to whoever it was given to"


def test_a_port_that_opens_when_nobody_wants_it_any_more_is_closed():
    host = SlowHost()
    opening = Reopening(host.open_port)
    opening()
    with pytest.raises(LinkError):
        opening()
    opening.close()
    host.switched_on.set()
    assert host.closed.wait(20)


def test_what_went_wrong_is_told_and_tried_again():
    calls = []

    def open_port():
        calls.append(1)
        raise LinkError(f"wrong {len(calls)}")

    opening = Reopening(open_port)
    told = set()
    while len(told) < 3:
        with pytest.raises(LinkError) as raised:
            opening()
        told.add(str(raised.value))
        told.discard("no answer yet\n  Fix: wait; the host may be off.")
    assert told == {"wrong 1", "wrong 2", "wrong 3"}
