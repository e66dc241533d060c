"""The serial output and the emulated board, on a cable in simulated time."""

from __future__ import annotations

import logging
import random
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from emulator import Bench, load_display, open_output, parse_display
from emulator.ports.address import AddressError
from emulator.ports.link import wire_link
from emulator.ports.memory import MemoryOutput
from emulator.ports.serial.board import CREDIT, Board
from emulator.ports.serial.output import SerialOutput, serial_transport
from emulator.ports.serial.port import LinkError
from emulator.ports.serial.protocol import FROM_BOARD as ANSWERS
from emulator.ports.serial.protocol import (
    TO_BOARD,
    Ack,
    Ask,
    Data,
    Decoder,
    Hello,
    Status,
    encode,
    encode_frame,
)
from tests.ports.cable import BAUD, Cable

SMALL = '[grid]\ncolumns = 4\nrows = 3\n[chip]\npart = "WS2812B"\n[wiring]\nlines = 2\n'


@pytest.fixture
def display():
    return parse_display(SMALL, Path("small.toml"))


@pytest.fixture
def cable(display):
    return Cable(display)


def pictures(display, count, seed=1):
    rng = np.random.default_rng(seed)
    return [rng.integers(0, 256, display.picture_shape).astype(np.uint8) for _ in range(count)]


@pytest.mark.parametrize("name", ["foyer", "banner", "sign"])
def test_what_is_sent_is_latched_at_the_other_end(name):
    display = load_display(name)
    cable = Cable(display)
    with cable.output() as output:
        for picture in pictures(display, 5):
            output.send(picture)
    assert (output.counts.written, output.counts.latched) == (5, 5)
    assert np.array_equal(cable.wall.bench.frames, output.bench.frames[:5])
    assert cable.board.status == Status(5, 0, 0)
    assert cable.closed == cable.opened == 1


def test_short_and_long_lines_arrive_as_on_the_wire(display, cable):
    with cable.output() as output:
        output.send_frame([bytes(range(24)), b"\xff" * 12])
        sent = output.send_frame([b"", b"\x01\x02\x03" + bytes(9) + b"over the end"])
        assert (sent.bytes_over, sent.leds_short) == (12, 8)
    assert output.counts.latched == 2
    assert cable.wall.bench.drives.tolist() == output.bench.drives.tolist()
    # GRB on the wire (WS2812B datasheet): line 0 keeps the frame before, line 1 has the new one.
    assert cable.wall.bench.drives[[0, 8]].tolist() == [[1, 0, 2], [2, 1, 3]]


def test_the_rate_of_a_slow_link_by_hand():
    # The foyer's lines of 1074 bytes go in 5 messages each, of 8 bytes around the data, 1 of COBS
    # and a 0; the latch takes 11 + 2 and a 0 goes first. 10 bits a byte (common practice).
    display = load_display("foyer")
    link = serial_transport(display, 115_200)
    count = 2 * (1074 + 5 * 10) + 13 + 1
    assert link.latency_s == pytest.approx(count * 10 / 115_200)
    assert "raise the baud rate" in link.shortfall(30)
    cable = Cable(display)
    with cable.output() as output:
        assert output.link.frames_per_s == pytest.approx(
            min(BAUD / 10 / count, wire_link(display).frames_per_s)
        )


def test_a_show_runs_at_the_rate_the_link_carries():
    display = load_display("foyer")
    cable = Cable(display)
    with cable.output() as output:
        begin_ns = cable.clock.now_ns()
        for picture in pictures(display, 50):
            output.send(picture)
        took_s = (cable.clock.now_ns() - begin_ns) / 1e9
    assert output.counts.latched == 50
    # All but the two frames that the credit leaves under way.
    assert took_s == pytest.approx(48 / output.link.frames_per_s, rel=0.1)
    assert (np.diff(cable.wall.bench.recorder.times_ns) >= 0.99e9 / output.link.frames_per_s).all()


def test_a_frame_is_latched_after_its_bytes_and_its_bits(display, cable):
    with cable.output() as output:
        begin_ns = cable.clock.now_ns()
        sent = output.send(pictures(display, 1)[0])
        cable.clock.wait_until(begin_ns + 1_000_000_000)
        cable.carry()
    assert len(cable.wall.bench.frames) == 1
    bytes_ns = round(output.transport.latency_s * 1e9)
    # 8 LEDs of 24 bits of 1.25 µs, and 50 µs of reset (WS2812B datasheet).
    wire_ns = 8 * 24 * 1250 + 50_000
    expected_ns = begin_ns + bytes_ns + wire_ns
    assert cable.wall.bench.recorder.times_ns[0] == pytest.approx(expected_ns, abs=20_000)
    assert sent.latched_ns == pytest.approx(expected_ns, abs=20_000), "as the sender calculated"


