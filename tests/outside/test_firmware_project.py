"""The firmware that foreglow writes, built by avr-gcc and run under simavr.

Neither knows of LEDs or of foreglow. The tolerances are those of the chip catalogue, from the
datasheets; the serial port loses what a real one loses (ATmega328P datasheet, Data OverRun).
"""

from __future__ import annotations

import threading

import pytest

from emulator import canvas
from emulator.description.chips import CHIPS, OneWire
from emulator.ports.serial.output import SerialOutput
from emulator.ports.serial.port import SerialPort
from tests.outside.firmware_chain import Chain, build, needed, random_frames, wall

pytestmark = needed


def send(chain, display, drives, baud):
    """Send frames from a thread, as a program would, while the firmware runs; give the counts."""
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


ONE_WIRE = [chip.part for chip in CHIPS.values() if isinstance(chip.wire, OneWire)]


@pytest.mark.slow
@pytest.mark.parametrize("mhz", [16, 20])
@pytest.mark.parametrize("part", ONE_WIRE)
def test_every_one_wire_chip_is_timed_right(tmp_path, part, mhz):
    passes(tmp_path, wall(part=part), "ATmega328P", mhz, count=5)
