"""Each pitfall of SPI: what it does to the wall, and the words that name it.

The kernel's rules and the pauses are those of kernel.py and controller.py, from memory and common
practice there; what a damaged frame shows follows from the datasheets' reset times and bit orders.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

import emulator
from emulator.ports.address import Address
from emulator.ports.spi.encoding import Encoding
from emulator.ports.spi.kernel import Bus, OpenDevice
from emulator.ports.spi.receiver import SpiReceiver
from emulator.ports.spi.setup import read_wires
from emulator.signal.framing import frame_bytes
from emulator.signal.spi import Transfer

WALL = """
grid = {{columns = {columns}, rows = {rows}}}
chip = {{part = "{part}"}}
wiring = {{start = "top-left", along = "rows", path = "progressive", lines = {lines}}}
"""
THREE = Encoding(3, 1, 2)


class Port:
    """A program's device, the LEDs at its pins, and the reports on them."""

    def __init__(self, display, options=""):
        self.display = display
        wires = read_wires(Address.parse(f"spi:?{options}" if options else "spi:"), display)
        self.receiver = SpiReceiver(display, wires)
        self.bench = emulator.Bench(display)
        self.device = OpenDevice(wires.devices[0], wires, Bus())
        self.device.set_hz(2_400_000)
        self.now_ns, self.call, self.frames = 1_000_000, 0, 0
        self.refused, self.missing, self.opened, self._came = Counter(), set(), 1, []

    def take(self, seconds):  # as SpiServer
        return self._came.pop(0) if self._came else None

    def write(self, data, block=None, wait_ns=0):
        """As writebytes2 with pieces of so many bytes."""
        self.call += 1
        self.now_ns += wait_ns
        data = bytes(data)
        block = block or len(data)
        for begin in range(0, len(data), block):
            sent = self.device.message(data[begin : begin + block], self.now_ns, call=self.call)
            assert isinstance(sent, Transfer)
            self.now_ns = sent.end_ns
            self._came.append(((0,), sent))
        self._show(self.receiver.take(self, 0))

    def rest(self):
        """The program does nothing for long."""
        self._show(self.receiver.rest())
        self.now_ns += 50_000_000
        return {one.name: one for one in self.receiver.pitfalls(self)}

    def _show(self, frames):
        for lines in frames:
            self.frames += 1
            self.bench.send_frame(lines)

    @property
    def shown(self):
        """Bytes in wire order."""
        return self.bench.drives[:, self.display.chip.to_wire].ravel()


@pytest.fixture
def port(tmp_path):
    def made(options="", part="WS2812B", columns=12, rows=10, lines=1):
        path = tmp_path / "wall.toml"
        path.write_text(WALL.format(part=part, columns=columns, rows=rows, lines=lines))
        return Port(emulator.load_display(path), options)

    return made


def colours(port, seed=1):
    return np.random.default_rng(seed).integers(0, 256, port.display.leds * 3).astype(np.uint8)


def zeros(count):
    return bytes(count)


def encoded(data, way=THREE, ahead=1, behind=20):
    return zeros(ahead) + way.encode(data).tobytes() + zeros(behind)


def faults(found):
    return {name for name, one in found.items() if one.spoils}


def test_right_code_draws_no_fault(port):
    port = port()
    for seed in range(3):
        port.write(encoded(colours(port, seed)))
        found = port.rest()
        assert np.array_equal(port.shown, colours(port, seed))
    assert faults(found) == set()
    assert {*found} <= {"speed"}
    assert port.receiver.verdict == "pass"


def test_the_real_speed_is_told_and_blamed_where_the_asked_one_would_have_fitted(port):
    harmless = port()
    harmless.write(encoded(colours(harmless)))
    told = harmless.rest()["speed"]
    assert "2.358 MHz, not at the 2.4 MHz" in told.what
    assert "250 MHz / 106" in told.evidence
    assert told.severity == "note"
    # WS2812B datasheet: T1H 650–950 ns. 8 MHz by a power of two is 2 MHz: two bits last 1000 ns.
    spoilt = port("controller=exact&clock_hz=8000000&divider=powers")
    spoilt.write(encoded(colours(spoilt)))
    told = spoilt.rest()["speed"]
    assert told.spoils
    assert "2 MHz, not at the 2.4 MHz" in told.what
    assert "ask for" in told.fix