def test_an_acknowledgement_come_twice_counts_once(display, cable):
    cable.answers_twice = True
    with cable.output() as output:
        for picture in pictures(display, 10):
            output.send(picture)
    assert (output.counts.latched, output.counts.unanswered) == (10, 0)


def test_a_lost_latch_is_sent_again_and_the_frame_shown(display):
    cable = Cable(display)
    with cable.output() as output:
        cable.spoil = lambda data: data[: data.rindex(0, 0, -1)] if len(data) > 20 else data
        output.send(pictures(display, 1)[0])
        cable.clock.wait_until(cable.clock.now_ns() + 100_000_000)
    assert (output.counts.latched, output.counts.unanswered) == (1, 0)
    assert cable.board.status == Status(1, 0, 0)


def test_never_more_frames_under_way_than_the_credit(display, cable):
    most = 0
    with cable.output() as output:
        for picture in pictures(display, 20):
            output.send(picture)
            status = cable.board.status
            most = max(most, output.counts.written - status.latched)
    assert most <= CREDIT


@pytest.mark.parametrize("seed", range(8))
def test_a_bad_link_loses_frames_counts_them_and_tears_none(seed, display):
    rng = random.Random(seed)

    def spoil(data):
        out = bytearray(data)
        if rng.random() < 0.3:
            out[rng.randrange(len(out))] ^= 1 << rng.randrange(8)
        if rng.random() < 0.1:
            del out[rng.randrange(len(out)) :][: rng.randrange(20)]
        return bytes(out)

    cable = Cable(display, spoil)
    sent = []
    with cable.output() as output:
        for picture in pictures(display, 60, seed):
            output.send(picture)
            sent.append(output.bench.drives.copy())
    frames = cable.wall.bench.frames
    assert 20 < len(frames) < 60
    position = -1  # every frame shown is one that was sent, in order
    for shown in frames:
        position = next(i for i in range(position + 1, 60) if np.array_equal(sent[i], shown))
    counts, status = output.counts, cable.board.status
    assert counts.written == 60
    assert counts.latched + counts.dropped + counts.unanswered == 60
    assert counts.latched <= status.latched == len(frames)
    assert status.latched + status.dropped <= 60
    assert status.bad > 0


# Unplugged -----------------------------------------------------------------------------------


def test_unplugged_and_plugged_in_again_the_show_goes_on(display, cable, caplog):
    caplog.set_level(logging.WARNING, "foreglow.serial")
    shown = pictures(display, 3)
    with cable.output() as output:
        output.send(shown[0])
        cable.clock.wait_until(cable.clock.now_ns() + 50_000_000)
        cable.unplug()
        out_ns = cable.clock.now_ns()
        while cable.clock.now_ns() < out_ns + 3_000_000_000:
            output.send(shown[1])
        assert output.counts.not_written > 100
        assert not output.connection.up
        cable.plugged = True
        while not output.connection.up:
            output.send(shown[2])
        back_ns = cable.clock.now_ns()
        output.send(shown[2])
    assert back_ns - out_ns < 3_000_000_000 + 2_000_000_000 + 100_000_000, (
        "retries at least so often"
    )
    assert output.connection.outages == 1
    assert output.connection.lost_ns == pytest.approx(back_ns - out_ns, rel=0.01)
    assert np.array_equal(cable.wall.bench.drives, output.bench.drives)
    assert cable.closed == cable.opened == 2
    words = [record.getMessage() for record in caplog.records]
    assert words[0].startswith("the serial link has failed: the link has gone")
    assert words[1] == f"the serial link is back after {output.connection.lost_ns / 1e9:.1f} s"
    assert len(words) == 2


def test_while_it_is_out_frames_pass_at_the_pace_of_the_hardware(display, cable):
    with cable.output() as output:
        cable.unplug()
        output.send(pictures(display, 1)[0])
        begin_ns = cable.clock.now_ns()
        for picture in pictures(display, 20):
            output.send(picture)
        took_s = (cable.clock.now_ns() - begin_ns) / 1e9
    assert took_s == pytest.approx(20 * output.link.latency_s, rel=0.15)


