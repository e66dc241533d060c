"""Programs that are asked for pictures and send E1.31; right, and wrong in time."""

from __future__ import annotations

import json
import socket
import struct
import sys
from collections.abc import Callable

import numpy as np

from tests.outside.generated.cases import Case
from tests.outside.generated.player import BEFORE, every, lies
from tests.outside.generated.run import ROOT
from tests.outside.generated.walls import WALLS, Array
from tests.outside.generated.words import Said, both, has, number

WALL = WALLS["plain"]  # fewer LEDs than the 170 of a universe
Answer = Callable[[int, list[Array], Callable[[Array], None]], None]


def packet(data: bytes, sequence: int, universe: int = 1) -> bytes:
    """ANSI E1.31-2018, table 4-1: root, framing and DMP layer."""
    values = b"\0" + data
    dmp = struct.pack(">HBBHHH", 0x7000 | (len(values) + 10), 2, 0xA1, 0, 1, len(values)) + values
    framing = struct.pack(
        ">HI64sBHBBH",
        0x7000 | (len(dmp) + 77), 2, b"theirs", 100, 0, sequence & 255, 0, universe,
    )  # fmt: skip
    root = struct.pack(
        ">HH12sHI16s", 16, 0, b"ASC-E1.17", 0x7000 | (len(dmp) + 99), 4, b"a sender of ours"
    )
    return root + framing + dmp


def play(answer: Answer) -> None:
    """The program: `answer(number, codes of all pictures so far, send)` for each line asked."""
    host, port = sys.argv[1].rsplit(":", 1)
    link = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    sent = iter(range(10**9))

    def send(codes: Array) -> None:
        wire = WALL.drives(codes).astype(np.uint8)[:, ["RGB".index(c) for c in WALL.order]]
        link.sendto(packet(wire.tobytes(), next(sent)), (host.strip("[]"), int(port)))

    codes: list[Array] = []
    for n, line in enumerate(sys.stdin):
        asked = json.loads(line)
        flat = np.frombuffer(bytes.fromhex(asked["rgb"]), np.uint8)
        codes.append(WALL.gather(flat.reshape(asked["rows"], asked["columns"], 3)).astype(int))
        answer(n, codes, send)


THEIRS = """import os
import sys
sys.path.append({root!r})
from tests.outside.generated.programs import play

def answer(n, codes, send):
{deed}

play(answer)
"""


def programs(made: list[Case]) -> None:
    sends = "    send(codes[n])"
    gone = both(has(r"exit|ended|ends|stopped|quit|died"), has(r"picture|frame"))

    def add(
        kind: str, truth: str, deed: str, *named: Said, quiet: bool = False,
        exits: tuple[int, ...] = (1,),
    ) -> None:  # fmt: skip
        made.append(
            Case(f"program: {kind}", WALL, truth, lambda: WALL.right, named, lies=lies,
                 style="program", program=f"{sys.executable} theirs.py {{e131}}",
                 files={"theirs.py": THEIRS.format(root=str(ROOT), deed=deed)},
                 quiet=quiet, exits=exits)
        )  # fmt: skip

    add("right", "right", sends, quiet=True)
    add("late", "the picture before is sent", "    send(codes[max(n - 1, 0)])", BEFORE)
    add("ends", "ends with status 0 at picture 10",
        "    if n == 10:\n        os._exit(0)\n" + sends, gone, exits=(1, 2))  # fmt: skip
    add("raises", "raises at picture 6",
        "    if n == 6:\n        raise ValueError('no such cell')\n" + sends,
        both(gone, has("no such cell|ValueError|status 1|exit")), exits=(1, 2))  # fmt: skip
    add("every n-th black", "every 4th frame is black",
        "    send(codes[n] * (n % 4 < 3))", both(every(4), has("black|dark")))  # fmt: skip
    add("silent", "nothing is sent for every 10th picture",
        "    if n % 10 < 9:\n        send(codes[n])",
        has(r"nothing|no frame|silent|not answer|no answer|without|did not"),
        exits=(1, 2))  # fmt: skip
    add("range late", "LEDs 40 to 79 show the picture before",
        "    out = codes[n].copy()\n    out[40:80] = codes[max(n - 1, 0)][40:80]\n    send(out)",
        both(BEFORE, number(40), number(79)))  # fmt: skip
    add("prints megabytes", "100 kB on standard output for every picture",
        "    print('x' * 100_000, flush=True)\n" + sends,
        both(has(r"print|output|wrote|writes"), has(r"MB|kB|bytes|lines")))  # fmt: skip
