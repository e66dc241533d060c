"""The firmware that foreglow writes, built by avr-gcc and run under simavr.

Neither knows of LEDs or of foreglow. The tolerances are those of the chip catalogue, from the
datasheets; the serial port loses what a real one loses (ATmega328P datasheet, Data OverRun).
"""

from __future__ import annotations

import os
import re
import subprocess
import threading

import numpy as np
import pytest

from emulator import Bench, canvas
from emulator.description.chips import CHIPS, Clocked, OneWire
from emulator.ports.firmware.controller import CONTROLLERS
from emulator.ports.firmware.plan import keeps_up
from emulator.ports.serial.output import SerialOutput
from emulator.ports.serial.port import SerialPort
from emulator.ports.serial.protocol import Ask, encode, encode_frame
from emulator.signal.capture import decode_capture
from emulator.signal.capturefile import CaptureFile
from tests.outside.firmware_chain import Chain, build, needed, random_frames, wall

pytestmark = needed


def send(chain, display, drives, baud):
    """Send frames from a thread, as a program would, while the firmware runs. Returns counts."""
    counts, failed = [], []

    def program():
        try:
            with SerialOutput(
                display, lambda: SerialPort(chain.path, baud, 5), baud=baud
            ) as output:
                for each in drives:
                    output.send_frame(canvas.to_wire(each, display))
            counts.append(output.counts)
        except BaseException as error:
            failed.append(error)

    thread = threading.Thread(target=program, daemon=True)
    thread.start()
    chain.until(lambda: not thread.is_alive())
    assert not failed, failed
    return counts[0]


def expected(display, drives):
    """The bytes of each frame on each line: a list a line."""
    whole = [canvas.to_wire(each, display) for each in drives]
    return [[frame[line].tobytes() for frame in whole] for line in range(len(whole[0]))]


def passes(tmp_path, display, part, mhz, count=20, **options):
    plan, elf, said = build(tmp_path / "project", display, part, mhz, **options)
    assert "warning" not in said
    drives = random_frames(display, count)
    with Chain(plan, elf) as chain:
        counts = send(chain, display, drives, plan.baud)
        chain.until(lambda: all(len(line) >= count for line in chain.frames()))
        assert chain.lost == 0
        assert (counts.written, counts.latched) == (count, count)
        assert chain.frames() == expected(display, drives)
        assert chain.verdicts() == {"pass"}
    return plan, elf


def test_frames_come_through_serial_port_and_firmware_to_the_pin(tmp_path):
    passes(tmp_path, wall(), "ATmega328P", 16)


HIDDEN = "hidden_first = 1\nhidden_last = 2\n[controller]\nsends_lines = 'in turn'\n"


@pytest.mark.slow
def test_lines_in_turn_begin_on_the_pins_when_the_display_says(tmp_path):
    """Two lines of 6 cells, each with three hidden LEDs: 9 LEDs of 24 bits before line 1 begins."""
    display = wall((6, 6), extra=HIDDEN)
    assert display.wiring.line_lengths == (9, 9)
    plan, elf, _ = build(tmp_path / "project", display)
    drives = random_frames(display, 3)
    with Chain(plan, elf) as chain:
        send(chain, display, drives, plan.baud)
        chain.until(lambda: all(len(line) >= 3 for line in chain.frames()))
        assert chain.frames() == expected(display, drives)
        begins = [
            [frame.time_ns for capture in chain.captures for frame in capture.lines[line].frames]
            for line in (0, 1)
        ]
    apart_ns = np.diff(begins, axis=0)[0]
    told_ns = np.diff([line.ends_ns for line in Bench(display).send(np.zeros((2, 6, 3))).lines])
    assert told_ns == 9 * 24 * 1250
    # The firmware takes some microseconds from line to line.
    assert (apart_ns >= told_ns - 1000).all()
    assert (apart_ns <= told_ns + 30_000).all()


ONE_WIRE = [chip.part for chip in CHIPS.values() if isinstance(chip.wire, OneWire)]
CLOCKED = [chip.part for chip in CHIPS.values() if isinstance(chip.wire, Clocked)]
FAST = "[controller]\nclock_mhz = 4\n"


@pytest.mark.slow
@pytest.mark.parametrize("mhz", [16, 20])
@pytest.mark.parametrize("part", ONE_WIRE)
def test_every_one_wire_chip_is_timed_right(tmp_path, part, mhz):
    passes(tmp_path, wall(part=part), "ATmega328P", mhz, count=5)


