"""The output spi:, emulated, and real with a library that records what it gets."""

from __future__ import annotations

import logging
import sys
from types import ModuleType

import numpy as np
import pytest

import emulator
from emulator.canvas import line_bytes
from emulator.errors import SpiError
from emulator.ports.address import AddressError
from emulator.signal import onewire
from emulator.signal.spi import Transfer, mosi

WALL = """
grid = {{columns = 24, rows = 24}}
chip = {{part = "{part}"}}
wiring = {{start = "top-left", along = "rows", lines = {lines}}}
"""


@pytest.fixture
def wall(tmp_path):
    def made(part="WS2812B", lines=1):
        path = tmp_path / f"{part}-{lines}.toml"
        path.write_text(WALL.format(part=part, lines=lines))
        return emulator.load_display(path)

    return made


def random_frame(display, seed=1):
    picture = np.random.default_rng(seed).integers(0, 256, display.picture_shape).astype(np.uint8)
    return emulator.Bench(display), picture


@pytest.mark.parametrize(
    "part", ["WS2812B", "WS2812B-V5", "SK6812-RGBW", "APA102", "WS2801", "LPD8806"]
)
@pytest.mark.parametrize("lines", [1, 2])
def test_what_goes_through_the_emulated_pins_is_what_the_wall_shows(wall, part, lines):
    display = wall(part, lines)
    bench, picture = random_frame(display)
    bench.send(picture)
    with emulator.open_output("spi:?bufsiz=65536", display) as out:
        sent = out.send(picture)
        assert np.array_equal(out.bench.drives, bench.drives)
        assert [[b.timing.verdict for b in line] for line in out.bursts] == [["pass"]] * lines
        assert sent.leds_short == 0


@pytest.mark.parametrize(
    "options", ["bits=3&hz=2400000", "bits=4&hz=3210000", "bits=5&hz=4040000", "bits=8&hz=6400000"]
)
@pytest.mark.parametrize("idle", ["low", "high", "last"])
def test_every_encoding_and_idle_level_shows_the_picture(wall, options, idle):
    display = wall()
    bench, picture = random_frame(display)
    with emulator.open_output(f"spi:?{options}&idle={idle}&bufsiz=65536", display) as out:
        for seed in range(3):
            picture = random_frame(display, seed)[1]
            bench.send(picture)
            out.send(picture)
            assert np.array_equal(out.bench.drives, bench.drives)


def test_a_frame_in_two_transfers_is_split_where_the_gap_exceeds_the_reset_time(wall, caplog):
    display = wall()  # 576 × 24 × 3 bits are 5184 bytes; 4096 go first
    frame = np.full(576 * 3, 0xFF, np.uint8)
    with emulator.open_output("spi:?hz=2400000&bits=3&gap_us=100", display) as out:
        out.send_frame(frame)
    # 4096 bytes hold the zero byte ahead and 4095 × 8 / 72 = 455 whole LEDs.
    assert [burst.frames.bit_counts.tolist() for burst in out.bursts[0]] == [[455 * 24], [121 * 24]]
    assert np.count_nonzero(out.bench.drives.any(axis=1)) == 455
    assert "bufsiz is 4096" in caplog.text
    assert "spidev.bufsiz=8192" in caplog.text
    with emulator.open_output("spi:?hz=2400000&bits=3&gap_us=40", display) as out:
        out.send_frame(frame)
        assert np.count_nonzero(out.bench.drives.any(axis=1)) == 576  # the reset is 50 µs


@pytest.fixture
def library(monkeypatch):
    """A module spidev that records what it gets, with the names of the real one."""
    module = ModuleType("spidev")
    calls = []

    class SpiDev:
        def __init__(self):
            self.broken, self.written = False, []
            calls.append(self)

        def open(self, bus, select):
            self.place = bus, select
            if bus > 1:
                raise FileNotFoundError(2, "No such file or directory")

        def writebytes2(self, data):
            if self.broken:
                raise OSError(5, "Input/output error")
            self.written.append(bytes(data))

        def close(self):
            self.closed = True

    module.SpiDev = SpiDev
    monkeypatch.setitem(sys.modules, "spidev", module)
    return calls


