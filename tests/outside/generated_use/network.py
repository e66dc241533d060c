"""E1.31 sources of our own, against `foreglow listen`, whose wall is a receiver of ours."""

from __future__ import annotations

import contextlib
import random
import socket
import time
from collections.abc import Iterator
from pathlib import Path

from tests.outside.generated_use.processes import Going, until
from tests.outside.generated_use.receiving import Model
from tests.outside.generated_use.running import TRACEBACK, wall
from tests.outside.generated_use.universe import (
    PREVIEW,
    TERMINATED,
    Receiver,
    data_packet,
    sync_packet,
)

LEDS = 32
SLOTS = 3 * LEDS
SYNC = 7


class Scene:
    """A listener, sources that send to it, and what it shows."""

    def __init__(self, going: Going, receiver: Receiver, port: int, rng: random.Random) -> None:
        self.going, self.receiver, self.rng = going, receiver, rng
        self.model = Model()
        self._to = ("127.0.0.1", port)
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.bind(("127.0.0.1", 0))
        self.numbers: dict[tuple[int, bytes], int] = {}
        self.told: list[str] = []

    def close(self) -> None:
        self._socket.close()

    def group(self, address: str) -> None:
        """Send to a multicast group, through loopback."""
        self._socket.setsockopt(
            socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1")
        )
        self._to = (address, self._to[1])

    def levels(self) -> bytes:
        """Levels that differ from all others, and are never dark."""
        return self.rng.randbytes(SLOTS - 1) + b"\x80"

    def send(
        self, cid: bytes, priority: int, universe: int = 1, ahead: int = 1,
        levels: bytes | None = None,
        sync: int = 0, options: int = 0, start: int = 0,
    ) -> bytes:  # fmt: skip
        """A source sends; `ahead` says by how much its sequence number counts on."""
        known = (universe, cid)
        number = (self.numbers.get(known, self.rng.randrange(256)) + ahead) & 255
        if ahead > 0:
            self.numbers[known] = number
        levels = self.levels() if levels is None else levels
        self.raw(data_packet(
            levels, universe, cid=cid, sequence=number, priority=priority, sync=sync,
            options=options,
            start=start,
        ))  # fmt: skip
        self.model.data(
            time.monotonic(), universe, cid, levels, number, priority, sync, options, start
        )
        return levels

    def synchronize(self, cid: bytes, address: int = SYNC) -> None:
        number = self.numbers[(0, cid)] = self.numbers.get((0, cid), 0) + 1
        self.raw(sync_packet(address, cid=cid, sequence=number))
        self.model.synchronize(address)

    def raw(self, packet: bytes) -> None:
        self._socket.sendto(packet, self._to)
        time.sleep(0.003)

    def expect(self, what: str, universe: int = 1, stays_s: float = 0.25) -> None:
        """The wall comes to show what the model says, and stays so."""
        due = self.model.shown(universe)

        def right() -> bool:
            return self.receiver.levels(SLOTS).get(1, b"") == due.ljust(SLOTS, b"\0")

        good = until(right, 1.5, 0.01)
        time.sleep(stays_s)
        if not good or not right():
            shown = self.receiver.levels(SLOTS).get(1, b"")
            whose = [
                cid[:2].hex()
                for cid, s in self.model.sources.get(universe, {}).items()
                if shown in (s.levels, s.held)
            ]
            self.told.append(f"{what}: shows {shown[:4].hex()} (of {whose}), due {due[:4].hex()}")


def _cid(n: int) -> bytes:
    return n.to_bytes(2, "big") * 8


@contextlib.contextmanager
def _heard(
    rng: random.Random, folder: Path, more: str = "", size: tuple[int, int] = (8, 4),
    host: str = "127.0.0.1", universe: int = 1,
) -> Iterator[Scene]:  # fmt: skip
    wall(folder, *size)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    address = f"e131://{host}:{port}?universe={universe}{more}"
    with contextlib.ExitStack() as stack:
        receiver = stack.enter_context(Receiver())
        # Faster than the sources, so that each step is seen.
        arguments = ["listen", "wall.toml", "--e131", "--address", address]
        arguments += ["--to", f"{receiver.address}?rate=200"]
        going = stack.enter_context(Going(arguments, folder))
        scene = Scene(going, receiver, port, rng)
        stack.callback(scene.close)
        if not going.says("Hearing E1.31"):
            scene.told.append(f"it does not listen: {going.said}")
        yield scene
        if going.ended or TRACEBACK.decode() in going.said:
            scene.told.append(f"it fell: {going.said[-400:]}")