@pytest.mark.slow
@pytest.mark.parametrize("part", CLOCKED)
@pytest.mark.parametrize(("controller", "mhz"), [("ATmega328P", 16), ("ATmega2560", 20)])
def test_clocked_chips_get_their_bytes_by_spi_port_and_pins(tmp_path, part, controller, mhz):
    plan, _ = passes(tmp_path, wall((5, 5), part, FAST), controller, mhz, count=5)
    assert plan.spi_line == 0
    assert plan.pins[1].clock is not None


@pytest.mark.slow
@pytest.mark.parametrize("controller", CONTROLLERS)
@pytest.mark.parametrize("mhz", [16, 20])
def test_every_controller_drives_several_lines(tmp_path, controller, mhz):
    passes(tmp_path, wall((7,) * 5), controller, mhz, count=5)


@pytest.mark.slow
@pytest.mark.parametrize("baud", [115_200, 1_000_000, 2_000_000])
@pytest.mark.parametrize("controller", ["ATmega328P", "ATmega2560"])
def test_no_frame_is_torn_or_lost_at_any_baud_rate(tmp_path, controller, baud):
    passes(tmp_path, wall((150,)), controller, 16, count=15 if baud < 1e6 else 100, baud=baud)


@pytest.mark.slow
@pytest.mark.parametrize("controller", ["ATmega328P", "ATmega2560"])
@pytest.mark.parametrize("byte", [0, 1, 255, None])
def test_it_keeps_up_with_the_longest_frame_that_the_plan_allows(tmp_path, controller, byte):
    """At 80 cycles a byte: zeros, which COBS writes as blocks of their own, take longest."""
    chip = CONTROLLERS[controller]
    leds = int(min(keeps_up(chip, 16_000_000, 2_000_000), 1300)) // 3
    display = wall((leds,))
    plan, elf, _ = build(tmp_path / "project", display, controller, 16, baud=2_000_000)
    drives = random_frames(display, 6)
    if byte is not None:
        drives[:] = byte
    with Chain(plan, elf) as chain:
        counts = send(chain, display, drives, plan.baud)
    assert (counts.latched, chain.lost) == (6, 0)


@pytest.mark.slow
def test_silence_makes_every_line_dark_and_a_question_keeps_it_lit(tmp_path):
    for part, extra in (("WS2812B", ""), ("APA102", FAST), ("LPD8806", FAST)):
        display = wall((4, 4), part, extra)
        plan, elf, _ = build(tmp_path / part, display, hold=3)
        lit, dark = random_frames(display, 1), random_frames(display, 1) * 0
        with Chain(plan, elf) as chain:
            port = os.open(chain.path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
            try:
                chain.until(lambda: chain.cycle > 16e3)  # started
                lines = [line.tobytes() for line in canvas.to_wire(lit[0], display)]
                os.write(port, b"\0" + encode_frame(0, lines))
                for _ in range(4):  # 0.8 s, each question sooner than the hold time
                    later = chain.cycle + 0.2 * chain.hz
                    chain.until(lambda later=later: chain.cycle > later)
                    os.write(port, encode(Ask()))
                assert chain.frames() == expected(display, lit), part
                chain.until(lambda: all(len(line) == 2 for line in chain.frames()))
            finally:
                os.close(port)
            assert chain.frames() == expected(display, [*lit, *dark]), part
            assert chain.verdicts() == {"pass"}


@pytest.mark.slow
def test_a_cable_pulled_amid_a_frame_and_put_in_again_tears_none(tmp_path):
    display = wall((60,))
    plan, elf, _ = build(tmp_path / "project", display)
    drives = random_frames(display, 20)
    with Chain(plan, elf) as chain:
        for part in (drives[:10], drives[10:]):
            counts = send(chain, display, part, plan.baud)
            assert counts.latched == 10
            port = os.open(chain.path, os.O_WRONLY | os.O_NOCTTY)
            half = encode_frame(77, [bytes(180)])[:90]
            os.write(port, half)
            os.close(port)
            chain.until(lambda came=chain.came: chain.came >= came + 80)
        assert chain.frames() == expected(display, drives)
        assert chain.verdicts() == {"pass"}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("display", "controller"),
    [
        (wall((1,)), "ATmega328P"),
        (wall((370,)), "ATmega328P"),
        (wall((450,)), "ATmega328P"),
        (wall((20,) * 18), "ATmega328P"),
        (wall((30, 30), "APA102"), "ATmega328P"),
        (wall((576,)), "ATmega2560"),
        (wall((40,) * 40, "SK6812-RGBW"), "ATmega2560"),
        (wall((9,) * 30), "ATmega1284P"),
        (wall((1500,)), "ATmega1284P"),
    ],
)
def test_flash_and_ram_are_what_the_plan_says_or_less(tmp_path, display, controller):
    plan, elf, said = build(tmp_path / "project", display, controller)
    text, data, bss = map(int, re.search(r"^\s*(\d+)\s+(\d+)\s+(\d+)", said, re.M).groups())
    with Chain(plan, elf) as chain:
        if sum(plan.room) < 2_000:
            send(chain, display, random_frames(display, 3), plan.baud)
        chain.until(lambda: chain.cycle > 0.2 * chain.hz)
        stack = plan.controller.ram_at + plan.controller.ram - chain.lowest_stack
    used = data + bss + stack
    print(f"{display.leds} LEDs: flash {text + data} of {plan.flash}, RAM {used} of {plan.ram}")
    assert text + data <= plan.flash < 1.5 * (text + data)
    assert used <= plan.ram <= used + 120 + 25 * len(plan.pins)


