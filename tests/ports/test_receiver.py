"""The reference receiver in C: the same results as our board, on any link; and its size."""

from __future__ import annotations

import os
import random
import re
import shutil
import subprocess
import tty
from pathlib import Path

import numpy as np
import pytest
from cobs import cobs

import emulator
from emulator import canvas, parse_display
from emulator.canvas import line_bytes
from emulator.ports.memory import MemoryOutput
from emulator.ports.serial.board import CREDIT, Board
from emulator.ports.serial.output import SerialOutput
from emulator.ports.serial.port import SerialPort
from emulator.ports.serial.protocol import Ask, Data, Hello, Latch, crc16, encode, encode_frame
from tests.ports.cable import PatientClock
from tests.tables import telling

SOURCE = Path(emulator.__file__).parent / "ports" / "serial" / "receiver"
RECEIVER = SOURCE / "foreglow_receiver.c"
HEADER = SOURCE / "foreglow_receiver.h"
HERE = Path(__file__).parent / "receiver"
STRICT = ["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic"]
CONVERSIONS = ["-Wconversion", "-Wsign-conversion"]  # int has 16 bits on an AVR
# Every question is answered; while it is, as by an interrupt, the next one comes.
ENDLESS = """
#include "foreglow_receiver.h"
static const uint8_t ask[] = {ASK};
static int calls;
static void come(void)
{
    unsigned i;
    for (i = 0; i < sizeof ask; i++)
        foreglow_take(ask[i]);
}
void foreglow_write_line(uint8_t line, const uint8_t *bytes, uint16_t count)
{
    (void)line; (void)bytes; (void)count;
}
void foreglow_send(const uint8_t *bytes, uint8_t count)
{
    (void)bytes; (void)count;
    if (++calls < 100)
        come();
}
uint32_t foreglow_ms(void)
{
    return 0;
}
int main(void)
{
    come();
    foreglow_poll();
    return calls != 1;
}
"""
SMALL = '[grid]\ncolumns = 4\nrows = 3\n[chip]\npart = "WS2812B"\n[wiring]\nlines = 2\n'

gcc = pytest.mark.skipif(shutil.which("gcc") is None, reason="no gcc (apt-get install gcc)")
avr = pytest.mark.skipif(
    shutil.which("avr-gcc") is None, reason="no avr-gcc (apt-get install gcc-avr avr-libc)"
)


@pytest.fixture(scope="module")
def display():
    return parse_display(SMALL, Path("small.toml"))


@pytest.fixture(scope="module")
def receiver(tmp_path_factory, display):
    """The program, built for `display` with the sanitizers; any finding ends it."""
    program = tmp_path_factory.mktemp("receiver") / "host"
    setup = {
        "FOREGLOW_LINES": "2",
        "FOREGLOW_LEDS": "{8, 4}",
        "FOREGLOW_LINE_BYTES": "{24, 12}",
        "FOREGLOW_FRAME_BYTES": "36",
        "FOREGLOW_CREDIT": str(CREDIT),
    }
    build = ["gcc", *STRICT, "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all"]
    build += [f"-D{name}={value}" for name, value in setup.items()]
    build += ["-I", SOURCE, RECEIVER, HERE / "host.c", "-o", program]
    subprocess.run(build, check=True)
    return program


def run(receiver, data, *arguments):
    """(lines written, counts, answers) of the program for a stream of bytes."""
    done = subprocess.run([receiver, *arguments], input=data, capture_output=True, timeout=60)
    assert done.returncode == 0, done.stderr.decode()
    return *read_log(done.stderr.decode()), done.stdout


def read_log(log):
    *written, last = log.splitlines()
    words = last.split()
    assert words[0] == "counts", log[-2000:]
    lines = [(int(line), bytes.fromhex(data)) for line, data in map(str.split, written)]
    return lines, tuple(map(int, words[1:]))


class Tape(MemoryOutput):
    """Keeps the bytes of each line as the board gives them."""

    def __init__(self, display):
        super().__init__(display)
        self.lines = []

    def send_frame(self, data):
        self.lines += [(n, line.tobytes()) for n, line in enumerate(data) if line.size]
        return super().send_frame(data)


