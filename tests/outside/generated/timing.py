"""Functions and programs that are wrong in time: their map and colours are right."""

from __future__ import annotations

import os
import re
import signal
import sys
import time
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np

from tests.outside.generated.cases import Case, ToWire
from tests.outside.generated.run import Report
from tests.outside.generated.walls import WALLS, Array, Wall
from tests.outside.generated.words import Said, both, either, has, number, share

SEED = 21
BEFORE = has(r"before|late|behind|delay|old|previous|earlier")
TIME = re.compile(
    r"before|late\b|behind|delay|every \w+ (frame|picture)|repeatable|same picture|exchanged|"
    r"shines through|array handed|changed|ms\b|raise|exit|ended|print|first (\w+ )?(frame|picture)|"
    r"frames? \d|pictures? \d|differ|steady|random|black now and then|of ten|alternat",
    re.IGNORECASE,
)
NOISE = has(r"repeatable|differ|random|not steady|unsteady|same picture|not the same")


def lies(case: Case, report: Report) -> list[str]:
    """Faults of map and colour: both are right."""
    out = []
    for f in report.findings:
        text = f"{f['what']} | {f['evidence']}"
        about_time = TIME.search(f["what"])
        if f["check"] in ("map", "colour", "levels", "wire") and not about_time:
            out.append(f"{f['check']} is right | {text}")
    return out


class Player:
    """Counts calls and keeps the codes of those before."""

    def __init__(self, wall: Wall, frame: Callable[[Player, Array], Array]) -> None:
        self.wall, self.frame = wall, frame
        self.calls = 0
        self.past: list[Array] = []

    def before(self, k: int) -> Array:
        """The codes k calls ago; black before the first."""
        return self.past[-k] if k <= len(self.past) else np.zeros((self.wall.leds, 3), int)

    def __call__(self, picture: Array) -> bytes:
        codes = self.wall.gather(picture).astype(int)
        drives = np.rint(self.frame(self, codes)).astype(int)
        self.calls += 1
        self.past = [*self.past[-11:], codes]
        return b"".join(self.wall.frames(drives))


def after(wall: Wall, act: Callable[[int, Array], Any], first: bool = True) -> ToWire:
    """Right code that also does `act(number of the call, picture)`."""
    count = iter(range(10**9))

    def to_wire(picture: Array) -> Any:
        n = next(count)
        if first:
            instead = act(n, picture)
            return wall.right(picture) if instead is None else instead
        data = wall.right(picture)
        act(n, picture)
        return data

    return to_wire


@cache
def cases() -> tuple[Case, ...]:
    """All cases; the random numbers are always the same."""
    random = np.random.default_rng(SEED)
    made: list[Case] = []
    walls = [WALLS[n] for n in ("square", "two", "clocked", "rgbw", "small", "foyer")]

    def add(
        kind: str, wall: Wall, truth: str, frame: Any, *named: Said, wrong: Array | None = None
    ) -> None:
        made.append(
            Case(kind, wall, truth, lambda: Player(wall, frame), named, wrong=wrong, lies=lies)
        )

    def act(
        kind: str, wall: Wall, truth: str, deed: Any, *named: Said, first: bool = True,
        exits: tuple[int, ...] = (1,), apart: bool = True,
    ) -> None:  # fmt: skip
        made.append(
            Case(kind, wall, truth, lambda: after(wall, deed, first), named, lies=lies,
                 exits=exits, apart=apart)
        )  # fmt: skip

    late(add, walls, random)
    black_and_frozen(add, walls)
    exchanged_and_blended(add, walls)
    noisy(add, walls, random)
    drifting(add, walls)
    handed_in(act, walls)
    slow(act)
    ending(act, walls)
    printing(act, walls)
    programs(made)
    return tuple(made)