def priorities(rng: random.Random, folder: Path) -> list[str]:
    """Many sources of random priorities: the highest is shown, whenever it comes."""
    with _heard(rng, folder) as scene:
        count = rng.choice((2, 5, 16, 17, 20, 40))
        ranks = rng.sample(range(201), count)
        if rng.random() < 0.5:
            ranks.sort()
        for _ in range(2):
            for n, rank in enumerate(ranks):
                scene.send(_cid(n + 1), rank)
            scene.expect(f"{count} sources, highest {max(ranks)}")
        low = [n for n, rank in enumerate(ranks) if rank != max(ranks)]
        for n in rng.choices(low, k=10):
            scene.send(_cid(n + 1), ranks[n])
        scene.expect("a lower one sends on")
        return scene.told


def lock_out(rng: random.Random, folder: Path) -> list[str]:
    """Floods of low priority, then one higher source comes late: it is shown, and stays."""
    with _heard(rng, folder) as scene:
        low = rng.choice((0, 0, 50, 100))
        count = rng.choice((16, 17, 32, 60))
        for _ in range(rng.randint(1, 3)):
            for n in range(count):
                scene.send(_cid(n + 1), low, levels=bytes([1]) * SLOTS)
        for step in range(4):
            scene.send(_cid(9999), rng.randint(low + 1, 200) if step == 0 else 200)
            scene.expect(f"{count} of priority {low}, then one of 200", stays_s=0.05)
            for n in range(count):
                scene.send(_cid(n + 1), low, levels=bytes([1]) * SLOTS)
            scene.expect("the flood goes on", stays_s=0.05)
        return scene.told


def sequences(rng: random.Random, folder: Path) -> list[str]:
    """Old packets are dropped, far jumps are a new start: 6.7.2."""
    with _heard(rng, folder) as scene:
        cid = _cid(1)
        scene.send(cid, 100)
        scene.expect("the first")
        for _ in range(12):
            ahead = rng.choice((1, 1, 2, 100, 127, 0, -1, -5, -19, -20, -60, -127))
            number = scene.numbers[(1, cid)]
            if ahead <= -20:  # a number so far back is that of a restarted source
                scene.numbers[(1, cid)] = number + ahead - 1
                scene.send(cid, 100)
            else:
                scene.send(cid, 100, ahead=ahead)
            scene.expect(f"sequence {ahead:+d}", stays_s=0.08)
        return scene.told


def options(rng: random.Random, folder: Path) -> list[str]:
    """Preview data, terminated streams, start codes of other kinds, the same levels again."""
    with _heard(rng, folder) as scene:
        scene.send(_cid(1), 90)
        scene.send(_cid(2), 120)
        scene.expect("two sources")
        for _ in range(8):
            what = rng.choice(
                ("preview", "terminated", "start", "dd", "data", "other universe", "same")
            )
            n = rng.choice((1, 2))
            rank = {1: 90, 2: 120}[n]
            if what == "preview":
                scene.send(_cid(n), rank, options=PREVIEW)
            elif what == "terminated":
                scene.send(_cid(2), 120, options=TERMINATED)
            elif what == "start":
                scene.send(_cid(n), rank, start=rng.choice((1, 0x17, 0xCC, 0xCF, 0xFE)))
            elif what == "dd":
                scene.send(
                    _cid(n), rank, start=0xDD, levels=bytes([rng.choice((0, 1, 200))]) * SLOTS
                )
            elif what == "other universe":
                scene.send(_cid(3), 200, universe=rng.choice((2, 63999, 0)))
            else:
                scene.send(_cid(n), rank)
            scene.send(_cid(1), 90)
            scene.expect(what, stays_s=0.1)
        return scene.told


def addresses_priority(rng: random.Random, folder: Path) -> list[str]:
    """Priority of each address (DD) may be ignored, if the log says so once; levels count on."""
    with _heard(rng, folder) as scene:
        for _ in range(rng.randint(3, 20)):
            for n in range(rng.randint(1, 4)):
                scene.send(_cid(n + 1), 100 + n)
                scene.send(
                    _cid(n + 1), 100 + n, start=0xDD, levels=bytes([rng.randint(0, 200)]) * SLOTS
                )
        scene.expect("with DD beside")
        lines = [line for line in scene.going.said.splitlines() if "DD" in line]
        if len(lines) != 1:
            scene.told.append(f"{len(lines)} lines mention DD: {scene.going.said!r}")
        return scene.told


def synchronized(rng: random.Random, folder: Path) -> list[str]:
    """Frames wait for the packet of their address; others of other addresses change nothing."""
    with _heard(rng, folder, f"&sync={SYNC}") as scene:
        cid = _cid(1)
        scene.synchronize(cid)
        scene.send(cid, 100, sync=SYNC)
        scene.synchronize(cid)
        scene.expect("the first")
        for _ in range(6):
            for _ in range(rng.randint(1, 3)):
                scene.send(cid, 100, sync=SYNC)
            scene.expect("before its synchronization", stays_s=0.1)
            if rng.random() < 0.5:
                scene.synchronize(cid, rng.choice((SYNC + 1, 1, 64000)))
                scene.expect("another address", stays_s=0.1)
            scene.synchronize(cid)
            scene.expect("synchronized", stays_s=0.1)
        return scene.told


