"""E1.31 packets against the standard's layout, tshark's dissector and another implementation.

The tables of ANSI E1.31-2018 are typed in here octet by octet (layout, values and clause numbers
from memory of the standard; the tests with tshark and sacn confirm the layout independently).
"""

from __future__ import annotations

import json
import shutil
import socket
import struct
import subprocess
import threading
from pathlib import Path

import numpy as np
import pytest
import sacn
from sacn.messages.data_packet import DataPacket as PeerData
from sacn.messages.data_packet import calculate_multicast_addr
from sacn.messages.sync_packet import SyncPacket as PeerSync
from sacn.messages.universe_discovery import UniverseDiscoveryPacket as PeerDiscovery
from sacn.receiving.receiver_handler import ReceiverHandler, ReceiverHandlerListener
from sacn.receiving.receiver_socket_base import ReceiverSocketBase

from emulator import load_display, open_output
from emulator.ports.e131 import listen_e131
from emulator.ports.e131.discard import Discard
from emulator.ports.e131.packet import DataPacket, DiscoveryPacket, SyncPacket, parse
from emulator.ports.e131.packing import Packing
from emulator.ports.e131.receiver import Receiver
from emulator.ports.e131.sender import Sender
from emulator.ports.e131.setup import group

CID = bytes.fromhex("00112233445566778899aabbccddeeff")
LEVELS = bytes([10, 20, 30, 40, 250, 255])
SENT = DataPacket(
    CID,
    universe=0x1234,
    levels=LEVELS,
    sequence=0xA5,
    priority=150,
    source_name="Küche",
    sync_address=0x2345,
    preview=True,
    terminated=True,
    force_sync=True,
)
SYNC = SyncPacket(CID, address=0x2345, sequence=0xC7)

# ANSI E1.31-2018, table 4-1 (octets of a data packet), with 6 slots: 132 octets in all.
TABLE_4_1 = [
    (0, "00 10"),  # preamble size, 5.1
    (2, "00 00"),  # post-amble size, 5.2
    (4, "41 53 43 2d 45 31 2e 31 37 00 00 00"),  # ACN packet identifier, 5.3
    (16, "70 74"),  # flags and length: 132 − 16 = 116, 5.4
    (18, "00 00 00 04"),  # VECTOR_ROOT_E131_DATA, 5.5
    (22, "00 11 22 33 44 55 66 77 88 99 aa bb cc dd ee ff"),  # CID, 5.6
    (38, "70 5e"),  # flags and length: 132 − 38 = 94, 6.1
    (40, "00 00 00 02"),  # VECTOR_E131_DATA_PACKET, 6.2.1
    (44, "4b c3 bc 63 68 65" + " 00" * 58),  # source name, UTF-8, 64 octets, 6.2.2
    (108, "96"),  # priority 150, 6.2.3
    (109, "23 45"),  # synchronization address, 6.2.4
    (111, "a5"),  # sequence number, 6.2.5
    (112, "e0"),  # preview bit 7, terminated bit 6, force synchronization bit 5, 6.2.6
    (113, "12 34"),  # universe, 6.2.7
    (115, "70 11"),  # flags and length: 132 − 115 = 17, 7.1
    (117, "02"),  # VECTOR_DMP_SET_PROPERTY, 7.2
    (118, "a1"),  # address type and data type, 7.3
    (119, "00 00"),  # first property address, 7.4
    (121, "00 01"),  # address increment, 7.5
    (123, "00 07"),  # property value count: start code and 6 slots, 7.6
    (125, "00"),  # start code, 7.7
    (126, "0a 14 1e 28 fa ff"),  # levels, 7.7
]
# ANSI E1.31-2018, table 4-2 (octets of a synchronization packet): 49 octets in all.
TABLE_4_2 = [
    (0, "00 10 00 00"),
    (4, "41 53 43 2d 45 31 2e 31 37 00 00 00"),
    (16, "70 21"),  # 49 − 16 = 33
    (18, "00 00 00 08"),  # VECTOR_ROOT_E131_EXTENDED, 5.5
    (22, "00 11 22 33 44 55 66 77 88 99 aa bb cc dd ee ff"),
    (38, "70 0b"),  # 49 − 38 = 11
    (40, "00 00 00 01"),  # VECTOR_E131_EXTENDED_SYNCHRONIZATION, 6.3.1
    (44, "c7"),  # sequence number, 6.3.2
    (45, "23 45"),  # synchronization address, 6.3.3
    (47, "00 00"),  # reserved, 6.3.4
]
# ANSI E1.31-2018, table 4-3 (octets of a discovery packet), with 3 universes: 126 octets in all.
TABLE_4_3 = [
    (0, "00 10 00 00"),
    (4, "41 53 43 2d 45 31 2e 31 37 00 00 00"),
    (16, "70 6e"),  # 126 − 16 = 110
    (18, "00 00 00 08"),  # VECTOR_ROOT_E131_EXTENDED, 5.5
    (22, "00 11 22 33 44 55 66 77 88 99 aa bb cc dd ee ff"),
    (38, "70 58"),  # 126 − 38 = 88
    (40, "00 00 00 02"),  # VECTOR_E131_EXTENDED_DISCOVERY, 6.4.1
    (44, "4b c3 bc 63 68 65" + " 00" * 58),  # source name, 6.4.2
    (108, "00 00 00 00"),  # reserved, 6.4.3
    (112, "70 0e"),  # flags and length: 126 − 112 = 14, 8.1
    (114, "00 00 00 01"),  # VECTOR_UNIVERSE_DISCOVERY_UNIVERSE_LIST, 8.2
    (118, "01"),  # page, 8.3
    (119, "02"),  # last page, 8.4
    (120, "00 01 12 34 f9 ff"),  # universes 1, 4660 and 63999, 8.5
]
FOUND = DiscoveryPacket(CID, "Küche", (1, 0x1234, 63_999), page=1, last_page=2)


