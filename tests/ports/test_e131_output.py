"""Sending: addresses, frames over universes, the end of the stream, and what the link carries."""

from __future__ import annotations

import socket
from dataclasses import replace

import numpy as np
import pytest
from sacn.messages.universe_discovery import UniverseDiscoveryPacket

from emulator import SimulatedClock, load_display, open_output
from emulator.errors import FrameError, OutOfRangeError, OutputClosedError, UnknownNameError
from emulator.ports.address import Address, AddressError
from emulator.ports.e131 import E131Output
from emulator.ports.e131.discard import Discard
from emulator.ports.e131.packet import DataPacket, SyncPacket, parse
from emulator.ports.e131.packing import Packing
from emulator.ports.e131.receiver import Receiver
from emulator.ports.e131.sender import Sender
from emulator.ports.e131.setup import read_setup

CID = bytes(range(16))
FOYER = load_display("foyer")
SIGN = load_display("sign")


def setup_of(text, display=FOYER):
    return read_setup(Address.parse(text), display)


class Wire:
    """Stands in for the socket of an output: keeps what it sends."""

    def __init__(self, output: E131Output) -> None:
        self.payloads: list[tuple[tuple[str, int], bytes]] = []
        self.sent: list[tuple[tuple[str, int], DataPacket | SyncPacket]] = []
        self.refuse = self.closed = False
        output._socket.close()
        output._socket = self

    def sendto(self, payload, destination):
        if self.refuse:
            raise OSError(101, "Network is unreachable")
        self.payloads.append((destination, payload))
        packet = parse(payload)
        if packet is not Discard.DISCOVERY:
            self.sent.append((destination, packet))

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.closed = True


def output_on_wire(text="e131:", display=FOYER):
    clock = SimulatedClock()
    output = E131Output(display, setup_of(text, display), clock)
    return output, Wire(output), clock


# Addresses.


def test_the_address_says_it_all():
    setup = setup_of(
        "e131://192.168.1.20:6000?universe=5&packing=continuous&order=bgr&priority=7&name=wall"
        "&sync=9&rate=60&interface=192.168.1.2"
    )
    packing = Packing(716, "RGB", "BGR", 5, "continuous")
    assert setup.packing == packing
    assert (setup.host, setup.port, setup.interface) == ("192.168.1.20", 6000, "192.168.1.2")
    assert (setup.priority, setup.source_name, setup.sync_address, setup.rate) == (7, "wall", 9, 60)
    assert setup.destination(6) == ("192.168.1.20", 6000)


def test_nothing_leaves_this_machine_unless_asked():
    setup = setup_of("e131:")
    assert setup.destination(1) == ("127.0.0.1", 5568)
    assert setup.packing == Packing(716, "RGB", "RGB", 1, "whole")


def test_a_group_is_that_of_the_first_universe():
    """ANSI E1.31-2018, 9.3.1: universe 258 is 1·256 + 2."""
    setup = setup_of("e131://239.255.1.2")
    assert setup.packing.first_universe == 258
    assert setup.destination(260) == ("239.255.1.4", 5568)


@pytest.mark.parametrize(
    "text",
    [
        "e131://127.0.0.1?universe=0",
        "e131://127.0.0.1?universe=64000",
        "e131://127.0.0.1?universe=63998",  # five universes do not fit
        "e131://239.255.0.1?universe=2",
        "e131://239.255.0.0",
        "e131://239.255.250.0",
        "e131://239.1.0.1",
        "e131://127.0.0.1?packing=loose",
        "e131://127.0.0.1?order=RGBW",
        "e131://127.0.0.1?priority=201",
        "e131://127.0.0.1?sync=64000",
        "e131://127.0.0.1?rate=0",
        "e131://127.0.0.1?universes=1",
        "e131://127.0.0.1:0",
        "e131://127.0.0.1:port",
        "e131://127.0.0.1?interface=..",
        "e131://..",
        "e131://239.255.0.1?interface=203.0.113.9",  # RFC 5737: no machine has this address
        "e131://127.0.0.1?name=" + "x" * 64,
    ],
)
def test_a_wrong_address_says_how_to_mend_it(text):
    with pytest.raises(AddressError, match="Fix") as caught:
        open_output(text, FOYER)
    assert text in str(caught.value)