def run_ours(display, data, byte_ms=0):
    """As `run`; with `byte_ms` each byte takes so long."""
    board = Board(Tape(display), 1_000_000)
    answers = b""
    for at in range(len(data) if byte_ms else 0):
        board.feed(data[at : at + 1], at * byte_ms * 1_000_000)
    answers = board.answers(1 << 60)
    for at in range(0, 0 if byte_ms else len(data), 50):
        board.feed(data[at : at + 50], at)
        answers += board.answers(1 << 60)
    status = board.status
    return board.output.lines, (status.latched, status.dropped, status.bad, 0), answers


def show(rng, frames, spoil):
    """The stream of a show: frames of any length, hellos, questions, and damage."""
    stream, number = [], rng.randrange(65536)
    for _ in range(frames):
        lines = [rng.randbytes(rng.choice((room, room, rng.randrange(room + 2))))
                 for room in (24, 12)]  # fmt: skip
        data = encode_frame(number, lines, rng.choice((3, 10, 246)))
        number = (number + rng.choice((1, 1, 1, 1, 2, 40000)) * rng.choice((1, 1, 0))) & 0xFFFF
        if rng.random() < 0.1:
            data = rng.choice((encode(Hello()), encode(Ask()), encode(Latch(number, 0, 0)))) + data
        stream.append(spoil(data))
    return b"".join(stream)


def bit_errors(rng):
    def spoil(data):
        out = bytearray(data)
        for _ in range(rng.choice((0, 0, 1, 3))):
            out[rng.randrange(len(out))] ^= 1 << rng.randrange(8)
        return bytes(out)

    return spoil


def lost_bytes(rng):
    return lambda data: bytes(byte for byte in data if rng.random() > 0.01)


def cut_frames(rng):
    return lambda data: data[: rng.randrange(len(data) + 1)] if rng.random() < 0.3 else data


def garbage(rng):
    return lambda data: data + rng.randbytes(rng.choice((0, 10, 700)))


@gcc
@pytest.mark.parametrize("kind", [None, bit_errors, lost_bytes, cut_frames, garbage])
@pytest.mark.parametrize("seed", range(3))
def test_both_receivers_do_the_same_byte_for_byte(receiver, display, kind, seed):
    rng = random.Random(seed)
    data = show(rng, 150, kind(rng) if kind else lambda data: data)
    lines, counts, answers = run(receiver, data)
    assert (lines, counts, answers) == run_ours(display, data)
    assert counts[0] > 20
    assert counts[1] > 0
    assert (counts[2] > 0) == (kind is not None)


def crafted(rng, count):
    """Valid messages in an order that no sender uses, with latches that fit, or nearly."""
    number, sent = 0, []
    for _ in range(count):
        if rng.random() < 0.3:
            number = (number + rng.choice((1, 1, 1, 0, 2, 0xFFFF))) & 0xFFFF
            sent = []
        data = rng.randbytes(rng.choice((0, 1, 3, 12)))
        line = rng.choice((0, 0, 0, 1, 2))
        so_far = sum(len(piece) for where, piece in sent if where == line)
        offset = max(so_far + rng.choice((0, 0, 0, 0, 0, 1, -1)), 0)
        yield Data(number, line, offset, data)
        sent.append((line, data))
        if rng.random() < 0.4:
            whole = b"".join(piece for _, piece in sent)
            wrong = rng.choice((0, 0, 0, 0, 1))
            yield Latch(number, len(whole) + wrong, crc16(whole) ^ rng.choice((0, 0, 0, 0, 1)))


@gcc
def test_both_receivers_keep_the_same_rules(receiver, display):
    data = b"".join(map(encode, crafted(random.Random(3), 5_000)))
    ours = run_ours(display, data)
    assert run(receiver, data) == ours
    assert ours[1][0] > 100
    assert ours[1][1] > 100


SILENT = b"\0"  # no message, whatever its number


def silent_show(rng):
    """Frames, greetings of each kind and questions, with silence and garbage in between; a byte

    takes 10 ms."""
    for number in range(60):
        greeting = rng.choice((Ask(), Hello(), Hello(hold=0), Hello(hold=3), Hello(hold=25)))
        yield encode(greeting) if rng.random() < 0.5 else b""
        frame = encode_frame(number, [rng.randbytes(24), rng.randbytes(12)])
        cut = rng.randrange(len(frame)) if rng.random() < 0.3 else len(frame)
        yield frame[:cut] + rng.choice((b"", b"\x07garbage")) + SILENT * rng.randrange(1200)
        yield frame[cut:]