def test_a_real_device_gets_bytes_that_decode_to_the_frame(wall, library):
    display = wall()
    frame = np.random.default_rng(3).integers(0, 256, line_bytes(display)[0]).astype(np.uint8)
    with emulator.open_output("spi:///dev/spidev0.1?hz=2400000&bits=3", display) as out:
        out.send_frame(frame)
        assert np.array_equal(out.bench.drives[:, [1, 0, 2]].ravel(), frame)  # its twin
        assert out.link.frames_per_s < 1 / (5184 * 8 / 2.4e6)
    (device,) = library
    assert device.place == (0, 1)
    assert device.closed
    assert (device.mode, device.bits_per_word, device.max_speed_hz) == (0, 8, 2_400_000)
    (data,) = device.written
    one = Transfer(np.frombuffer(data, np.uint8), 60_000, 250e6 / 106)
    line = mosi([one], "low", False, 0, one.end_ns + 60_000)
    assert np.array_equal(onewire.decode(line, display.chip.wire).data, frame)
    assert data[0] == 0
    assert one.low_tail_ns >= 50_000


def test_each_line_has_its_own_device(wall, library):
    display = wall(lines=2)
    with emulator.open_output("spi:///dev/spidev0.0,/dev/spidev1.0", display) as out:
        out.send_frame([np.zeros(864, np.uint8), np.full(864, 255, np.uint8)])
    assert [device.place for device in library] == [(0, 0), (1, 0)]
    assert library[0].written != library[1].written


def test_clocked_chips_get_plain_bytes_at_their_clock(wall, library):
    display = wall("APA102")
    with emulator.open_output("spi:///dev/spidev0.0", display) as out:
        picture = random_frame(display)[1]
        out.send(picture)
        assert library[0].max_speed_hz == round(display.controller.clock_mhz * 1e6)
    assert library[0].written[0][:4] == bytes(4)
    assert library[0].written[0][4] >= 0b111_00000


def test_a_device_that_fails_loses_frames_and_says_so_once(wall, library, caplog):
    with emulator.open_output("spi:///dev/spidev0.0", wall()) as out:
        library[0].broken = True
        for _ in range(3):
            out.send_frame(np.zeros(576 * 3, np.uint8))
        assert (out.sent, out.lost) == (0, 3)
    assert caplog.text.count("Input/output error") == 1


def test_without_the_library_the_error_says_what_to_install(wall, monkeypatch):
    monkeypatch.setitem(sys.modules, "spidev", None)
    with pytest.raises(SpiError, match=r"pip install 'foreglow\[spi\]'"):
        emulator.open_output("spi:///dev/spidev0.0", wall())


def test_a_device_that_is_not_there_is_named(wall, library):
    with pytest.raises(SpiError, match=r"/dev/spidev7\.0: cannot be used: No such file"):
        emulator.open_output("spi:///dev/spidev7.0", wall())
    assert library[0].closed


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("spi:?bits=6", "one of 3, 4, 5, 8"),
        ("spi:?hz=fast", "hz"),
        ("spi:?speed=1", "speed"),
        ("spi:?controller=abacus", "controller"),
        ("spi:/dev/ttyUSB0", "/dev/spidev0.0"),
        ("spi:/dev/spidev0.0,/dev/spidev1.0", r"2 device\(s\) for 1 line"),
        ("spi:/dev/spidev0.0,/dev/spidev0.0", "each once"),
        ("spi:?idle=floating", "low, high, last"),
        ("spi:?gap_us=-1", "gap_us"),
        ("spi:?divider=odd", "even, whole, powers, none"),
    ],
)  # fmt: skip
def test_a_wrong_address_says_what_is_right(wall, library, address, words):
    with pytest.raises(AddressError, match=words):
        emulator.open_output(address, wall())
    assert not library


def test_bits_are_no_option_of_a_clocked_chip(wall):
    with pytest.raises(AddressError, match="leave bits out"):
        emulator.open_output("spi:?bits=3", wall("APA102"))


def test_a_speed_outside_the_datasheet_is_told_with_one_that_fits(wall, caplog):
    caplog.set_level(logging.WARNING, "foreglow.output")
    emulator.open_output("spi:?hz=2400000&bits=3", wall("SK6812")).close()
    assert "T1H 848 ns (needs 450 to 750)" in caplog.text
    assert "ask for 4 bits at" in caplog.text  # 3 bits fit at no clock


def test_bits_and_clock_are_chosen_for_the_chip_where_none_are_given(wall):
    for part in ("WS2812B", "WS2812B-V5", "SK6812", "WS2813B", "WS2811-HIGH", "WS2815"):
        with emulator.open_output("spi:?bufsiz=65536", wall(part)) as out:
            out.send_frame(np.arange(576 * 3, dtype=np.uint64).astype(np.uint8))
            assert out.bursts[0][0].timing.verdict == "pass", part
