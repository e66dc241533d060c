"""Listening: what comes onto the wall, when, and through real sockets of this machine."""

from __future__ import annotations

import re
import socket
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import emulator
from emulator import SimulatedClock, load_display, open_output, parse_display
from emulator.canvas import to_wire
from emulator.errors import OutputClosedError
from emulator.ports.address import Address, AddressError
from emulator.ports.e131 import E131Output, listen_e131
from emulator.ports.e131 import intake as intake_module
from emulator.ports.e131.discard import Discard
from emulator.ports.e131.intake import Intake
from emulator.ports.e131.listen import Player
from emulator.ports.e131.packet import DataPacket
from emulator.ports.e131.packing import Packing
from emulator.ports.e131.receiver import Tally
from emulator.ports.e131.sender import Sender
from emulator.ports.e131.setup import _OPTIONS, read_setup
from emulator.ports.memory import MemoryOutput

CID = bytes(16)
MS = 1_000_000
DISPLAYS = ["foyer", "banner", "sign"]
WIDE = '[grid]\ncolumns = 100\nrows = 100\n[chip]\npart = "SK6812-RGBW"\n[wiring]\n'


def setup_of(display, text="e131:"):
    return read_setup(Address.parse(text), display)


def payloads(sender, drives):
    return [datagram.payload for datagram in sender.frame(drives)]


def drives_of(display, seed=0):
    shape = display.leds, len(display.chip.channels)
    return np.random.default_rng(seed).integers(0, 32, shape, dtype=np.uint8)


def free_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        # 716 LEDs, 170 of three bytes in 512 slots: 5 universes; continuous 2148 / 512: 5 as well
        (
            "foyer",
            "e131:?universe=3",
            "E1.31 on 127.0.0.1:5568, universes 3 to 7 (170 LEDs each), RGB, synchronized where",
        ),
        (
            "foyer",
            "e131:?packing=continuous&order=GRB",
            "E1.31 on 127.0.0.1:5568, universes 1 to 5 (512 slots each), GRB, synchronized where",
        ),
        # 9.3.1: the group of universe n is 239.255.high.low
        (
            "foyer",
            "e131://239.255.0.254?sync=9",
            "E1.31 on multicast 239.255.0.254 to 239.255.1.2, port 5568, universes 254 to 258"
            " (170 LEDs each), RGB, synchronized by a universe heard, or 9 where",
        ),
        (
            "sign",
            "e131://239.255.0.7",
            "E1.31 on multicast 239.255.0.7, port 5568, universe 7, RGBI, synchronized by",
        ),
    ],
)
def test_what_is_heard_is_told(name, text, words):
    assert setup_of(load_display(name), text).heard.startswith(words)


def test_every_option_is_in_the_table_for_users_and_its_examples_are_understood():
    page = (Path(emulator.__file__).parent / "ports/e131/README.md").read_text()
    examples = re.findall(r"^\| `(\w+=\S+)` \|", page, re.M)
    assert {example.partition("=")[0] for example in examples} == set(_OPTIONS)
    for example in examples:
        setup_of(load_display("foyer"), f"e131:?{example}")


class Rig:
    """A player on a memory output and a sender to it, on one simulated time."""

    def __init__(self, name="foyer", **options) -> None:
        self.display = load_display(name)
        self.out = open_output("memory:", self.display)
        setup = setup_of(self.display)
        self.player = Player(self.out, setup, **options)
        self.sender = Sender(setup.packing, CID, "test")

    def send(self, drives, now_ns):
        self.player.take(payloads(self.sender, drives), now_ns)

    def run(self, until_ns):
        """Let time pass, waking when the player asks to."""
        now_ns = -1
        while (next_ns := self.player.next_ns) is not None and next_ns < until_ns:
            assert next_ns > now_ns, "what was due has not been done"
            now_ns = next_ns
            self.player.take([], now_ns)
        self.player.take([], until_ns)


@pytest.mark.parametrize("name", DISPLAYS)
def test_the_wall_shows_what_was_sent_at_the_time_it_came(name):
    rig = Rig(name)
    drives = [drives_of(rig.display, seed) for seed in range(3)]
    for number, frame in enumerate(drives):
        rig.send(frame, (5 + number * 40) * MS)
    assert np.array_equal(rig.out.bench.frames, np.stack(drives))
    starts = rig.out.bench.recorder.times_ns - rig.out.bench.recorder.times_ns[0]
    assert np.abs(starts - [0, 40 * MS, 80 * MS]).max() < MS  # a WS2812B-V5 bit's length varies


def test_of_frames_that_come_while_the_wire_is_busy_the_newest_is_shown():
    rig = Rig()
    drives = [drives_of(rig.display, seed) for seed in range(4)]
    rig.send(drives[0], 0)  # takes some 11 ms on the wire
    for number in (1, 2, 3):
        rig.send(drives[number], number * MS)
    assert rig.player.next_ns > 3 * MS
    rig.run(50 * MS)
    assert np.array_equal(rig.out.bench.frames, np.stack([drives[0], drives[3]]))
    assert rig.player.tally.superseded == 2