@pytest.mark.parametrize("text", ["serial:x", "0.0.0.0", "239.255.0.1:5568"])
def test_what_is_no_e131_address_is_not_listened_on(text):
    """It would stay on this machine, and nobody would know why nothing arrives."""
    with pytest.raises(AddressError, match="write e131:"):
        setup_of(text)


def test_a_near_miss_is_named():
    with pytest.raises(AddressError, match="did you mean 'universe'"):
        setup_of("e131://127.0.0.1?univers=1")
    with pytest.raises(UnknownNameError):
        open_output("e132:", FOYER)


# Frames.


def test_a_frame_is_a_packet_a_universe_and_then_synchronization():
    output, wire, _ = output_on_wire("e131://239.255.0.9?name=wall&priority=120")
    rng = np.random.default_rng(3)
    for number in range(2):
        wire.sent.clear()
        output.send(rng.integers(0, 256, FOYER.picture_shape, dtype=np.uint8))
        *data, (sync_to, sync) = wire.sent
        assert [to for to, _ in data] == [(f"239.255.0.{u}", 5568) for u in range(9, 14)]
        assert sync_to == ("239.255.0.9", 5568)
        assert sync == SyncPacket(output.sender.cid, 9, number)
        flat = output.bench.drives.tobytes()
        for universe, (_, packet) in enumerate(data):
            levels = flat[universe * 510 : universe * 510 + 510]
            assert packet == DataPacket(
                output.sender.cid, 9 + universe, levels, number, 120, "wall", sync_address=9
            )


def test_one_universe_needs_no_synchronization():
    output, wire, _ = output_on_wire(display=SIGN)
    output.send(np.zeros(SIGN.picture_shape, dtype=np.uint8))
    assert [packet.sync_address for _, packet in wire.sent] == [0]


def test_leds_that_get_no_bytes_keep_their_levels():
    output, wire, _ = output_on_wire()
    output.send_frame(bytes([7]) * 716 * 3)
    wire.sent.clear()
    output.send_frame([b"\x09\x0a\x0b", b""])
    levels = b"".join(packet.levels for _, packet in wire.sent[:-1])
    assert levels == b"\x0a\x09\x0b" + bytes([7]) * 715 * 3  # the wire is GRB
    assert levels == output.bench.drives.tobytes()


def test_close_ends_every_stream_three_times():
    """ANSI E1.31-2018, 6.2.6."""
    output, wire, _ = output_on_wire()
    output.send(np.zeros(FOYER.picture_shape, dtype=np.uint8))
    wire.sent.clear()
    output.close()
    output.close()
    packets = [packet for _, packet in wire.sent]
    assert wire.closed
    assert all(packet.terminated for packet in packets)
    assert [p.universe for p in packets] == [1, 2, 3, 4, 5] * 3
    assert [p.sequence for p in packets] == [n for n in (1, 2, 3) for _ in range(5)]
    with pytest.raises(OutputClosedError):
        output.send(np.zeros(FOYER.picture_shape, dtype=np.uint8))


def test_a_stream_that_never_began_need_not_end():
    output, wire, _ = output_on_wire()
    output.close()
    assert wire.closed
    assert wire.sent == []


# A picture that does not change.


def pumped(output, clock, seconds, wire, receiver=None):
    """Pump every 20 ms for so long; a receiver at the other end takes what comes."""
    begin_ns, sent = clock.now_ns(), len(wire.payloads)
    times_ms = []
    while clock.now_ns() < begin_ns + seconds * 1e9:
        output.pump()
        for _, payload in wire.payloads[sent:]:
            times_ms.append((clock.now_ns() - begin_ns) / 1e6)
            if receiver is not None:
                receiver.receive(payload, clock.now_ns())
        sent = len(wire.payloads)
        clock.wait_until(clock.now_ns() + 20_000_000)
        if receiver is not None:
            receiver.advance(clock.now_ns())
    return times_ms