@pytest.mark.parametrize(
    ("packet", "table", "size", "read"),
    [
        (SENT, TABLE_4_1, 132, SENT),
        (SYNC, TABLE_4_2, 49, SYNC),
        (FOUND, TABLE_4_3, 126, Discard.DISCOVERY),
    ],
)
def test_a_packet_is_the_standards_table(packet, table, size, read):
    payload = packet.encode()
    end = 0
    for octet, text in table:
        assert octet == end, "the table leaves no octet out"
        wanted = bytes.fromhex(text)
        end = octet + len(wanted)
        assert payload[octet:end] == wanted, f"octet {octet}"
    assert len(payload) == end == size
    assert parse(payload) == read


def test_the_longest_packet_has_638_octets():
    """ANSI E1.31-2018, table 4-1: octets 0 to 637 with all 512 slots."""
    assert len(DataPacket(CID, 1, bytes(512)).encode()) == 638


@pytest.mark.parametrize(
    ("universe", "address"), [(1, "239.255.0.1"), (258, "239.255.1.2"), (63999, "239.255.249.255")]
)
def test_a_universes_group_holds_its_number(universe, address):
    """ANSI E1.31-2018, 9.3.1: 239.255.UHB.ULB."""
    assert group(universe) == address == calculate_multicast_addr(universe)


# tshark: Wireshark's dissector, written independently of this project.


def pcap(payloads: list[bytes]) -> bytes:
    """A capture file (libpcap 2.4, LINKTYPE_IPV4) of UDP datagrams to port 5568."""
    out = struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, 228)
    for second, payload in enumerate(payloads):
        udp = struct.pack("!HHHH", 40000, 5568, 8 + len(payload), 0) + payload
        hosts = socket.inet_aton("127.0.0.1"), socket.inet_aton("239.255.0.1")
        head = struct.pack("!BBHHHBBH4s4s", 0x45, 0, 20 + len(udp), 0, 0, 64, 17, 0, *hosts)
        size = len(head) + len(udp)
        out += struct.pack("<IIII", second, 0, size, size) + head + udp
    return out


def dissect(path: Path) -> list[dict[str, list[str]]]:
    """What tshark says of each datagram in a capture: ACN field → values."""
    of_dmx = "source_name priority reserved seq_number options universe increment count data"
    fields = ["cid", "protocol_id", "dmx_vector", "pdu.length", "dmp_vector"]
    fields += [f"dmx.{name}" for name in of_dmx.split()]
    command = ["tshark", "-r", str(path), "--enable-heuristic", "acn", "-T", "json"]
    command += ["-o", "acn.dmx_enable:TRUE", "-o", "acn.dmx_display_zeros:TRUE"]
    command += [part for field in fields for part in ("-e", f"acn.{field}")]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True)
    return [packet["_source"]["layers"] for packet in json.loads(done.stdout)]