def test_a_scene_plays_while_there_is_no_source():
    asked = []

    def scene(time_s):
        asked.append(time_s)
        return np.full((20, 36, 3), 255, dtype=np.uint8)

    rig = Rig(on_loss=scene)
    frame = drives_of(rig.display)
    rig.run(5000 * MS)
    assert asked == []  # nothing has been lost yet
    rig.send(frame, 5000 * MS)
    rig.run(7499 * MS)
    assert asked == []
    rig.run(8500 * MS)
    assert asked[0] == 0
    assert len(asked) == pytest.approx(30, abs=2)  # foyer.toml: 30 frames/s
    assert rig.out.bench.drives.max() == 255
    rig.send(frame, 8600 * MS)
    rig.run(8700 * MS)
    assert np.array_equal(rig.out.bench.drives, frame)


@pytest.mark.parametrize(("on_loss", "most"), [("hold", 31), ("dark", 0)])
def test_the_wall_holds_or_goes_dark(on_loss, most):
    rig = Rig(on_loss=on_loss)
    rig.send(drives_of(rig.display), 0)
    rig.run(4000 * MS)
    assert rig.out.bench.drives.max() == most


# Through the sockets of this machine: a test ends when what it sent has come, or after so many
# turns of waiting; it never waits for a time.
TURNS = 2000


def listen_while_sending(display, address, frames, **options):
    """What a listener in this thread shows of frames that an output sends to it."""
    out = open_output("memory:", display)
    waiting, turns = list(frames), iter(range(TURNS))
    sending = E131Output(display, setup_of(display, address), SimulatedClock())

    def idle():
        if waiting:
            sending.send_frame(waiting.pop(0))

    def until():
        return len(out.bench.frames) >= len(frames) or next(turns, None) is None

    with sending:
        tally = listen_e131(out, address, idle=idle, until=until, **options)
    return out, sending, tally


@pytest.mark.parametrize("place", ["127.0.0.1", "239.255.0.1"])
@pytest.mark.parametrize("name", DISPLAYS)
def test_an_output_reaches_a_listener(name, place):
    display = load_display(name)
    address = f"e131://{place}:{free_port()}?interface=127.0.0.1&packing=continuous"
    drives = np.stack([drives_of(display, seed) for seed in (5, 6)])
    frames = [to_wire(frame, display) for frame in drives]
    out, sending, tally = listen_while_sending(display, address, frames)
    assert np.array_equal(out.bench.frames, drives)
    assert np.array_equal(sending.bench.drives, drives[-1])  # the twin shows the same
    assert tally.used == tally.received
    assert sending.lost == 0


def test_more_universes_than_a_socket_may_join():
    """Linux: net.ipv4.igmp_max_memberships is 20 by default."""
    display = load_display("foyer")
    setup = setup_of(display, f"e131://239.255.9.0:{free_port()}?interface=127.0.0.1")
    packing = Packing(170 * 50, "RGB", "RGB", setup.packing.first_universe)
    with Intake(replace(setup, packing=packing), Address.parse("e131:")) as intake:
        sender = Sender(packing, CID, "many", sync_address=0)
        sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        with sock:
            own = socket.inet_aton("127.0.0.1")
            sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, own)
            sent = sender.frame(np.zeros((packing.leds, 3), np.uint8))
            for universe, payload in sent:
                sock.sendto(payload, setup.destination(universe))
        got: list[bytes] = []
        for _ in range(TURNS):
            got += intake.receive(0.02)
            if len(got) == len(sent):
                break
        assert got == [payload for _, payload in sent]  # in the order they were sent


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere the system chooses")
@pytest.mark.parametrize(("index", "heard"), [(None, True), (1_000_000, False)])
def test_multicast_that_comes_in_by_another_interface_is_passed_over(monkeypatch, index, heard):
    """Another program has joined the group on the loopback interface; it is asked for, or not."""
    found = index or intake_module._index_of("127.0.0.1")
    monkeypatch.setattr(intake_module, "_index_of", lambda address: found)
    display = load_display("sign")
    setup = setup_of(display, f"e131://239.255.0.1:{free_port()}?interface=127.0.0.1")
    own = socket.inet_aton("127.0.0.1")
    with (
        Intake(setup, Address.parse("e131:")) as listening,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock,
    ):
        sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, own)
        for _ in range(3):
            sock.sendto(b"hello", setup.destination(1))
        got = [datagram for _ in range(10) for datagram in listening.receive(0.02)]
    assert got == [b"hello"] * 3 * heard


def test_an_interface_that_the_machine_does_not_have_is_told():
    display = load_display("sign")
    setup = setup_of(display, f"e131://239.255.0.1:{free_port()}?interface=203.0.113.9")
    with pytest.raises(AddressError, match=r"239\.255\.0\.1"):
        Intake(setup, Address.parse("e131:"))