def test_a_still_picture_is_sent_three_times_and_then_every_800_to_1000_ms():
    """ANSI E1.31-2018, 6.6.2 (from memory)."""
    output, wire, clock = output_on_wire(display=SIGN)
    output.send(np.full(SIGN.picture_shape, 9, dtype=np.uint8))
    times_ms = pumped(output, clock, 5, wire)
    gaps = np.diff([0, *times_ms])
    assert (gaps[:2] < 800).all()
    assert ((gaps[2:] >= 800) & (gaps[2:] <= 1000)).all()
    assert len(gaps) == 7
    packets = [packet for _, packet in wire.sent]
    assert {packet.levels for packet in packets} == {packets[0].levels}
    assert [packet.sequence for packet in packets] == [*range(8)]


@pytest.mark.parametrize(("pumping", "losses"), [(True, 0), (False, 5)])
def test_a_receiver_keeps_a_stream_that_is_pumped_over_ten_seconds(pumping, losses):
    """ANSI E1.31-2018, 6.7.1: a source is lost after 2.5 s; the foyer has five universes."""
    output, wire, clock = output_on_wire()
    receiver = Receiver(output.setup.packing)
    output.send(np.full(FOYER.picture_shape, 9, dtype=np.uint8))
    for _, payload in wire.payloads:
        receiver.receive(payload, clock.now_ns())
    if pumping:
        assert len(pumped(output, clock, 10, wire, receiver)) == 6 * len(range(12))
    else:
        receiver.advance(clock.now_ns() + 10_000_000_000)
    assert receiver.tally.losses == losses
    assert receiver.tally.discards.total() == 0
    assert receiver.tally.incomplete == 0


def test_pumping_is_in_no_frames_way():
    output, wire, clock = output_on_wire("e131://127.0.0.1?rate=40", SIGN)
    for number in range(40):
        clock.wait_until(number * 100_000_000)
        output.send(np.full(SIGN.picture_shape, number, dtype=np.uint8))
        for _ in range(4):
            clock.wait_until(clock.now_ns() + 20_000_000)
            output.pump()
    assert len(wire.sent) == 40


def test_before_a_frame_and_after_the_end_there_is_nothing_to_repeat():
    output, wire, clock = output_on_wire()
    assert pumped(output, clock, 3, wire) == []
    output.send(np.zeros(FOYER.picture_shape, dtype=np.uint8))
    output.close()
    assert pumped(output, clock, 3, wire) == []


def discoveries(wire):
    return [(to, data) for to, data in wire.payloads if parse(data) is Discard.DISCOVERY]


def test_by_multicast_a_source_tells_its_universes_every_ten_seconds():
    """ANSI E1.31-2018, 4.3 and appendix A (from memory): to universe 64214, 250·256 + 214."""
    output, wire, clock = output_on_wire("e131://239.255.0.9?name=wall&sync=7")
    output.send(np.zeros(FOYER.picture_shape, dtype=np.uint8))
    assert len(discoveries(wire)) == 1
    pumped(output, clock, 25, wire)
    assert len(discoveries(wire)) == 3
    for to, data in discoveries(wire):
        assert to == ("239.255.250.214", 5568)
        peer = UniverseDiscoveryPacket.make_universe_discovery_packet(list(data))
        assert peer.universes == (7, 9, 10, 11, 12, 13)
        assert peer.sourceName == "wall"


def test_to_one_receiver_nothing_is_told_to_all():
    output, wire, clock = output_on_wire("e131://192.168.1.20")
    output.send(np.zeros(FOYER.picture_shape, dtype=np.uint8))
    pumped(output, clock, 12, wire)
    assert discoveries(wire) == []
    assert {to for to, _ in wire.payloads} == {("192.168.1.20", 5568)}


def test_many_universes_are_told_in_pages():
    sender = Sender(Packing(170 * 1025, "RGB", "RGB", 3), CID, "wall", sync_address=3)
    found = [
        UniverseDiscoveryPacket.make_universe_discovery_packet(list(datagram.payload))
        for datagram in sender.discovery()
    ]
    assert [(peer.page, peer.lastPage, len(peer.universes)) for peer in found] == [
        (0, 2, 512),
        (1, 2, 512),
        (2, 2, 1),
    ]
    assert [u for peer in found for u in peer.universes] == [*range(3, 3 + 1025)]


def test_a_network_that_is_down_loses_frames_and_counts_them():
    output, wire, _ = output_on_wire()
    wire.refuse = True
    output.send(np.zeros(FOYER.picture_shape, dtype=np.uint8))
    assert output.lost == 6
    wire.refuse = False
    output.send(np.zeros(FOYER.picture_shape, dtype=np.uint8))
    assert output.lost == 6
    assert len(wire.sent) == 6