@pytest.mark.skipif(
    shutil.which("tshark") is None,
    reason="tshark is not installed (Debian: apt-get install tshark); .ci/run installs it",
)
def test_tshark_reads_the_frames_of_a_sender(tmp_path):
    """Debian tshark 4.0: it knows data packets (and calls the synchronization address reserved),

    but not synchronization packets; for those see the tests with sacn.
    """
    packing = Packing(200, "RGB", "RGB", first_universe=300)
    sender = Sender(packing, CID, "foyer wall", priority=150, sync_address=7962)
    drives = np.full((200, 3), [1, 2, 250], dtype=np.uint8)
    frames = [sender.frame(drives) for _ in range(2)]
    payloads = [d.payload for frame in frames for d in frame[:-1]] + [sender.end()[0].payload]
    capture = tmp_path / "e131.pcap"
    capture.write_bytes(pcap(payloads))
    packets = dissect(capture)
    assert len(packets) == 5
    for packet in packets:
        assert packet["acn.cid"] == ["00112233-4455-6677-8899-aabbccddeeff"]
        assert packet["acn.protocol_id"] == ["4"]
        assert packet["acn.dmx_vector"] == ["2"]
        assert packet["acn.dmx.source_name"] == ["foyer wall"]
        assert packet["acn.dmx.priority"] == ["150"]
        assert packet["acn.dmx.reserved"] == ["7962"]
        assert packet["acn.dmp_vector"] == ["2"]
        assert packet["acn.dmx.increment"] == ["1"]
    assert [p["acn.dmx.universe"] for p in packets] == [["300"], ["301"], ["300"], ["301"], ["300"]]
    assert [p["acn.dmx.seq_number"] for p in packets] == [["0"], ["0"], ["1"], ["1"], ["2"]]
    assert [p["acn.dmx.options"] for p in packets] == [["0"]] * 4 + [["64"]]
    # 170 LEDs are 510 slots, and 30 are 90; the start code is counted too.
    assert [p["acn.dmx.count"] for p in packets] == [["511"], ["91"], ["511"], ["91"], ["511"]]
    lengths = [[str(126 + slots - layer) for layer in (16, 38, 115)] for slots in (510, 90)]
    assert [p["acn.pdu.length"] for p in packets[:2]] == lengths


# sacn (PyPI), another implementation of the same standard.


def test_our_packets_are_the_peers_packets_byte_by_byte():
    levels = bytes(range(256)) * 2
    ours = DataPacket(CID, 77, levels, 9, 120, "Küche", 78, True, True, True).encode()
    peer = PeerData(
        tuple(CID), "Küche", 77, tuple(levels), 120, 9, True, True, True, sync_universe=78
    )
    assert ours == bytes(peer.getBytes())
    assert SYNC.encode() == bytes(PeerSync(tuple(CID), 0x2345, 0xC7).getBytes())
    listed = PeerDiscovery(tuple(CID), "Küche", FOUND.universes, 1, 2)
    assert FOUND.encode() == bytes(listed.getBytes())


def test_the_peer_reads_what_we_send():
    peer = PeerData.make_data_packet(list(SENT.encode()))
    assert (peer.universe, peer.sequence, peer.priority) == (0x1234, 0xA5, 150)
    assert (peer.sourceName, peer.syncAddr, bytes(peer.cid)) == ("Küche", 0x2345, CID)
    assert (peer.option_PreviewData, peer.option_StreamTerminated) == (True, True)
    assert bytes(peer.dmxData[:6]) == LEVELS


class PeerListener(ReceiverHandlerListener):
    """Keeps what the peer's receiver hears."""

    def __init__(self) -> None:
        self.levels: dict[int, bytes] = {}
        self.available: list[tuple[int, str]] = []

    def on_availability_change(self, universe: int, changed: str) -> None:
        self.available.append((universe, changed))

    def on_dmx_data_change(self, packet: PeerData) -> None:
        self.levels[packet.universe] = bytes(packet.dmxData)