def test_a_port_is_tried_ever_more_slowly(display, cable):
    tried = []
    real = cable.open_port

    def counting():
        tried.append(cable.clock.now_ns() / 1e9)
        return real()

    cable.open_port = counting
    with cable.output() as output:
        cable.unplug()
        for _ in range(1_200):
            output.send(pictures(display, 1)[0])
            cable.clock.wait_until(cable.clock.now_ns() + 10_000_000)
    waits = np.diff(tried[1:])
    assert waits[:4] == pytest.approx([0.2, 0.4, 0.8, 1.6], rel=0.05)
    assert waits[4:] == pytest.approx([2.0] * len(waits[4:]), rel=0.05)
    assert len(waits) >= 7


def test_a_board_that_falls_silent_is_an_outage_and_returns(display, cable):
    with cable.output() as output:
        cable.silent = True
        for picture in pictures(display, 4):
            output.send(picture)
        assert output.connection.outages == 1
        assert output.counts.unanswered == CREDIT
        cable.silent = False
        for _ in range(2_000):
            output.send(pictures(display, 1)[0])
            if output.connection.up:
                break
        assert output.connection.up


def test_a_board_that_restarts_is_greeted_until_it_answers(display, cable):
    cable.silent = True
    waits = []
    real = cable.send

    def send(data):
        waits.append(cable.clock.now_ns())
        if len(waits) == 4:  # it has started
            cable.silent = False
        real(data)

    cable.send = send
    with cable.output() as output:
        assert output.connection.up
    assert np.diff(waits) == pytest.approx([500_000_000] * 3, rel=0.01)


class OldHello(Hello):
    """As boards read it that know no hold time: one field, or it is bad."""

    @classmethod
    def parse(cls, fields):
        return Hello(fields[0]) if len(fields) == 1 else None


def test_a_board_that_knows_no_hold_time_is_greeted_all_the_same(display, cable):
    cable.board._decoder = Decoder({**TO_BOARD, Hello.type: OldHello})
    with cable.output() as output:
        output.send(pictures(display, 1)[0])
    assert output.counts.latched == 1
    assert cable.board.status.bad == 1


def silence(cable, seconds, pump=lambda: None):
    """Let time pass, looking at both ends every 20 ms."""
    until_ns = cable.clock.now_ns() + round(seconds * 1e9)
    while cable.clock.now_ns() < until_ns:
        pump()
        cable.carry()
        cable.clock.wait_until(cable.clock.now_ns() + 20_000_000)


def test_a_board_goes_dark_when_its_sender_falls_silent(display, cable):
    output = cable.output()
    output.send(pictures(display, 1)[0])
    silence(cable, 9.9)
    assert cable.wall.bench.drives.any()
    silence(cable, 0.2)
    assert not cable.wall.bench.drives.any()
    silence(cable, 60)
    assert (cable.board.dark, len(cable.wall.bench.frames)) == (1, 2)
    output.send(pictures(display, 1)[0])  # and is lit again as soon as there is a picture
    cable.clock.wait_until(cable.clock.now_ns() + 10**9)
    cable.carry()
    assert cable.wall.bench.drives.any()
    output.close()


@pytest.mark.parametrize("answers", [True, False])
def test_a_picture_that_stands_still_is_kept_by_pumping(display, cable, answers):
    with cable.output(hold=20, answers=answers) as output:
        output.send(pictures(display, 1)[0])
        for _ in range(3):
            silence(cable, 60, output.pump)
            assert cable.wall.bench.drives.any()
        silence(cable, 2.1)
        assert not cable.wall.bench.drives.any()


def test_a_board_told_to_hold_for_ever_keeps_its_picture(display, cable):
    with cable.output(hold=0) as output:
        output.send(pictures(display, 1)[0])
        silence(cable, 100_000 / 50)
        assert cable.wall.bench.drives.any()
        before = cable.board.status
        output.pump()
        silence(cable, 1)
        assert cable.board.status == before


def test_what_is_not_whole_by_the_time_of_darkness_is_dropped(display, cable):
    board = cable.board
    frames = [encode_frame(number, [bytes([9]) * 24, bytes([9]) * 12]) for number in range(2)]
    board.feed(encode(Hello(hold=5)) + frames[0] + frames[1][:45], 0)
    board.feed(frames[1][45:], 600_000_000)
    assert board.dark == 1
    assert board.status == Status(1, 1, 0)
    assert not cable.wall.bench.drives.any()