def test_bytes_that_are_none_are_an_error_before_anything_is_sent():
    output, wire, _ = output_on_wire()
    with pytest.raises(FrameError):
        output.send_frame([1.5, 2.5])
    assert wire.sent == []


def test_opening_by_address_sends_through_a_real_socket():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        sock.settimeout(60)
        with open_output(f"e131://127.0.0.1:{sock.getsockname()[1]}", SIGN) as output:
            output.send(np.full(SIGN.picture_shape, 255, dtype=np.uint8))
            packet = parse(sock.recv(2048))
        assert isinstance(packet, DataPacket)
        assert packet.levels == bytes([255, 255, 255, 31]) * 128
        assert parse(sock.recv(2048)).terminated


@pytest.mark.parametrize(
    "options",
    [{"priority": 201}, {"priority": -1}, {"source_name": "x" * 64}, {"sync_address": 64000}],
)
def test_a_sender_judges_its_options(options):
    arguments = {"cid": CID, "source_name": "wall"} | options
    with pytest.raises(OutOfRangeError, match="Fix"):
        Sender(Packing(1, "RGB", "RGB"), **arguments)


def test_sequence_numbers_wrap():
    sender = Sender(Packing(1, "RGB", "RGB"), CID, "wall", sync_address=9)
    dark = np.zeros((1, 3), np.uint8)
    pairs = [[parse(d.payload).sequence for d in sender.frame(dark)] for _ in range(258)]
    assert pairs == [[n % 256, n % 256] for n in range(258)]


# The link.


def transport_of(text: str, packing: Packing):
    with E131Output(FOYER, replace(setup_of(text), packing=packing), SimulatedClock()) as output:
        return output.transport


def test_a_universe_is_refreshed_as_often_as_a_dmx512_line_could_be():
    """ANSI E1.31-2018, 6.6.1 with E1.11 timing (from memory): break 92 µs, mark 12 µs and 513

    slots of 44 µs are 22.676 ms, or 44.1 frames/s.
    """
    transport = transport_of("e131:", Packing(716, "RGB", "RGB", 1, "continuous"))
    assert transport.frames_per_s == pytest.approx(1 / 22.676e-3)
    assert "6.6.1" in transport.words


def test_a_few_slots_are_refreshed_every_1204_us():
    """ANSI E1.11 (from memory): the least time from break to break, 830 frames/s."""
    transport = transport_of("e131:", Packing(1, "RGB", "RGB"))
    assert transport.frames_per_s == pytest.approx(1e6 / 1204)


def test_the_network_is_the_limit_for_many_universes():
    """By hand: 100 universes of 510 slots are 636 + 66 bytes each, and 49 + 66 bytes more, at

    100 Mbit/s (IEEE 802.3: 38 bytes around each IP packet).
    """
    transport = transport_of("e131://127.0.0.1?rate=1000", Packing(17000, "RGB", "RGB"))
    assert transport.frames_per_s == pytest.approx(100e6 / 8 / (100 * 702 + 115))
    assert transport.latency_s == pytest.approx((100 * 702 + 115) * 8 / 100e6)
    assert "100 Mbit/s" in transport.words


@pytest.mark.parametrize(("rate", "frames_per_s"), [("", 44.3), ("?rate=20", 20), ("?rate=60", 60)])
def test_send_paces_the_frames(rate, frames_per_s):
    output, _, clock = output_on_wire(f"e131://127.0.0.1{rate}")
    assert output.link.frames_per_s == pytest.approx(frames_per_s, rel=1e-3)
    for _ in range(11):
        output.send(np.zeros(FOYER.picture_shape, dtype=np.uint8))
    assert clock.now_ns() == pytest.approx(10e9 / frames_per_s, rel=1e-3)


def test_a_rate_the_standard_does_not_allow_is_a_finding_with_a_mend():
    shortfall = output_on_wire()[0].link.shortfall(60)
    assert shortfall is not None
    assert "rate=" in shortfall
    assert output_on_wire("e131://127.0.0.1?rate=60")[0].link.shortfall(60) is None