def test_any_datagram_is_survived_and_counted():
    display = load_display("sign")
    setup = setup_of(display, f"e131://127.0.0.1:{free_port()}")
    out = open_output("memory:", display)
    good = DataPacket(CID, 1, bytes([31]) * 512).encode()
    waiting = [b"", b"x", bytes(2000), good + bytes(60_000), good]
    turns = iter(range(TURNS))
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:

        def idle():
            while waiting:
                sock.sendto(waiting.pop(0), setup.destination(1))

        def until():
            return len(out.bench.frames) > 0 or next(turns, None) is None

        tally = listen_e131(out, f"e131://127.0.0.1:{setup.port}", idle=idle, until=until)
    assert out.bench.drives.min() == 31
    assert tally.discards == {Discard.SHORT: 2, Discard.NOT_ACN: 1, Discard.LENGTH: 1}
    assert tally.describe().startswith("5 datagrams, 1 used, 1 frame\n  discarded 2: too short")


def test_a_closed_output_ends_it_and_the_port_is_free_again():
    class Closed(MemoryOutput):
        def send_frame(self, data):
            raise OutputClosedError("closed by the user")

    display = load_display("sign")
    address = f"e131://127.0.0.1:{free_port()}"
    black = np.zeros(display.picture_shape, dtype=np.uint8)
    with E131Output(display, setup_of(display, address), SimulatedClock()) as sending:
        turns = iter(range(TURNS))
        tally = listen_e131(
            Closed(display),
            address,
            idle=lambda: sending.send(black) and None,
            until=lambda: next(turns, None) is None,
        )
    assert next(turns, None) is not None
    assert tally.frames >= 1
    with Intake(setup_of(display, address), Address.parse(address)):
        pass


def test_a_port_in_use_is_an_error_that_says_so():
    display = load_display("sign")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        text = f"e131://127.0.0.1:{sock.getsockname()[1]}"
        with pytest.raises(AddressError, match=r"in use[\s\S]*Fix"):
            listen_e131(open_output("memory:", display), text)


def test_only_this_machine_is_heard_unless_asked(monkeypatch):
    bound = []

    class Watched(socket.socket):
        def bind(self, address):
            bound.append(address)
            raise OSError(1, "not for this test")

    monkeypatch.setattr("emulator.ports.e131.intake.socket.socket", Watched)
    for text in ("e131:", "e131://0.0.0.0", "e131://239.255.0.1"):
        with pytest.raises(AddressError):
            listen_e131(open_output("memory:", load_display("sign")), text)
    assert bound == [("127.0.0.1", 5568), ("0.0.0.0", 5568), ("", 5568)]


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux reports what it had no room for")
def test_datagrams_that_find_no_room_are_counted(monkeypatch):
    monkeypatch.setattr("emulator.ports.e131.intake._BUFFER", 4096)
    display = load_display("sign")
    setup = setup_of(display, f"e131://127.0.0.1:{free_port()}")
    with (
        Intake(setup, Address.parse("e131:")) as intake,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock,
    ):
        for _ in range(100):
            sock.sendto(bytes(600), setup.destination(1))
        got = len(intake.receive(1))
        assert got < 100
        sock.sendto(b"", setup.destination(1))  # the next one says how many came before it
        assert intake.receive(1) == [b""]
        assert intake.missed == 100 - got
    assert "\n  7 more came too fast" in Tally(missed=7).describe()


def test_three_frames_of_the_largest_wall_find_room_while_it_is_drawn():
    """10,000 RGBW LEDs, with the 208 KiB that Linux allows by default, or more."""
    display = parse_display(WIDE, Path("wide.toml"))
    setup = setup_of(display, f"e131://127.0.0.1:{free_port()}")
    with (
        Intake(setup, Address.parse("e131:")) as intake,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock,
    ):
        black = np.zeros((display.leds, 4), np.uint8)
        sent = payloads(Sender(setup.packing, CID, "wide"), black) * 3
        assert len(sent) == 3 * (79 + 1)  # 128 RGBW LEDs a universe, and synchronization
        for payload in sent:
            sock.sendto(payload, setup.destination(1))
        assert intake.receive(1) == sent


def test_the_figures_are_there_even_if_an_exception_ends_it():
    display = load_display("sign")
    tally = Tally()
    port = free_port()

    def until():
        if tally.used:
            raise KeyboardInterrupt
        sock.sendto(DataPacket(CID, 1, bytes(512), next(numbers)).encode(), ("127.0.0.1", port))
        return False

    numbers = iter(range(200))
    with (
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock,
        pytest.raises(KeyboardInterrupt),
    ):
        listen_e131(
            open_output("memory:", display), f"e131://127.0.0.1:{port}", until=until, tally=tally
        )
    assert tally.received == tally.used >= 1
