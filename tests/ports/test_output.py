"""Outputs by address: the registry, the contract of each, several at once."""

from __future__ import annotations

from importlib.metadata import EntryPoint
from pathlib import Path

import numpy as np
import pytest

from emulator import (
    ForeglowError,
    FrameError,
    Output,
    OutputClosedError,
    PictureError,
    UnknownNameError,
    open_output,
    parse_display,
    registry,
)
from emulator.canvas import line_bytes
from emulator.ports.address import AddressError
from emulator.ports.link import Link, in_a_row, wire_link
from emulator.ports.memory import MemoryOutput
from emulator.ports.opening import OUTPUTS
from emulator.ports.remote import RemoteOutput
from emulator.ports.several import SeveralOutput
from tests.ports.cable import Cable


@pytest.fixture
def display():
    return parse_display(
        '[grid]\ncolumns = 4\nrows = 3\n[chip]\npart = "WS2812B"\n[wiring]\nlines = 2\n',
        Path("small.toml"),
    )


@pytest.fixture
def picture(display):
    return np.random.default_rng(3).integers(0, 256, display.picture_shape).astype(np.uint8)


ADDRESSES = {
    "memory": "memory:",
    "window": "window:",
    "vcd": "vcd:{folder}/trace.vcd",
    "loop": "loop:?answers=no",
    "e131": "e131://127.0.0.1?universe=7",
    "browser": "browser:0",
}
# tests/ports/test_serial_*.py and test_spi*.py open them
NEED_A_PEER = {"serial", "socket", "rfc2217", "spi"}


def test_every_output_is_tested():
    assert set(ADDRESSES) | NEED_A_PEER == set(OUTPUTS)