@pytest.mark.slow
def test_the_pins_are_those_of_simavrs_own_trace(tmp_path):
    display = wall((10, 10))
    plan, elf, _ = build(tmp_path / "project", display)
    trace = tmp_path / "trace.vcd"
    with Chain(plan, elf, trace=trace) as chain:
        send(chain, display, random_frames(display, 5), plan.baud)
        chain.until(lambda: len(chain.frames()[1]) == 5)
        frames = chain.frames()
        ended = chain.cycle
        chain.until(lambda: chain.cycle > ended + chain.hz // 10)  # simavr writes now and then
    written = trace.read_text()
    trace.write_text(written[: written.rindex("\n#") + 1])  # simavr was killed as it wrote
    waveforms = CaptureFile(trace, 100_000_000).waveforms()
    capture = decode_capture(waveforms, display.chip)
    lines = sorted(capture.lines, key=lambda line: line.name)
    assert [line.name.rpartition(".")[2] for line in lines] == ["line_0", "line_1"]
    traced = [[frame.data.tobytes() for frame in line.frames] for line in lines]
    assert capture.verdict == "pass"
    for ours, theirs in zip(frames, traced, strict=True):
        assert theirs
        assert ours[: len(theirs) - 1] == theirs[:-1]  # the last may be cut: it is buffered


@pytest.mark.slow
@pytest.mark.parametrize(
    ("part", "mhz", "pins"),
    [("SK6812", 1, ["B0"]), ("APA102", 4, ["B3/B5"]), ("APA102", 4, ["C0/C1"]),
     ("LPD8806", 1, ["B3/B5"]), ("LPD8806", 1, ["C0/C1"])],
)  # fmt: skip
def test_a_frame_takes_as_long_on_the_line_as_the_plan_says(tmp_path, part, mhz, pins):
    display = wall((40,), part, f"[controller]\nclock_mhz = {mhz}\n")
    plan, elf, _ = build(tmp_path / "project", display, pins=pins)
    with Chain(plan, elf) as chain:
        send(chain, display, random_frames(display, 1) | 1, plan.baud)  # data to the last bit
        chain.until(lambda: len(chain.frames()[0]) == 1)
        cycles = chain.span()
    assert cycles / chain.hz == pytest.approx(plan.lines_s - plan.rest_us / 1e6, rel=0.02)
    if plan.cycles is None:  # and no clock is faster than the chip may have
        assert cycles / sum(8 * room for room in plan.room) >= chain.hz / plan.clock_hz


def test_variables_have_their_first_values_whatever_simavr_is_told(tmp_path):
    """`.mmcu` must not lie where the program's own first values are copied from (avr-libc)."""
    _, elf, _ = build(tmp_path / "project", wall())
    listing = subprocess.run(
        ["avr-objdump", "-h", elf], capture_output=True, text=True, check=True
    ).stdout
    sections = {
        words[1]: words for words in map(str.split, listing.splitlines()) if len(words) == 7
    }
    text, data = sections[".text"], sections[".data"]
    assert int(data[4], 16) == int(text[2], 16)  # it is loaded right behind the program
    assert int(sections[".mmcu"][4], 16) == 0x910000