def test_a_gap_beyond_the_reset_time_splits_a_frame_of_more_than_bufsiz(port):
    wide = port(columns=24, rows=24)
    frame = np.full(576 * 3, 255, np.uint8)
    wide.write(encoded(frame), block=4096)
    found = wide.rest()
    assert np.count_nonzero(wide.bench.drives.any(axis=1)) == 455
    told = found["gap"]
    assert told.spoils
    assert "gap of 100 µs" in told.what
    assert "for WS2812B, 50 µs of low end a frame" in told.what
    assert "LED 455" in told.what
    assert "spidev.bufsiz=65536" in told.fix


def test_pieces_sent_one_by_one_are_split_too(port):
    wide = port()
    frame = encoded(np.full(360, 255, np.uint8), ahead=0, behind=0)
    wide.write(frame[:540])
    wide.write(frame[540:], wait_ns=300_000)
    found = wide.rest()
    assert np.count_nonzero(wide.bench.drives.any(axis=1)) == 60
    assert "gap of 300 µs" in found["gap"].what
    assert found["gap"].spoils


def test_a_shorter_gap_is_a_warning_unless_it_cuts_an_led_bit(port):
    holds = port("gap_us=40", columns=24, rows=24)
    frame = np.full(576 * 3, 255, np.uint8)
    holds.write(encoded(frame), block=4096)
    found = holds.rest()
    assert np.array_equal(holds.shown, frame)
    assert found["gap"].severity == "warning"
    assert "operating system does not promise" in found["gap"].what
    # 4096 · 8 bits less 8 ahead are whole LED bits; 4095 · 8 less 8 leave 1 of 3: 1 | 10
    cut = port("gap_us=40", columns=24, rows=24)
    cut.write(encoded(frame), block=4095)
    found = cut.rest()
    assert found["gap"].spoils
    assert "inside an LED bit" in found["gap"].what
    assert not np.array_equal(cut.shown, frame)


def test_without_trailing_zeros_the_next_frame_falls_off_the_end(port):
    alone = port()
    alone.write(encoded(colours(alone), behind=0))
    told = alone.rest()["latch"]
    assert np.array_equal(alone.shown, colours(alone))
    assert told.severity == "note"
    assert "no trailing zeros" in told.what
    quick = port("gap_us=20")
    quick.write(encoded(colours(quick, 1), behind=0))
    quick.write(encoded(colours(quick, 2), behind=0))
    told = quick.rest()["latch"]
    assert np.array_equal(quick.shown, colours(quick, 1))  # not the second
    assert told.spoils
    assert "fall off the end" in told.what
    assert "zero bytes after the data" in told.fix


def test_mosi_that_rests_high_latches_nothing_without_zeros(port):
    high = port("idle=high")
    high.write(encoded(colours(high), behind=0))
    told = high.rest()["idle"]
    assert high.frames == 0
    assert told.spoils
    assert "MOSI rests high between transfers" in told.what
    assert "show nothing" in told.what


def test_mosi_that_rests_high_makes_every_frame_one_bit_late(port):
    high = port("idle=high")
    for _ in range(3):
        high.write(encoded(np.full(360, 1, np.uint8)))
        found = high.rest()
    assert found["idle"].spoils
    assert "taken for a bit" in found["idle"].what
    late = np.packbits(np.concatenate([[1], np.unpackbits(np.full(360, 1, np.uint8))]))[:360]
    assert np.array_equal(high.shown, late)


def test_zeros_ahead_of_the_data_help_where_mosi_rests_high(port):
    high = port("idle=high")
    for seed in range(3):
        high.write(encoded(colours(high, seed), ahead=20))
        found = high.rest()
    assert np.array_equal(high.shown, colours(high, 2))
    assert faults(found) == set()