@gcc
@pytest.mark.parametrize("seed", range(3))
def test_both_receivers_go_dark_after_the_same_silence(receiver, display, seed):
    data = b"".join(silent_show(random.Random(seed)))
    ours = run_ours(display, data, 10)
    assert run(receiver, data, "10") == ours
    dark = [line for line in ours[0] if not any(line[1])]
    assert len(dark) > 20


@gcc
def test_silence_is_what_the_hello_says_or_ten_seconds(receiver):
    frame = encode_frame(0, [b"\xff" * 24, b"\xff" * 12])
    dark = [(0, bytes(24)), (1, bytes(12))]
    # It looks before it takes a byte, and once more after the last one.
    for hello, ms in ((b"", 10_000), (encode(Hello()), 10_000), (encode(Hello(hold=7)), 700)):
        for more, darkness in ((0, []), (1, dark)):
            data = hello + frame + SILENT * (ms - 2 + more)
            assert run(receiver, data, "1")[0][2:] == darkness
    assert run(receiver, encode(Hello(hold=0)) + frame + SILENT * 70_000, "1")[0][2:] == []
    asked = encode(Hello(hold=7)) + frame + (SILENT * 600 + encode(Ask())) * 9
    assert run(receiver, asked, "1")[0][2:] == []
    spoilt = asked.replace(encode(Ask()), b"\x55" * 6 + b"\0")
    assert run(receiver, spoilt, "1")[0][2:] == dark


@gcc
def test_a_hello_of_a_later_version_is_understood(receiver, display):
    body = Hello(hold=7).body() + b"more"
    data = coded_message(body) + encode_frame(0, [b"\xff" * 24, b""]) + SILENT * 700
    assert run(receiver, data, "1") == run_ours(display, data, 1)
    assert run(receiver, data, "1")[0][-1] == (1, bytes(12))


def coded_message(body):
    return cobs.encode(body + crc16(body).to_bytes(2, "little")) + b"\0"


@gcc
def test_the_dark_frame_of_a_chip_with_headers_is_what_the_header_says(tmp_path):
    """APA102: a start frame of 32 zeros, then 111 and five bits of intensity an LED (datasheet)."""
    wall = parse_display(SMALL.replace("WS2812B", "APA102").replace("lines = 2", ""), Path("w"))
    room = line_bytes(wall)[0]
    comment = re.search(r"#define (FOREGLOW_DARK\(line, at\)) (.*0xE0.*) \*/", HEADER.read_text())
    setup = {
        "FOREGLOW_CHIP": '"APA102"',
        "FOREGLOW_LEDS": "{12}",
        "FOREGLOW_LINE_BYTES": f"{{{room}}}",
        "FOREGLOW_FRAME_BYTES": str(room),
        comment[1]: comment[2],
    }
    program = tmp_path / "host"
    build = ["gcc", *STRICT, *(f"-D{name}={value}" for name, value in setup.items())]
    subprocess.run([*build, "-I", SOURCE, RECEIVER, HERE / "host.c", "-o", program], check=True)
    lit = canvas.to_wire(np.full((12, 4), 31, np.uint8), wall)[0].tobytes()
    lines = run(program, encode(Hello(hold=1)) + encode_frame(0, [lit]) + SILENT * 200, "1")[0]
    assert lines[0] == (0, lit)
    # What comes after the last LED falls off the end of the chain.
    after = 4 + 12 * 4
    dark = canvas.to_wire(np.zeros((12, 4), np.uint8), wall)[0].tobytes()
    assert [(line, data[:after]) for line, data in lines[1:]] == [(0, dark[:after])]
    strip = emulator.Bench(wall)
    strip.send_frame(lit)
    assert strip.drives[:, :3].all()
    strip.send_frame(lines[1][1])
    assert not strip.drives[:, :3].any()