@pytest.fixture(params=ADDRESSES)
def opened(request, display, tmp_path, monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    with open_output(ADDRESSES[request.param].format(folder=tmp_path), display) as output:
        yield output


def test_every_output_shows_what_is_sent(opened, picture, display):
    sent = opened.send(picture)
    assert sent.latched_ns >= sent.starts_ns + sent.wire_ns
    with open_output("memory:", display) as reference:
        reference.send(picture)
        assert np.array_equal(opened.bench.frames[-1], reference.bench.frames[-1])
        sent = opened.send_frame(bytes(range(36)) + b"over")
        reference.send_frame(bytes(range(36)) + b"over")
        assert sent.bytes_over == 4
        assert np.array_equal(opened.bench.frames[-1], reference.bench.frames[-1])


def test_every_output_refuses_what_is_no_picture_and_no_bytes(opened, display, picture):
    with pytest.raises(PictureError):
        opened.send(np.zeros((2, 2, 3), np.uint8))
    with pytest.raises(PictureError):
        opened.send(np.stack([picture, picture]))
    with pytest.raises(FrameError):
        opened.send_frame("red")
    opened.send(picture)


def test_every_output_says_what_its_link_carries(opened, display):
    link = opened.link
    assert 0 < link.frames_per_s <= wire_link(display).frames_per_s
    assert link.latency_s >= wire_link(display).latency_s
    assert link.shortfall(link.frames_per_s) is None
    assert "Fix:" in link.shortfall(2 * link.frames_per_s)


def test_every_output_may_be_closed_twice(opened):
    opened.pump()
    opened.close()
    opened.close()


@pytest.mark.parametrize("text", ["", "memory", "nowhere:", "nowhere://x", "/dev/ttyACM0", ":"])
def test_an_unknown_kind_lists_the_known(text, display):
    with pytest.raises(UnknownNameError) as raised:
        open_output(text, display)
    assert set(raised.value.known) == {f"{name}:" for name in OUTPUTS}


@pytest.mark.parametrize(
    "text",
    ["memory:x", "memory:?a=b", "window://x", "vcd:", "serial:", "serial:x?baud=fast",
     "serial:x?speed=9600", "loop:x", "socket:", "serial:x?baud=300&answers=maybe"],
)  # fmt: skip
def test_a_wrong_place_or_option_is_refused_before_anything_opens(text, display):
    with pytest.raises(AddressError, match="Fix:"):
        open_output(text, display)


# Links ---------------------------------------------------------------------------------------


def test_the_wire_of_the_foyer_by_hand():
    # 358 LEDs of 24 bits of 1.25 µs on the longest line, then the reset of 280 µs (WS2812B-V5
    # datasheet, from memory); the last LED latches 357 times 300 ns after the first.
    display = emulator_display("foyer")
    assert display.chip.part == "WS2812B-V5"
    assert max(display.wiring.line_lengths) == 358
    link = wire_link(display)
    assert 1 / link.frames_per_s == pytest.approx(358 * 24 * 1.25e-6 + 280e-6)
    assert link.latency_s == pytest.approx(1 / link.frames_per_s + 357 * 300e-9)
    assert line_bytes(display) == (1074, 1074)


def emulator_display(name):
    from emulator import load_display

    return load_display(name)


def test_links_in_a_row_add_their_latency_and_links_side_by_side_do_not():
    fast, slow = Link(100, 0.01, "fast", "fix fast"), Link(20, 0.03, "slow", "fix slow")
    assert in_a_row(fast, slow) == Link(20, 0.04, "slow", "fix slow")


def test_a_shortfall_says_what_limits_and_what_to_do():
    assert Link(20.06, 0, "a frame takes long", "buy a faster one").shortfall(30) == (
        "30 frames/s are not possible: a frame takes long, at most 20 frames/s\n"
        "  Fix: buy a faster one, or ask for at most 20 frames/s."
    )


# Several -------------------------------------------------------------------------------------


def test_several_get_the_same(display, picture, tmp_path):
    with open_output(["memory:", f"vcd:{tmp_path}/t.vcd"], display) as output:
        sent = output.send(picture)
        output.send_frame(bytes(36))
        assert sent.starts_ns == 0
        one, two = output.outputs
        assert output.bench is one.bench
        assert np.array_equal(one.bench.frames, two.bench.frames)
        assert len(one.bench.frames) == 2
        assert output.link == one.link
    assert (tmp_path / "t.vcd").exists()


def test_those_already_open_are_closed_when_one_cannot_be(display, monkeypatch):
    closed = []
    monkeypatch.setattr(MemoryOutput, "close", lambda self: closed.append(self))
    with pytest.raises(UnknownNameError):
        open_output(["memory:", "memory:", "nowhere:"], display)
    assert len(closed) == 2
    with pytest.raises(ForeglowError, match="Fix:"):
        open_output([], display)


def test_all_are_closed_also_where_one_raises(display):
    closed = []

    class Stubborn(MemoryOutput):
        def close(self):
            closed.append(self)
            raise OSError("stuck")

    with pytest.raises(OSError, match="stuck"):
        SeveralOutput([Stubborn(display), Stubborn(display)]).close()
    assert len(closed) == 2


def test_a_screen_shows_the_wall_while_a_cable_is_out(display, picture):
    cable = Cable(display)
    with SeveralOutput([MemoryOutput(display), cable.output()]) as output:
        output.send(picture)
        cable.unplug()
        output.send(picture)
        output.send(picture)
    assert len(output.bench.frames) == 3


# Other packages ------------------------------------------------------------------------------


class Lamp(RemoteOutput):
    """What a third party writes: an output with a link, and nothing else."""

    def __init__(self, display):
        super().__init__(display)
        self.got, self.released = [], 0

    @classmethod
    def open(cls, address, display):
        address.only("room", place=False)
        return cls(display)

    @property
    def transport(self):
        return Link(10, 0.1, "the lamp is slow", "buy another")

    def _put(self, lines):
        self.got.append([line.tobytes() for line in lines])

    def _release(self):
        self.released += 1


def entry_point(monkeypatch, target):
    point = EntryPoint("lamp", f"{__name__}:{target}", "foreglow.outputs")
    monkeypatch.setattr(registry, "entry_points", lambda group: [point])


def test_another_package_adds_an_output_by_entry_point(monkeypatch, display):
    entry_point(monkeypatch, "Lamp")
    with open_output("lamp:?room=hall", display) as output:
        assert type(output).__name__ == "Lamp"
        assert isinstance(output, Output)
        sent = output.send_frame(bytes(range(36)))
        output.close()
        with pytest.raises(OutputClosedError, match="Fix:"):
            output.send_frame(bytes(36))
    assert output.got == [[bytes(range(24)), bytes(range(24, 36))]]
    assert output.released == 1
    assert output.link.frames_per_s == 10
    assert sent.ready_ns == output.bench.clock.now_ns()
    with pytest.raises(UnknownNameError) as raised:
        open_output("lampe:", display)
    assert "lamp:" in raised.value.known


@pytest.mark.parametrize("value", ["no_such_package:Lamp", f"{__name__}:NoSuchClass"])
def test_an_entry_point_that_cannot_be_loaded_is_told(monkeypatch, display, value):
    point = EntryPoint("lamp", value, "foreglow.outputs")
    monkeypatch.setattr(registry, "entry_points", lambda group: [point])
    with pytest.raises(ForeglowError, match="Fix:") as raised:
        open_output("lamp:", display)
    assert value in str(raised.value)


def test_a_place_given_twice_is_refused(display, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for again in ("vcd:t.vcd", "vcd:./t.vcd", f"vcd:{tmp_path}/t.vcd"):
        with pytest.raises(AddressError, match="Fix:"):
            open_output(["vcd:t.vcd", again], display)
    open_output(["vcd:t.vcd", "vcd:u.vcd", "memory:", "memory:"], display).close()


def test_an_entry_point_that_is_no_output_is_refused(monkeypatch, display):
    entry_point(monkeypatch, "emulator_display")
    with pytest.raises(ForeglowError, match=r"foreglow\.outputs"):
        open_output("lamp:", display)