def test_the_first_bit_is_lost_or_1_where_nothing_rises(port):
    high = port("idle=high")
    sent = np.full(360, 1, np.uint8)
    for _ in range(3):
        high.write(encoded(sent, ahead=0))
    told = high.rest()["first bit"]
    assert told.spoils
    assert "first bit of the first frame is lost" in told.what
    assert "reads as 1" in told.what
    assert high.shown[0] == 129  # the pulse that begins after the frame before is long: a 1
    assert np.array_equal(high.shown[1:], sent[1:])
    # A zero byte alone would make every frame one bit late.
    assert "zeros for 50 µs before and after the data" in told.fix


def test_mosi_that_keeps_its_last_bit_is_told_apart(port):
    keeps = port("idle=last")
    keeps.write(THREE.encode(colours(keeps)).tobytes()[:-1] + b"\xff")
    told = keeps.rest()["idle"]
    assert told.spoils
    assert "keeps the level of the last bit, which is high" in told.what
    well = port("idle=last")
    well.write(encoded(colours(well)))
    assert faults(well.rest()) == set()


@pytest.mark.parametrize(
    ("hz", "way", "lasts"),
    [(6_400_000, THREE, "480 ns"), (2_400_000, Encoding(8, 2, 5), "3392 ns")],
)
def test_spi_bits_that_do_not_suit_the_speed(port, hz, way, lasts):
    wrong = port()
    wrong.device.set_hz(hz)
    wrong.write(encoded(colours(wrong), way, behind=60))
    told = wrong.rest()["bits"]
    assert told.spoils
    assert f"{way.bits} SPI bits" in told.what
    assert lasts in told.what
    assert "WS2812B needs 1250 ns" in told.what
    assert "set max_speed_hz to about" in told.fix


def test_a_program_that_sets_no_speed_is_told_so(port):
    wrong = port()
    wrong.device.set_hz(125_000_000)  # what the device has
    wrong.write(encoded(colours(wrong), behind=2000))
    found = wrong.rest()
    assert "does not set it" in found["bits"].evidence


def test_an_encoding_outside_the_datasheet_names_its_times(port):
    wrong = port(part="WS2812B-V5")  # datasheet, from memory: T0H 220–380 ns
    wrong.write(encoded(colours(wrong), behind=100))
    told = wrong.rest()["encoding"]
    assert "T0H 424 ns (needs 220 to 380)" in told.what
    assert "ask for" in told.fix


def turned(data):
    return np.packbits(np.unpackbits(data).reshape(-1, 8)[:, ::-1].ravel())


def test_bytes_built_lowest_bit_first_and_lsbfirst_set_for_nothing(port):
    wrong = port()
    wrong.write(turned(np.frombuffer(encoded(colours(wrong)), np.uint8)))
    told = wrong.rest()["lsbfirst"]
    assert told.spoils
    assert "made for lowest bit first" in told.what
    asked = port("controller=sun6i")
    assert asked.device.set_mode(0x08) == 0
    asked.write(encoded(colours(asked)))
    told = asked.rest()["lsbfirst"]
    assert "lsbfirst is set" in told.what
    right = port("controller=sun6i")
    right.device.set_mode(0x08)
    right.write(turned(np.frombuffer(encoded(colours(right)), np.uint8)))
    assert faults(right.rest()) == set()
    assert np.array_equal(right.shown, colours(right))


@pytest.mark.parametrize("bits", [16, 32])
def test_long_words_leave_in_the_order_of_the_processor(port, bits):
    wrong = port("controller=omap2")
    assert wrong.device.set_bits_per_word(bits) == 0
    data = encoded(colours(wrong), behind=23)
    assert len(data) % 4 == 0
    wrong.write(data)
    told = wrong.rest()["words"]
    assert told.spoils
    assert f"bits_per_word is {bits}" in told.what
    assert not np.array_equal(wrong.shown, colours(wrong))


def test_inverted_bits_are_named(port):
    wrong = port()
    wrong.write(255 - np.frombuffer(encoded(colours(wrong)), np.uint8))
    told = wrong.rest()["inverted"]
    assert told.spoils
    assert "begins low and ends high" in told.what


def test_bytes_that_are_no_led_bits(port):
    wrong = port()
    wrong.write(colours(wrong).tobytes() + zeros(20))
    told = wrong.rest()["shape"]
    assert told.spoils
    assert "not LED bits" in told.what