@gcc
def test_the_longest_message_and_one_byte_more(receiver, display):
    longest = encode(Data(0, 0, 0, bytes(range(1, 247))))
    one_more = encode(Data(0, 0, 0, bytes([*range(1, 247), 1])))
    assert run(receiver, longest + encode(Ask())) == run_ours(display, longest + encode(Ask()))
    counts = run(receiver, one_more + b"\x55" * 300 + b"\0" + encode(Hello()))[1]
    assert counts == run_ours(display, one_more + b"\x55" * 300 + b"\0")[1] == (0, 0, 2, 0)


def coded(plain):
    """COBS of bytes without a 0, by its definition, without an empty block at the end."""
    blocks = [plain[at : at + 254] for at in range(0, len(plain), 254)]
    return b"".join(bytes([len(block) + 1]) + block for block in blocks)


def longest_message():
    """A data message of 254 bytes without a 0, its CRC too, not for line 0."""
    body = Data(0x0107, 1, 0x0101, b"\xff" * 246).body()
    plain = body + crc16(body).to_bytes(2, "little")
    assert len(plain) == 254
    assert 0 not in plain
    return plain


@gcc
@pytest.mark.parametrize("closing", [b"", b"\x01"])
def test_a_last_full_block_may_be_closed_by_an_empty_one(receiver, display, closing):
    """As by the listing of Cheshire & Baker (from memory): 256 bytes on the link, not 255."""
    data = coded(longest_message()) + closing + b"\0" + encode(Ask())
    lines, counts, answers = run(receiver, data)
    assert counts == (0, 0, 0, 0)
    assert (lines, counts, answers) == run_ours(display, data)


@gcc
@pytest.mark.parametrize("more", [b"\x01", b"\xff", b"\x55" * 40, b"\x55" * 300])
def test_a_sound_message_with_bytes_after_it_is_bad_not_cut(receiver, display, more):
    data = coded(longest_message() + more) + b"\0" + encode(Ask())
    assert run(receiver, data) == run_ours(display, data)
    assert run(receiver, data)[1] == (0, 0, 1, 0)
    # A 0 before the 254 bytes, or after them, makes a message too long as well.
    for long in (b"\x01" + coded(longest_message()), coded(longest_message()) + b"\x01\x01"):
        assert run(receiver, long + b"\0")[1] == run_ours(display, long + b"\0")[1] == (0, 0, 1, 0)


@gcc
def test_random_bytes_do_no_harm(receiver, display):
    data = random.Random(9).randbytes(500_000)
    assert run(receiver, data) == run_ours(display, data)


@gcc
def test_bytes_lost_to_a_full_ring_cost_frames_and_tear_none(receiver):
    rng = random.Random(4)
    frames = [[rng.randbytes(4), rng.randbytes(2)] for _ in range(100)]  # 40 bytes each
    data = b"".join(encode_frame(number, frame) for number, frame in enumerate(frames))
    lines, (latched, dropped, bad, overrun), _ = run(receiver, data, "bursts")
    assert overrun > 0
    assert bad > 0
    assert 0 < latched < 100
    assert latched + dropped <= 100
    shown = [[lines[i][1], lines[i + 1][1]] for i in range(0, len(lines), 2)]
    assert len(shown) == latched
    assert all(frame in frames for frame in shown)


class NoisyPort(SerialPort):
    """A real port that damages the frames written to it, but not hellos and reminders."""

    def __init__(self, path, spoil):
        super().__init__(path, 2_000_000, 5)
        self.spoil = spoil

    def write(self, data):
        super().write(self.spoil(data) if len(data) > 20 else data)