def silence(rng: random.Random, folder: Path) -> list[str]:
    """A source that falls silent is gone after 2.5 s: the next one is shown."""
    with _heard(rng, folder) as scene:
        scene.send(_cid(1), 150)
        scene.send(_cid(2), 100)
        scene.expect("both")
        ends = time.monotonic() + 3.6
        while time.monotonic() < ends:
            scene.send(_cid(2), 100)
            time.sleep(0.1)
        scene.model.forget(time.monotonic())
        scene.expect("the higher one is silent")
        back = rng.choice((150, 90))
        scene.send(_cid(1), back)
        scene.expect(f"it comes back with {back}")
        return scene.told


def spoilt(rng: random.Random, folder: Path) -> list[str]:
    """Packets cut, changed, too long, of other kinds: never shown where the standard says no."""
    with _heard(rng, folder) as scene:
        scene.send(_cid(1), 100)
        scene.expect("the first")
        for _ in range(60):
            good = data_packet(bytes([255]) * SLOTS, 1, cid=_cid(2), sequence=1, priority=200)
            packet = bytearray(good)
            where = rng.choice(((0, 16), (16, 22), (38, 44), (115, 125)))
            how = rng.randrange(4)
            if how == 0:
                del packet[rng.randrange(126) :]
            elif how == 1:  # a field that has one right value
                at = rng.randrange(*where)
                packet[at] ^= rng.randint(1, 255)
            elif how == 2:
                packet = bytearray(rng.randbytes(rng.randrange(1, 1400)))
            else:
                packet[108] = rng.randint(201, 255)  # no priority
            scene.raw(bytes(packet))
        scene.expect("after spoilt ones")
        scene.send(_cid(1), 100)
        scene.expect("a good one again")
        return scene.told


def partial(rng: random.Random, folder: Path) -> list[str]:
    """A universe of fewer slots, or more than the wall has: what there is, is shown."""
    with _heard(rng, folder) as scene:
        for _ in range(5):
            count = rng.choice((1, 3, 95, 96, 97, 400, 512))
            levels = scene.rng.randbytes(count - 1) + b"\x90"
            scene.send(_cid(1), 100, levels=levels)
            due = levels[:SLOTS]
            until(lambda d=due: scene.receiver.levels(len(d)).get(1) == d, 1.5, 0.01)  # type: ignore[misc]
            shown = scene.receiver.levels(SLOTS).get(1, b"")
            if shown[: len(due)] != due:
                scene.told.append(f"{count} slots: shows {shown[:6].hex()}…, due {due[:6].hex()}…")
        return scene.told


def universes(rng: random.Random, folder: Path) -> list[str]:
    """A wall of three universes: sources of several priorities in each, synchronized or not."""
    with _heard(rng, folder, size=(40, 10)) as scene:  # 170 LEDs a universe: 170, 170, 60
        slots = {1: 510, 2: 510, 3: 180}
        sync = rng.choice((0, SYNC))
        master = _cid(77)  # of all: packets of a CID that sends levels are for its own alone
        if sync:
            scene.synchronize(master)
        for step in range(5):
            for universe in slots:
                for n in rng.sample((1, 2), rng.randint(1, 2)) if step else (1, 2):
                    levels = rng.randbytes(slots[universe] - 1) + b"\x80"
                    rank = 100 + 20 * (n == 1 + universe % 2)
                    scene.send(_cid(n), rank, universe, levels=levels, sync=sync)
            if sync:
                scene.synchronize(master)
            due = {u: scene.model.shown(u) for u in slots}

            def right(due: dict[int, bytes] = due) -> bool:
                heard = scene.receiver.levels(512)
                return all(heard.get(u, b"")[: slots[u]] == levels for u, levels in due.items())

            if not until(right, 2, 0.01):
                heard = scene.receiver.levels(512)
                bad = [u for u in slots if heard.get(u, b"")[: slots[u]] != due[u]]
                scene.told.append(
                    f"step {step}, synchronized {sync}: universes {bad} are not right"
                )
        return scene.told


def multicast(rng: random.Random, folder: Path) -> list[str]:
    """Groups of universes on the interface asked for, here loopback."""
    first = rng.randint(1, 60000)
    group = f"239.255.{first >> 8}.{first & 255}"
    with _heard(rng, folder, "&interface=127.0.0.1", host=group, universe=first) as scene:
        scene.group(group)
        for _ in range(4):
            scene.send(_cid(1), 100, universe=first)
            scene.expect("multicast", universe=first, stays_s=0.1)
            scene.send(_cid(1), 100, universe=first + 1)
            scene.expect("another universe", universe=first, stays_s=0.1)
        return scene.told


KINDS = (
    priorities, lock_out, sequences, options, synchronized, addresses_priority, silence, spoilt,
    partial,
    universes, multicast,
)  # fmt: skip