def clocked_frame(port, seed=1):
    channels = len(port.display.chip.order)
    drives = np.random.default_rng(seed).integers(0, 32, (port.display.leds, channels))
    return frame_bytes(drives.astype(np.uint8), port.display.chip).tobytes()


@pytest.mark.parametrize("part", ["APA102", "WS2801", "LPD8806"])
def test_clocked_chips_take_mode_0_and_show_it(port, part):
    right = port(part=part)
    right.write(clocked_frame(right))
    assert faults(right.rest()) == set()
    assert right.bench.drives.any()
    assert right.receiver.verdict in ("pass", "cannot tell")  # no rest is seen by WS2801


@pytest.mark.parametrize("mode", [1, 2])
@pytest.mark.parametrize("part", ["APA102", "WS2801"])
def test_modes_that_change_data_as_the_clock_rises(port, part, mode):
    wrong = port(part=part)
    wrong.device.set_mode(mode)
    wrong.write(clocked_frame(wrong))
    told = wrong.rest()["mode"]
    assert told.spoils
    if mode == 1 or part == "APA102":
        assert f"mode {mode} changes the data as the clock rises" in told.what


def test_a_clock_that_rests_high_latches_nothing_that_latches_by_rest(port):
    wrong = port(part="WS2801")
    wrong.device.set_mode(3)
    wrong.write(clocked_frame(wrong))
    told = wrong.rest()["mode"]
    assert wrong.frames == 0
    assert "the clock rests high" in told.what
    right = port(part="APA102")  # which has an end frame instead: mode 3 is as good as 0
    right.device.set_mode(3)
    right.write(clocked_frame(right))
    assert faults(right.rest()) == set()
    assert right.frames == 1


def test_a_clock_too_fast_and_words_and_order_of_clocked_chips(port):
    fast = port(part="APA102")
    fast.device.set_hz(125_000_000)
    fast.write(clocked_frame(fast))
    told = fast.rest()["speed"]
    assert told.spoils
    assert "at most 20 MHz" in told.what
    assert "does not set it" in told.evidence
    odd = port("controller=exact", part="APA102")
    odd.device.set_mode(0x08)
    odd.device.set_bits_per_word(16)
    odd.write(clocked_frame(odd))
    assert {"lsbfirst", "words"} <= faults(odd.rest())


def test_what_library_and_kernel_refuse_is_named(port):
    refusing = port()
    assert refusing.device.message(bytes(4097), 0) == 90  # EMSGSIZE
    assert refusing.device.set_mode(0x08) == 22  # EINVAL: the bcm2835 has no lowest bit first
    assert refusing.device.set_bits_per_word(16) == 22
    assert refusing.device.set_hz(0) == 22
    refusing.refused.update({
        ("xfer2", "5184", "OverflowError"): 3,
        ("writebytes", "65600", "wrapped"): 1,
        ("xfer", "3000", "EMSGSIZE"): 1,
        ("lsbfirst", "True", "EINVAL"): 1,
    })  # fmt: skip
    refusing.missing.add("/dev/spidev1.0")
    told = [one.what for one in refusing.receiver.pitfalls(refusing)]
    assert "xfer2 got 5184 bytes and takes 4096: OverflowError" in told
    assert "writebytes counts in 16 bits: of 65600 bytes it sent 64" in told
    assert "xfer got 3000 bytes, more than bufsiz: EMSGSIZE, Message too long" in told
    assert "lsbfirst = True was refused: EINVAL" in told
    assert any("opened /dev/spidev1.0, but there is only /dev/spidev0.0" in one for one in told)


def test_a_frame_of_two_lines_is_one_frame(port):
    both = port(lines=2)
    wires = read_wires(Address.parse("spi:"), both.display)
    assert [device.path for device in wires.devices] == ["/dev/spidev0.0", "/dev/spidev1.0"]
    frames = []
    for line in (0, 1):
        one = Transfer(
            np.frombuffer(encoded(np.full(180, 7 + line, np.uint8)), np.uint8), 10**6, 250e6 / 106
        )
        both._came.append(((line,), one))
        frames += both.receiver.take(both, 0)
    (frame,) = frames
    assert [set(line.tolist()) for line in frame] == [{7}, {8}]