@pytest.mark.slow
@gcc
@pytest.mark.parametrize(
    "kind", telling([None, bit_errors, lost_bytes, cut_frames], lambda kind: kind is not cut_frames)
)
def test_our_sender_drives_it_through_a_terminal(receiver, display, kind, tmp_path):
    rng = random.Random(7)
    spoil = kind(rng) if kind else lambda data: data
    pictures = np.random.default_rng(7).integers(0, 256, (40, *display.picture_shape))
    end, program_end = os.openpty()
    sent = []
    try:
        tty.setraw(program_end)
        with (tmp_path / "log").open("wb") as log:
            process = subprocess.Popen([receiver], stdin=end, stdout=end, stderr=log)
        try:
            os.close(end)
            end = -1
            path = os.ttyname(program_end)
            clock = PatientClock()
            with SerialOutput(display, lambda: NoisyPort(path, spoil), clock=clock) as output:
                for picture in pictures.astype(np.uint8):
                    output.send(picture)
                    sent.append(output.bench.drives.copy())
            os.close(program_end)  # the terminal has no more writers: the program ends
            program_end = -1
            process.wait(20)
        finally:
            if process.poll() is None:
                process.kill()
                process.wait()
    finally:
        for each in (end, program_end):
            if each >= 0:
                os.close(each)
    lines, (latched, dropped, bad, overrun) = read_log((tmp_path / "log").read_text())
    wire = [b"".join(part.tobytes() for part in _wire(drives, display)) for drives in sent]
    shown = [lines[i][1] + lines[i + 1][1] for i in range(0, len(lines), 2)]
    assert len(shown) == latched
    position = -1
    for frame in shown:
        position = wire.index(frame, position + 1)
    counts = output.counts
    assert overrun == 0
    assert counts.written == 40
    assert counts.latched + counts.dropped + counts.unanswered == 40
    if kind is None:
        assert (latched, dropped, bad, counts.latched) == (40, 0, 0, 40)
    else:
        assert 0 < counts.latched <= latched < 40
        assert bad > 0
        assert dropped > 0


def _wire(drives, display):
    return canvas.to_wire(drives, display)


@gcc
def test_other_set_ups_compile_and_wrong_ones_do_not(tmp_path):
    def compiles(*setup):
        done = subprocess.run(
            ["gcc", *STRICT, *CONVERSIONS, *setup, "-o", tmp_path / "o", "-c", RECEIVER],
            capture_output=True,
        )
        return done.returncode == 0

    assert compiles()
    assert compiles("-DFOREGLOW_RING=256", "-DFOREGLOW_MOST_DATA=14", "-O2")
    assert not compiles("-DFOREGLOW_RING=100")
    assert not compiles("-DFOREGLOW_RING=1")  # one place is always free: it would hold no byte
    assert not compiles("-DFOREGLOW_MOST_DATA=247")
    assert not compiles("-DFOREGLOW_HOLD=65536L")
    assert not compiles("-DFOREGLOW_FRAME_BYTES=65536L")
    chip = {size: f'-DFOREGLOW_CHIP="{"x" * size}"' for size in (244, 245)}
    # 1 code byte, 7 + 244 of the description of one line, CRC 2, closing 0: 255
    assert compiles(chip[244])
    assert not compiles(chip[245])


@avr
def test_no_number_changes_unseen_where_int_has_16_bits(tmp_path):
    build = ["avr-gcc", *STRICT, *CONVERSIONS, "-Os", "-mmcu=atmega328p", "-c", RECEIVER]
    subprocess.run([*build, "-o", tmp_path / "o"], check=True)


@gcc
def test_bytes_that_come_while_others_are_handled_wait_for_the_next_call(tmp_path):
    """A byte a byte, as fast as they are handled: the main loop must still get its turn."""
    asked = ", ".join(map(str, encode(Ask())))
    (tmp_path / "main.c").write_text(ENDLESS.replace("{ASK}", f"{{{asked}}}"))
    build = ["gcc", *STRICT, "-I", SOURCE, RECEIVER, tmp_path / "main.c", "-o", tmp_path / "main"]
    subprocess.run(build, check=True)
    assert subprocess.run([tmp_path / "main"], timeout=20).returncode == 0


@avr
def test_it_fits_an_atmega328p(tmp_path, record_property):
    program = tmp_path / "receiver.elf"
    build = ["avr-gcc", *STRICT, "-Os", "-mmcu=atmega328p", "-I", SOURCE, RECEIVER, HERE / "avr.c"]
    subprocess.run([*build, "-o", program], check=True)
    done = subprocess.run(["avr-size", str(program)], capture_output=True, text=True, check=True)
    text, data, bss = map(int, done.stdout.splitlines()[1].split()[:3])
    flash, ram = text + data, data + bss
    record_property("flash_bytes", flash)
    record_property("ram_bytes", ram)
    print(f"ATmega328P, 60 RGB LEDs: {flash} bytes of flash, {ram} bytes of RAM")
    # ATmega328P datasheet: 32 KiB of flash, 2 KiB of RAM. What README.md beside it says is less.
    assert flash < 3_000
    assert ram < 700
