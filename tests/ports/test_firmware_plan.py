"""The figures of a firmware before it is built, and the files written."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from emulator import parse_display
from emulator.description.chips import CHIPS, OneWire
from emulator.errors import UnknownNameError, WriteError
from emulator.ports.firmware.controller import CONTROLLERS, FirmwareError, controller
from emulator.ports.firmware.cycles import LEAST, one_wire_cycles
from emulator.ports.firmware.plan import baud_error, keeps_up, make_plan
from emulator.ports.firmware.project import wall_header, wall_make, write_project
from tests.outside.firmware_chain import wall

SMALL = CONTROLLERS["ATmega328P"]


@pytest.mark.parametrize("hz", [16_000_000, 20_000_000])
@pytest.mark.parametrize("chip", [c for c in CHIPS.values() if isinstance(c.wire, OneWire)])
def test_whole_cycles_lie_within_the_datasheets_tolerances(chip, hz):
    high_0, high_1, bit = one_wire_cycles(chip, hz)
    ns = 1e9 / hz
    wire = chip.wire
    for cycles, span in (
        (high_0, wire.t0h), (bit - high_0, wire.t0l), (high_1, wire.t1h), (bit - high_1, wire.t1l),
    ):  # fmt: skip
        assert span.least <= cycles * ns <= span.most
    assert high_0 >= LEAST[0]
    assert high_1 - high_0 >= LEAST[1]
    assert bit - high_1 >= LEAST[2]


def test_a_chip_that_no_whole_cycles_fit_is_refused():
    text = '[grid]\ncolumns = 4\nrows = 3\n[wiring]\n[chip]\npart = "WS2812B"\n'
    text += "t0h_ns = [63, 90, 124]\n"
    with pytest.raises(FirmwareError, match=r"no whole cycles of 16 MHz .* WS2812B"):
        make_plan(parse_display(text, Path("w")), SMALL, 16)


def test_a_chip_with_too_short_a_0_for_the_loop_is_refused_with_the_reason():
    text = '[grid]\ncolumns = 4\nrows = 3\n[wiring]\n[chip]\npart = "WS2812B"\n'
    text += "t0h_ns = [240, 250, 260]\n"  # four cycles of 62.5 ns
    with pytest.raises(FirmwareError, match="makes a 0 high for 5 cycles at least, a 1 for 11"):
        make_plan(parse_display(text, Path("w")), SMALL, 16)


def test_long_bits_count_in_flash():
    fast, slow = (make_plan(wall((12,), part), SMALL, 20) for part in ("WS2812B", "WS2811-LOW"))
    # onewire.S has the eight bits of a byte one after the other, and waits by `nop`, two bytes each
    # (AVR instruction set manual).
    assert slow.flash - fast.flash == 8 * 2 * (slow.cycles.bit - fast.cycles.bit) > 0


def test_576_leds_do_not_fit_2_kib():
    with pytest.raises(FirmwareError, match=r"1728 of them for a frame of 576 LEDs.*has 2048"):
        make_plan(wall((576,)), SMALL, 16)
    assert make_plan(wall((576,)), CONTROLLERS["ATmega2560"], 16).ram < 8192
    few = make_plan(wall((450,)), SMALL, 16)
    assert few.most_data < 246  # shorter messages leave room for LEDs
    assert few.ram <= 2048


@pytest.mark.parametrize(
    ("hz", "baud", "off"),
    [  # ATmega328P datasheet, examples of baud rate settings, U2X (from memory)
        (16_000_000, 9_600, 0.002),
        (16_000_000, 57_600, 0.008),
        (16_000_000, 115_200, 0.021),
        (16_000_000, 250_000, 0.0),
        (16_000_000, 1_000_000, 0.0),
        (16_000_000, 2_000_000, 0.0),
        (20_000_000, 115_200, 0.014),
        (20_000_000, 250_000, 0.0),
    ],
)
def test_baud_rates_are_off_as_the_datasheet_says(hz, baud, off):
    assert baud_error(hz, baud) == pytest.approx(off, abs=0.0006)


def test_a_baud_rate_that_a_clock_cannot_make_is_refused():
    with pytest.raises(FirmwareError, match=r"20 MHz cannot make 2000000 baud"):
        make_plan(wall(), SMALL, 20, baud=2_000_000)
    with pytest.raises(
        FirmwareError, match=r"keeps up with frames of \d+ bytes, and 'wall' has 1728"
    ):
        make_plan(wall((576,)), CONTROLLERS["ATmega2560"], 16, baud=2_000_000)
    assert keeps_up(SMALL, 16_000_000, 1_000_000) == math.inf
    assert make_plan(wall((576,)), CONTROLLERS["ATmega2560"], 16).baud == 1_000_000
    assert make_plan(wall(), SMALL, 16).baud == 2_000_000
    assert make_plan(wall(), SMALL, 20).baud == 1_250_000


def test_the_frame_rate_is_that_of_link_and_lines_in_a_row():
    plan = make_plan(wall((100, 100)), SMALL, 16, baud=1_000_000)
    wire_s = 2 * 100 * 24 * 20 / 16e6 + 50e-6  # two lines in turn, 20 cycles a bit, the reset
    assert plan.lines_s == pytest.approx(wire_s, rel=0.001)
    least_s = wire_s + 600 * 10e-6  # and at least the bytes themselves on the link
    assert 0.85 / least_s < plan.link.frames_per_s < 1 / least_s


@pytest.mark.parametrize(
    ("pins", "words"),
    [
        ("B0,B0", "pin B0 of ATmega328P is used twice"),
        ("B0,D0", "pin D0 of ATmega328P is not free"),  # the serial port's
        ("B0,Z9", "pin Z9 of ATmega328P is not free"),
        ("B0", r"pins B0 for 2 line\(s\)"),
        ("B0/B1,C0/C1", r"for 2 line\(s\) of WS2812B"),
    ],
)
def test_wrong_pins_are_told(pins, words):
    with pytest.raises(FirmwareError, match=words):
        make_plan(wall((4, 4)), SMALL, 16, pins=pins.split(","))


def test_pins_are_those_asked_for_or_the_first_ones():
    assert "{{PIN(B, 0)}, {PIN(B, 1)}}" in wall_header(make_plan(wall((4, 4)), SMALL, 16))
    asked = make_plan(wall((4, 4)), SMALL, 16, pins=["d7", "c5"])
    assert "{{PIN(D, 7)}, {PIN(C, 5)}}" in wall_header(asked)
    clocked = make_plan(wall((4, 4), "APA102"), SMALL, 16)
    assert "{{PIN(B, 3), PIN(B, 5)}, {PIN(B, 0), PIN(B, 1)}}" in wall_header(clocked)
    assert clocked.spi_divider == 16  # 1 MHz, the default of [controller]
    loose = make_plan(wall((4, 4), "APA102"), SMALL, 16, pins=["C0/C1", "C2/C3"])
    assert loose.spi_line is None
    with pytest.raises(FirmwareError, match="B2 of ATmega328P is used twice: the SPI port"):
        make_plan(wall((4, 4), "APA102"), SMALL, 16, pins=["B3/B5", "B2/C3"])
    with pytest.raises(FirmwareError, match="has pins for 18"):
        make_plan(wall((4,) * 19), SMALL, 16)


def test_unknown_controllers_and_clocks_are_told():
    assert controller("atmega328p") is SMALL
    with pytest.raises(UnknownNameError, match="ATmega1284P, ATmega2560, ATmega328P"):
        controller("ATmega328")
    with pytest.raises(FirmwareError, match="a clock of 8 MHz"):
        make_plan(wall(), SMALL, 8)


def test_what_is_particular_to_the_wall_is_filled_in():
    text = '[grid]\ncolumns = 9\nrows = 3\n[chip]\npart = "SK6812-RGBW"\n[wiring]\nlines = 3\n'
    plan = make_plan(parse_display(text, Path("my wall!.toml")), SMALL, 20, hold=35)
    header = wall_header(plan)
    defines = dict(re.findall(r"^#define (\w+) (.*?)(?: /\*.*)?$", header, re.M))
    assert defines["FOREGLOW_LEDS"] == "{9, 9, 9}"
    assert defines["FOREGLOW_LINE_BYTES"] == "{36, 36, 36}"
    assert defines["FOREGLOW_FRAME_BYTES"] == "108U"
    assert defines["FOREGLOW_HOLD"] == "35U"
    assert defines["FOREGLOW_CHIP"] == '"SK6812-RGBW"'
    assert "G R B W" in header
    assert "HZ = 20000000\n" in wall_make(plan)
    assert re.search(r"^NAME = my-wall$", wall_make(plan), re.M)


def test_a_folder_that_holds_anything_is_left_as_it_is(tmp_path):
    plan = make_plan(wall(), SMALL, 16)
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine").write_text("mine")
    (tmp_path / "file").write_text("mine")
    for name in ("full", "file"):
        with pytest.raises(WriteError, match="exists and is left as it is"):
            write_project(plan, tmp_path / name)
    assert {path.name for path in tmp_path.iterdir()} == {"full", "file"}
    assert (tmp_path / "full" / "mine").read_text() == "mine"
    (tmp_path / "empty").mkdir()
    write_project(plan, tmp_path / "empty")
    assert (tmp_path / "empty" / "Makefile").exists()


def test_a_name_ends_no_comment_and_no_line():
    text = '[grid]\ncolumns = 4\nrows = 3\n[wiring]\n[chip]\npart = "WS2812B"\n'
    plan = make_plan(parse_display(text, Path("a */ #error \\.toml")), SMALL, 16)
    first, *_ = wall_header(plan).splitlines()
    assert first.count("*/") == 1
    assert first.endswith("*/")
    assert "\\" not in wall_make(plan)