def late(add: Any, walls: list[Wall], random: np.random.Generator) -> None:
    words = {1: r"before|one|\b1\b", 2: r"two|\b2\b", 3: r"three|\b3\b", 5: r"five|\b5\b"}
    for k, wall in zip((1, 2, 3, 1, 5, 1), walls, strict=True):
        add(
            "all late", wall, f"every frame shows the picture {k} before",
            lambda p, c, k=k: p.wall.drives(p.before(k)), both(BEFORE, has(words[k])),
        )  # fmt: skip
    for n in range(8):
        wall, k = walls[n % 6], 1 + n % 3 % 2
        a = int(random.integers(0, wall.leds // 2))
        b = a + int(random.integers(4, wall.leds // 3))
        leds = np.arange(a, min(b, wall.leds - 1) + 1)
        add(
            "range late", wall, f"LEDs {a} to {leds[-1]} show the picture {k} before",
            lambda p, c, s=leds, k=k: _with(p.wall.drives(c), s, p.wall.drives(p.before(k))),
            both(BEFORE, has(words[k]), _leds(wall, a), _leds(wall, int(leds[-1]))),
            wrong=np.isin(np.arange(wall.leds), leds),
        )  # fmt: skip
    for n, wall in enumerate(walls[:4]):
        half = np.arange(wall.leds // 2) + (wall.leds // 2) * (n % 2)
        add(
            "half late", wall, f"LEDs {half[0]} to {half[-1]} show the picture before",
            lambda p, c, s=half: _with(p.wall.drives(c), s, p.wall.drives(p.before(1))),
            both(BEFORE, either(both(_leds(wall, int(half[0])), _leds(wall, int(half[-1]))),
                                has(rf"line {n % 2}\b"))),
            wrong=np.isin(np.arange(wall.leds), half),
        )  # fmt: skip
    for n, name in enumerate(("two", "foyer", "large")):
        wall, k = WALLS[name], 1 + n % 2
        leds = np.arange(wall.bounds[1], wall.bounds[2])
        add(
            "line late", wall, f"line 1 (LEDs {leds[0]} to {leds[-1]}) shows the picture {k} before",
            lambda p, c, s=leds, k=k: _with(p.wall.drives(c), s, p.wall.drives(p.before(k))),
            both(BEFORE, has(words[k]), either(has(r"line 1\b"), has(rf"LEDs? {leds[0]}\b"))),
            wrong=np.isin(np.arange(wall.leds), leds),
        )  # fmt: skip
    for wall in walls[:2]:
        add(
            "late now and then", wall, "every other frame is the picture before",
            lambda p, c: p.wall.drives(p.before(1) if p.calls % 2 else c), BEFORE,
        )  # fmt: skip
    wall = walls[0]
    add(
        "interlaced", wall, "each frame writes every other LED, in turn; the rest show the frame before",
        lambda p, c: _with(p.wall.drives(c), np.arange(p.calls % 2, wall.leds, 2),
                           p.wall.drives(p.before(1))),
        BEFORE,
    )  # fmt: skip


def _leds(wall: Wall, k: int) -> Said:
    line, place = wall.names(k)
    return either(has(rf"\b{k}\b"), both(has(rf"\b{place}\b"), has(rf"line {line}\b")))


def _with(drives: Array, leds: Array, others: Array) -> Array:
    out = drives.copy()
    out[leds] = others[leds]
    return out


ORDINAL = {2: "second|other|2nd", 3: "third|3rd", 4: "fourth|4th", 5: "fifth|5th", 7: "seventh|7th",
           10: "tenth|10th|ten", 8: "eighth|8th"}  # fmt: skip


def every(n: int) -> Said:
    return either(has(rf"{ORDINAL[n]}"), both(has(r"every|of|each"), number(n)))


def black_and_frozen(add: Any, walls: list[Wall]) -> None:
    for n, wall in zip((3, 5, 10, 7, 4, 2), walls, strict=True):
        add(
            "every n-th black", wall, f"every {n}th frame is black",
            lambda p, c, n=n: p.wall.drives(c) * ((p.calls + 1) % n > 0),
            both(every(n), has("black|dark|nothing|empty")),
        )  # fmt: skip
    for n, wall in zip((4, 10, 3), walls, strict=False):
        add(
            "every n-th frozen", wall, f"every {n}th frame is the picture before",
            lambda p, c, n=n: p.wall.drives(c if (p.calls + 1) % n else p.before(1)),
            both(every(n), has(r"before|frozen|repeat|late|again|previous")),
        )  # fmt: skip
    for wall in (WALLS["two"], WALLS["square"]):
        leds = np.arange(wall.leds // 2, wall.leds)
        add(
            "half black now and then", wall, f"LEDs from {leds[0]} on are black in every 4th frame",
            lambda p, c, s=leds: _with(p.wall.drives(c), s,
                                       p.wall.drives(c) * ((p.calls + 1) % 4 > 0)),
            both(every(4), has("black|dark|nothing|empty")),
            wrong=np.isin(np.arange(wall.leds), leds),
        )  # fmt: skip
    for n, wall in zip((3, 2), walls[2:4], strict=True):
        add(
            "every n-th dim", wall, f"every {n}th frame shows half the light",
            lambda p, c, n=n: p.wall.drives(c) * (1.0 if (p.calls + 1) % n else 0.5),
            either(NOISE, both(every(n), has(r"half|50 ?%|dim|bright|light"))),
        )  # fmt: skip
    add(
        "every n-th white", walls[4], "every 5th frame is white",
        lambda p, c: p.wall.drives(c if (p.calls + 1) % 5 else c * 0 + 255),
        both(every(5), has("white|full")),
    )  # fmt: skip


def exchanged_and_blended(add: Any, walls: list[Wall]) -> None:
    for a, wall in zip((7, 3, 5), walls, strict=False):

        def swap(p: Player, c: Array, a: int = a) -> Array:
            place = p.calls % 10 + 1
            return p.wall.drives(p.before(1) if place in (a, a + 1) else c)

        add(
            "two of ten held", wall,
            f"of every ten frames, {a} and {a + 1} show the picture before",
            swap, both(every(10), has("before|exchang|late|previous")),
        )  # fmt: skip
    for a, wall in zip((7, 4), walls[1:], strict=False):

        def late_swap(p: Player, c: Array, a: int = a) -> Array:
            place = p.calls % 10 + 1
            return p.wall.drives(c if place == a else p.before(2 if place == a + 1 else 1))

        add(
            "one late, two of ten exchanged", wall,
            f"all are one late, of every ten frames {a} and {a + 1} are exchanged",
            late_swap, has("before|exchang|late|previous"),
        )  # fmt: skip
    for part, wall in zip((0.3, 0.5, 0.15), (walls[0], walls[2], walls[1]), strict=True):
        add(
            "blended", wall, f"{part:.0%} of the light of the picture before shines through",
            lambda p, c, s=part: 255 * (s * p.wall.light(p.before(1)) + (1 - s) * p.wall.light(c)),
            both(BEFORE, share(part, 0.03)),
        )  # fmt: skip
    for part, wall in zip((0.3, 0.6), (walls[3], walls[4]), strict=True):

        def smooth(p: Player, c: Array, s: float = part) -> Array:
            last = getattr(p, "last", np.zeros_like(c, float))
            p.last = s * last + (1 - s) * p.wall.light(c)  # type: ignore[attr-defined]
            return 255 * p.last  # type: ignore[attr-defined]

        add(
            "smoothed", wall, f"each frame keeps {part:.0%} of the frame before",
            smooth, both(BEFORE, share(part, 0.05)),
        )  # fmt: skip
    add(
        "blended in codes", walls[5], "30 % of the codes of the picture before are mixed in",
        lambda p, c: p.wall.drives(np.rint(0.3 * p.before(1) + 0.7 * c)),
        BEFORE,
    )  # fmt: skip
    add(
        "brighter wins", walls[0], "each LED shows the brighter of this picture and the one before",
        lambda p, c: p.wall.drives(np.maximum(p.before(1), c)), BEFORE,
    )  # fmt: skip
    add(
        "kept where little changes", walls[1],
        "a frame is sent again where fewer than a tenth of the LEDs change",
        _kept, has(r"before|frozen|again|late|previous|repeat"),
    )  # fmt: skip


def _kept(p: Player, codes: Array) -> Array:
    last = getattr(p, "kept", None)
    if last is None or np.mean((last != codes).any(axis=1)) >= 0.1:
        p.kept = codes  # type: ignore[attr-defined]
    return p.wall.drives(p.kept)  # type: ignore[attr-defined]


def noisy(add: Any, walls: list[Wall], random: np.random.Generator) -> None:
    def noise(p: Player) -> np.random.Generator:
        if not hasattr(p, "random"):
            p.random = np.random.default_rng()  # type: ignore[attr-defined]
        return p.random  # type: ignore[attr-defined]

    for amount, wall in zip((20, 60), walls, strict=False):
        add(
            "random drives", wall, f"each drive is up to {amount} off, at random",
            lambda p, c, a=amount: np.clip(
                p.wall.drives(c) + noise(p).integers(-a, a + 1, c.shape), 0, 255),
            NOISE,
        )  # fmt: skip
    for wall in walls[2:4]:
        add(
            "random bytes", wall, "every drive is random",
            lambda p, c: noise(p).integers(0, 256, c.shape), NOISE,
        )  # fmt: skip
    for wall in walls[:2]:
        add(
            "random order", wall, "the LEDs are in another random order in each frame",
            lambda p, c: p.wall.drives(c)[noise(p).permutation(len(c))], NOISE,
        )  # fmt: skip
    for chance, wall in zip((0.1, 0.3), walls[3:], strict=False):
        add(
            "black at random", wall, f"a frame is black with a chance of {chance:.0%}",
            lambda p, c, q=chance: p.wall.drives(c) * (noise(p).random() > q),
            either(NOISE, has("black|dark")),
        )  # fmt: skip
    for wall in (walls[0], walls[5]):
        leds = random.choice(wall.leds, 5, replace=False)
        add(
            "some LEDs random", wall, f"LEDs {np.sort(leds)} show random drives",
            lambda p, c, s=leds: _with(p.wall.drives(c), s, noise(p).integers(0, 256, c.shape)),
            NOISE, wrong=np.isin(np.arange(wall.leds), leds),
        )  # fmt: skip
    add(
        "spoilt at random", walls[1], "one LED, another in each frame, is white",
        lambda p, c: _with(p.wall.drives(c), noise(p).integers(0, len(c), 1), c * 0 + 255), NOISE,
    )  # fmt: skip


def drifting(add: Any, walls: list[Wall]) -> None:
    word = either(NOISE, has(r"first|begin|start|number of|drift|after|fade|dim"))
    for n, wall in zip((1, 3), walls, strict=False):
        add(
            "first frames black", wall, f"the first {n} frames are black",
            lambda p, c, n=n: p.wall.drives(c) * (p.calls >= n), word,
        )  # fmt: skip
    add(
        "fades in", walls[2], "light rises from 0 to full over the first 20 frames",
        lambda p, c: p.wall.drives(c) * min(p.calls / 20, 1), word,
    )  # fmt: skip
    add(
        "dims", walls[3], "each frame has 1 % less light than the one before",
        lambda p, c: p.wall.drives(c) * 0.99**p.calls, word,
    )  # fmt: skip
    for wall in (walls[0], walls[4]):
        add(
            "moves on", wall, "each frame is one LED further along the line than the one before",
            lambda p, c: np.roll(p.wall.drives(c), p.calls, axis=0), NOISE,
        )  # fmt: skip
    for wall in (walls[1], walls[2]):
        add(
            "channels in turn", wall, "red and green are exchanged in every other frame",
            lambda p, c: p.wall.drives(c)[:, [1, 0, 2] if p.calls % 2 else [0, 1, 2]],
            either(NOISE, every(2)),
        )  # fmt: skip
    add(
        "backwards in turn", walls[5], "every other frame has the LEDs in reverse order",
        lambda p, c: p.wall.drives(c)[:: -1 if p.calls % 2 else 1], either(NOISE, every(2)),
    )  # fmt: skip
    add(
        "by the clock", walls[4], "LED 3 blinks by the clock of the computer",
        lambda p, c: _with(p.wall.drives(c), np.array([3]), c * 0 + 255 * (time.time_ns() // 997 % 2)),
        NOISE, wrong=np.arange(WALLS["small"].leds) == 3,
    )  # fmt: skip


def handed_in(act: Any, walls: list[Wall]) -> None:
    word = has(r"changed|changes|writes|read-only|modif|overwr|array handed")

    def spoil(change: Callable[[Array], None]) -> Callable[[int, Array], None]:
        return lambda n, picture: change(picture)

    for truth, change, wall in (
        ("the array handed in is set to 0", lambda p: p.fill(0), walls[0]),
        ("the array handed in is halved", lambda p: np.floor_divide(p, 2, out=p), walls[1]),
        ("one cell of the array handed in is set", lambda p: p.__setitem__((0, 0), 7), walls[4]),
        ("the array handed in is turned", lambda p: p.__setitem__(..., p[::-1].copy()), walls[2]),
    ):
        act("array changed", wall, truth, spoil(change), word, first=False, apart=False,
            exits=(1, 2))  # fmt: skip


def slow(act: Any) -> None:
    wall = WALLS["small"]
    for ms in (50, 80):
        act(
            "slow", wall, f"each picture takes {ms} ms; 33.3 ms are available",
            lambda n, p, s=ms: time.sleep(s / 1000),
            both(number(ms, 4), has(r"33|30 frames")),
        )  # fmt: skip
    act(
        "slow now and then", wall, "every 10th picture takes 120 ms; 33.3 ms are available",
        lambda n, p: time.sleep(0.12 if n % 10 == 9 else 0), both(number(120, 8), has(r"33|30 fr")),
    )  # fmt: skip

    def busy(n: int, picture: Array) -> None:
        until = time.perf_counter() + 0.045
        while time.perf_counter() < until:
            pass

    act("slow", wall, "each picture computes for 45 ms", busy, both(number(45, 5), has("33|30 fr")))


def ending(act: Any, walls: list[Wall]) -> None:
    gone = both(has(r"exit|ended|ends|stopped|quit|died|killed|gone|SystemExit|signal|abort"),
                has(r"picture|frame"))  # fmt: skip
    fell = both(has(r"rais|error|exception"), has(r"picture|frame"))
    both_ways = {"exits": (1, 2)}

    def at(k: int, deed: Callable[[], Any]) -> Callable[[int, Array], Any]:
        return lambda n, picture: deed() if n == k else None

    for k, status, wall in (
        (0, 0, walls[4]),
        (5, 0, walls[0]),
        (12, 3, walls[1]),
        (2, 1, walls[2]),
    ):
        act("os._exit", wall, f"os._exit({status}) at call {k}",
            at(k, lambda s=status: os._exit(s)), gone, **both_ways)  # fmt: skip
    for k, status in ((0, 0), (7, 0), (3, 2)):
        act("sys.exit", walls[4], f"sys.exit({status}) at call {k}",
            at(k, lambda s=status: sys.exit(s)), gone, **both_ways)  # fmt: skip
    act("killed", walls[3], "the process kills itself at call 9",
        at(9, lambda: os.kill(os.getpid(), signal.SIGKILL)), gone, **both_ways)  # fmt: skip
    act("aborts", walls[4], "os.abort() at call 4", at(4, os.abort), gone, **both_ways)

    def fail(error: BaseException) -> None:
        raise error

    for k, wall in ((0, walls[4]), (6, walls[0]), (20, walls[1])):
        act("raises", wall, f"ValueError at call {k}",
            at(k, lambda: fail(ValueError("no such cell"))),
            both(fell, has("no such cell|ValueError")), **both_ways)  # fmt: skip
    act("raises now and then", walls[2], "KeyError at every 10th call",
        lambda n, p: fail(KeyError("lamp")) if n % 10 == 9 else None,
        both(fell, has("lamp|KeyError")), **both_ways)  # fmt: skip
    act("raises on a picture", walls[4], "ZeroDivisionError where the picture is black",
        lambda n, p: 1 // int(p.max()) and None, both(fell, has("ZeroDiv|division")),
        **both_ways)  # fmt: skip
    act("raises on a picture", walls[4], "ValueError where a code is 255 in all channels",
        lambda n, p: fail(ValueError("too bright")) if (p == 255).all(axis=2).any() else None,
        both(fell, has("too bright|ValueError")), **both_ways)  # fmt: skip
    act(
        "interrupts",
        walls[4],
        "KeyboardInterrupt at call 5",
        at(5, lambda: fail(KeyboardInterrupt())),
        has(r"Keyboard|interrupt|Ctrl"),
        exits=(1, 2, 130),
    )
    short = has(r"short|bytes|None|nothing|length|every|now and then|empty|end before")
    act("None now and then", walls[1], "the function forgets its return in one of 10 calls",
        lambda n, p: [] if n % 10 == 9 else None, short, **both_ways)  # fmt: skip
    act(
        "short now and then",
        walls[0],
        "every 5th frame lacks the last 30 bytes",
        lambda n, p: WALLS["square"].right(p)[:-30] if n % 5 == 4 else None,
        short,
        **both_ways,
    )
    act("long now and then", walls[0], "every 5th frame has 30 bytes more",
        lambda n, p: WALLS["square"].right(p) + bytes(30) if n % 5 == 4 else None,
        has("byte|more|long|over"), **both_ways)  # fmt: skip


def printing(act: Any, walls: list[Wall]) -> None:
    word = both(has(r"print|output|wrote|writes"), has(r"MB|kB|bytes|megabyte|lines|characters"))

    def loud(n: int, picture: Array) -> None:
        print("x" * 100_000)

    def once(n: int, picture: Array) -> None:
        if n == 3:
            sys.stdout.write("picture\n" * 600_000)

    def errors(n: int, picture: Array) -> None:
        sys.stderr.write("late again\n" * 20_000)

    act("prints megabytes", walls[4], "100 kB on standard output for every picture", loud, word)
    act("prints megabytes", walls[1], "4.8 MB on standard output at call 3", once, word)
    act("prints megabytes", walls[4], "220 kB on standard error for every picture", errors, word)


SENDER = '''
import json, socket, struct, sys, time, os
import numpy as np
sys.path.append({root!r})
from tests.outside.generated.walls import WALLS
wall = WALLS[{wall!r}]
host, port = sys.argv[1].rsplit(":", 1)
link = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
count = 0

def packet(data, sequence, universe=1):
    """ANSI E1.31-2018, table 4-1: root, framing and DMP layer."""
    dmp = struct.pack(">HBBHHH", 0x7000 | (len(data) + 11), 2, 0xA1, 0, 1, len(data) + 1) + b"\\0" + data
    framing = struct.pack(">HI64sBHBBH", 0x7000 | (len(dmp) + 77), 2, b"theirs", 100, 0,
                          sequence & 255, 0, universe) + dmp
    root = struct.pack(">HH12sHI16s", 16, 0, b"ASC-E1.17\\0\\0\\0", 0x7000 | (len(framing) + 22), 4,
                       b"a sender of ours")
    return root + framing

def send(codes):
    global count
    drives = wall.drives(codes).astype(np.uint8)
    wire = drives[:, ["RGB".index(c) for c in wall.order]]
    link.sendto(packet(wire.tobytes(), count), (host.strip("[]"), int(port)))
    count += 1

before = []
for n, line in enumerate(sys.stdin):
    asked = json.loads(line)
    picture = np.frombuffer(bytes.fromhex(asked["rgb"]), np.uint8)
    codes = wall.gather(picture.reshape(asked["rows"], asked["columns"], 3)).astype(int)
    before.append(codes)
{deed}
'''


def programs(made: list[Case]) -> None:
    wall = WALLS["plain"]
    sends = "    send(codes)"
    gone = both(has(r"exit|ended|ends|stopped|quit|died"), has(r"picture|frame"))

    def add(kind: str, truth: str, deed: str, *named: Said, quiet: bool = False,
            exits: tuple[int, ...] = (1, 2)) -> None:  # fmt: skip
        text = SENDER.format(
            root=str(__file__).split("/tests/outside")[0], wall=wall.name, deed=deed
        )
        made.append(
            Case(f"program: {kind}", wall, truth, lambda: wall.right, named, lies=lies,
                 style="program", program=f"{sys.executable} theirs.py {{e131}}",
                 files={"theirs.py": text}, quiet=quiet, exits=exits)
        )  # fmt: skip

    add("right", "right", sends, quiet=True)
    add("late", "the picture before is sent", "    send(before[max(n - 1, 0)])", BEFORE, exits=(1,))
    add("ends", "ends with status 0 at picture 10",
        "    if n == 10:\n        os._exit(0)\n" + sends, gone)  # fmt: skip
    add("raises", "raises at picture 6",
        "    if n == 6:\n        raise ValueError('no such cell')\n" + sends,
        both(gone, has("no such cell|ValueError|status 1|exit")))  # fmt: skip
    add("every n-th black", "every 4th frame is black",
        "    send(codes * (n % 4 < 3))", both(every(4), has("black|dark")), exits=(1,))  # fmt: skip
    add("silent", "nothing is sent for every 10th picture",
        "    if n % 10 < 9:\n        send(codes)",
        has(r"nothing|no frame|silent|not answer|no answer|without|did not"))  # fmt: skip
    add("range late", "LEDs 40 to 79 show the picture before",
        "    codes = codes.copy()\n    codes[40:80] = before[max(n - 1, 0)][40:80]\n    send(codes)",
        both(BEFORE, number(40), number(79)), exits=(1,))  # fmt: skip
    add(
        "prints megabytes",
        "100 kB on standard output for every picture",
        "    print('x' * 100_000, flush=True)\n" + sends,
        both(has(r"print|output|wrote|writes"), has(r"MB|kB|bytes|lines")),
        exits=(1,),
    )
