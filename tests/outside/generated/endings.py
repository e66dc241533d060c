"""Functions that change what they are given, are slow, end, raise or print."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from tests.outside.generated.walls import WALLS, Array, Wall
from tests.outside.generated.words import both, has, number


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
        until = time.thread_time() + 0.045  # of its own: others may have the core
        while time.thread_time() < until:
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