def test_the_peers_receiver_follows_our_sender_to_the_end_of_its_stream():
    packing = Packing(171, "RGB", "RGB", first_universe=5)
    sender = Sender(packing, CID, "foyer", sync_address=0)
    heard = PeerListener()
    peer = ReceiverHandler("127.0.0.1", 0, heard, ReceiverSocketBase(None))
    rng = np.random.default_rng(31)
    for number in range(300):  # past the wrap of the sequence number
        drives = rng.integers(0, 256, (171, 3), dtype=np.uint8)
        for datagram in sender.frame(drives):
            peer.on_data(list(datagram.payload), number / 30)
        got = heard.levels[5][:510] + heard.levels[6][:3]
        assert got == drives.tobytes(), f"frame {number}"
    for datagram in sender.end():
        peer.on_data(list(datagram.payload), 10.0)
    assert heard.available[:2] == [(5, "available"), (6, "available")]
    assert {universe for universe, what in heard.available if what == "timeout"} == {5, 6}


def free_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


TURNS = 1000  # of 20 to 50 ms: how long a test waits for its peer before it fails


def test_the_peer_hears_our_output_on_loopback():
    display, port = load_display("banner"), free_port()
    peer = sacn.sACNreceiver(bind_address="127.0.0.1", bind_port=port)
    heard = {universe: threading.Event() for universe in (3, 4, 5)}
    levels: dict[int, bytes] = {}

    def hear(packet: PeerData) -> None:
        levels[packet.universe] = bytes(packet.dmxData)
        heard[packet.universe].set()

    for universe in heard:
        peer.register_listener("universe", hear, universe=universe)
    picture = np.random.default_rng(7).integers(0, 256, display.picture_shape, dtype=np.uint8)
    peer.start()
    try:
        with open_output(f"e131://127.0.0.1:{port}?universe=3", display) as output:
            for _ in range(TURNS):
                output.send(picture)
                if all(event.wait(0.05) for event in heard.values()):
                    break
    finally:
        peer.stop()
    assert b"".join(levels[universe] for universe in (3, 4, 5)) == output.bench.drives.tobytes()


def test_our_listener_hears_the_peer_on_loopback(monkeypatch):
    display, port = load_display("banner"), free_port()
    monkeypatch.setattr("sacn.sending.sender_socket_udp.DEFAULT_PORT", port)
    out, turns = open_output("memory:", display), iter(range(TURNS))
    levels = np.random.default_rng(8).integers(0, 256, (3, 512), dtype=np.uint8)
    peer = sacn.sACNsender(bind_address="127.0.0.1", universeDiscovery=False)
    for universe, part in enumerate(levels.tolist(), 3):
        peer.activate_output(universe)
        peer[universe].destination = "127.0.0.1"
        peer[universe].dmx_data = tuple(part)

    def until() -> bool:
        shown = out.bench.drives.reshape(levels.shape)
        return np.array_equal(shown, levels) or next(turns, None) is None

    peer.start()
    try:
        tally = listen_e131(out, f"e131://127.0.0.1:{port}?universe=3", until=until)
    finally:
        peer.stop()
    assert np.array_equal(out.bench.drives.reshape(levels.shape), levels)
    assert tally.discards.total() == 0


def test_our_receiver_follows_the_peers_packets():
    packing = Packing(171, "RGB", "RGB", first_universe=5)
    receiver = Receiver(packing)
    rng = np.random.default_rng(32)
    for number in range(300):
        drives = rng.integers(0, 256, (171, 3), dtype=np.uint8)
        flat, now_ns = tuple(drives.ravel().tolist()), number * 33_000_000
        for universe, part in ((5, flat[:510]), (6, flat[510:])):
            peer = PeerData(tuple(CID), "peer", universe, part, sequence=number % 256)
            peer.syncAddr = 9
            assert receiver.receive(bytes(peer.getBytes()), now_ns) == []
        sync = PeerSync(tuple(CID), 9, number % 256)
        [frame] = receiver.receive(bytes(sync.getBytes()), now_ns)
        assert np.array_equal(frame, drives)
    assert receiver.tally.used == receiver.tally.received == 900