@pytest.mark.parametrize("text", ["hold=-1", "hold=soon", "hold=2h", "hold=0.01"])
def test_a_hold_time_that_cannot_be_is_refused(display, text):
    with pytest.raises(AddressError, match="Fix:"):
        open_output(f"loop:?answers=no&{text}", display)


def test_the_address_says_the_hold_time(display):
    for text, hold in (("", 100), ("&hold=2.5s", 25), ("&hold=0", 0), ("&hold=2min", 1200)):
        with open_output(f"loop:?answers=no{text}", display) as output:
            looped = output.connection._port._port.read(100)
        assert Decoder(TO_BOARD).feed(looped)[-1] == Hello(hold=hold)


def test_no_board_no_port_and_the_wrong_board_are_clear_errors(display, cable):
    cable.silent = True
    with pytest.raises(LinkError, match=r"no board answers.*\n.*Fix:"):
        cable.output()
    assert 4.9e9 < cable.clock.now_ns() < 5.2e9
    assert cable.closed == cable.opened == 1
    cable.unplug()
    with pytest.raises(LinkError, match="not there"):
        cable.output()

    other = Cable(parse_display(SMALL.replace("lines = 2", "lines = 1"), Path("other.toml")))
    with pytest.raises(LinkError, match=r"LEDs a line \(12,\).*'small' has \(8, 4\)"):
        SerialOutput(display, other.open_port, clock=other.clock)
    assert other.closed == other.opened == 1


def test_lines_the_protocol_cannot_carry_are_refused():
    wide = parse_display(
        '[grid]\ncolumns = 4096\nrows = 6\n[chip]\npart = "WS2812B"\n[wiring]\n', Path("wide.toml")
    )
    with pytest.raises(LinkError, match=r"73728 bytes.*\n.*Fix: share the LEDs"):
        Cable(wide).output()


def test_a_link_without_a_way_back_is_paced_and_not_waited_for(display, cable):
    cable.silent = True
    with cable.output(answers=False) as output:
        begin_ns = cable.clock.now_ns()
        for picture in pictures(display, 10):
            output.send(picture)
        took_s = (cable.clock.now_ns() - begin_ns) / 1e9
        cable.clock.wait_until(cable.clock.now_ns() + 1_000_000_000)
        cable.carry()
    assert took_s == pytest.approx(9 * output.link.latency_s, rel=0.05)
    assert cable.board.status == Status(10, 0, 0)
    assert (output.counts.written, output.counts.unanswered) == (10, 0)


# The board -----------------------------------------------------------------------------------


def answers(cable, data, wait_ns=1_000_000_000):
    now_ns = cable.clock.now_ns()
    cable.board.feed(data, now_ns)
    cable.clock.wait_until(now_ns + wait_ns)
    return Decoder(ANSWERS).feed(cable.board.answers(cable.clock.now_ns()))


def test_the_board_answers_hello_and_ask(display, cable):
    board = answers(cable, encode(Hello()))[0]
    assert (board.version, board.leds, board.chip, board.credit) == (1, (8, 4), "WS2812B", 2)
    data = encode_frame(4, [bytes(24), bytes(12)]) + b"garbage\0" + encode_frame(6, [b"\1", b""])
    found = answers(cable, data + encode(Data(7, 0, 0, b"x")) + encode(Hello()) + encode(Ask()))
    assert found == [Ack(4, 0, CREDIT), Ack(6, 0, CREDIT), board, Status(2, 2, 1)]


def test_answers_take_their_time_on_the_link(display, cable):
    message = encode(Status())
    cable.board.feed(encode(Ask()), 0)
    due_ns = len(message) * 10 * 1_000_000_000 // BAUD
    assert cable.board.answers(due_ns - 1) == b""
    assert cable.board.answers(due_ns) == message


def test_answers_nobody_reads_are_bounded(cable):
    for _ in range(1000):
        cable.board.feed(encode(Ask()), 0)
    assert len(cable.board.answers(1 << 60)) <= 4096
    assert cable.board.answers_lost > 500


def rain_on_a_board(display, count):
    """Random chunks of every kind, cut anywhere: noise, messages, spoiled messages, whole frames.

    Whole frames are numbered as a sender numbers them, so each that is sent whole is latched.
    """
    rng = random.Random(7)
    wall = MemoryOutput(display)
    wall.bench = Bench(display, keep=1)
    board = Board(wall, BAUD)
    held, chunks, now_ns, number = [], 0, 0, 0
    sent = bad = 0
    left = b""
    while chunks < count:
        kind = rng.randrange(4)
        if kind == 0:  # without a 0 inside: one stretch that is hardly ever a message
            left += bytes(rng.randrange(1, 256) for _ in range(rng.randrange(1, 40))) + b"\0"
            bad += 1
        elif kind == 1:
            left += encode(rng.choice([Hello(), Ask(), Data(number, 9, 9, b"x")]))
        elif kind == 2:
            message = bytearray(encode(Data(rng.randrange(65536), 0, 0, bytes(range(1, 20)))))
            message[rng.randrange(2, len(message) - 1)] ^= 1 << rng.randrange(8)
            if 0 not in message[:-1]:
                left += message
                bad += 1
        else:
            left += b"\0" + encode_frame(number, [rng.randbytes(24), rng.randbytes(12)])
            number = (number + 1) % 65536
            sent += 1
        while len(left) > 60:
            cut = rng.randrange(1, 60)
            now_ns += 1_000_000
            board.feed(left[:cut], now_ns)
            board.answers(now_ns)
            left, chunks = left[cut:], chunks + 1
            if chunks == count // 2:
                tracemalloc.start()
                held.append(tracemalloc.get_traced_memory()[0])
    held.append(tracemalloc.get_traced_memory()[0])
    tracemalloc.stop()
    assert held[1] - held[0] < 100_000
    assert board.status.latched == pytest.approx(sent, abs=1)  # the last may be under way
    assert board.status.bad == pytest.approx(bad, abs=2 + count // 20_000)
    assert sent > count / 20
    assert bad > count / 20


@pytest.mark.parametrize("count", [3_000, pytest.param(100_000, marks=pytest.mark.slow)])
def test_random_chunks_to_the_board_cost_no_whole_frame_and_all_are_counted(display, count):
    rain_on_a_board(display, count)


class Show(RuleBasedStateMachine):
    """Any order of sending, unplugging, plugging in, garbage and silence."""

    def __init__(self):
        super().__init__()
        self.display = parse_display(SMALL, Path("small.toml"))
        self.cable = Cable(self.display)
        self.output = self.cable.output()
        self.sends = 0

    @rule(seed=st.integers(0, 9), count=st.integers(1, 5))
    def send(self, seed, count):
        for picture in pictures(self.display, count, seed):
            self.output.send(picture)
            self.sends += 1

    @rule(length_ns=st.integers(0, 3_000_000_000))
    def wait(self, length_ns):
        self.cable.clock.wait_until(self.cable.clock.now_ns() + length_ns)

    @rule(garbage=st.binary(max_size=300))
    def garbage(self, garbage):
        self.cable.send(garbage)

    @precondition(lambda self: self.cable.plugged)
    @rule()
    def unplug(self):
        self.cable.unplug()

    @precondition(lambda self: not self.cable.plugged)
    @rule()
    def plug_in(self):
        self.cable.plugged = True

    @rule(silent=st.booleans())
    def silence(self, silent):
        self.cable.silent = silent

    @invariant()
    def every_frame_is_counted(self):
        counts = self.output.counts
        assert counts.written + counts.not_written == self.sends
        settled = counts.latched + counts.dropped + counts.unanswered
        assert 0 <= counts.written - settled <= CREDIT
        assert self.cable.opened - self.cable.closed in (0, 1)

    def teardown(self):
        self.cable.plugged, self.cable.silent = True, False
        for _ in range(2_000):
            self.output.send(pictures(self.display, 1)[0])
            if self.output.connection.up:
                break
        assert self.output.connection.up, "it always comes back"
        self.output.send(pictures(self.display, 1)[0])
        self.output.close()
        self.cable.clock.wait_until(self.cable.clock.now_ns() + 1_000_000_000)
        self.cable.carry()
        assert np.array_equal(self.cable.wall.bench.drives, self.output.bench.drives)
        assert self.cable.opened == self.cable.closed


TestShow = Show.TestCase
TestShow.settings = settings(stateful_step_count=20)
