"""Commands on walls of 10,000 to 1,000,000 LEDs: `python -m tests.benchmarks --large`.

Each command runs as a user would run it, in a process of its own. CPU time is that of all its
threads, and its growth per LED is taken against the smaller wall of the same run. Memory is the
most that the process held (`ru_maxrss` of `wait4`). A command that needs more than `MOST_CPU_S` is
ended and counts as not done.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from tests.benchmarks.row import Row

MOST_CPU_S = 500
SIDES = {10_000: (100, 100), 100_000: (500, 200), 1_000_000: (1000, 1000)}  # columns, rows
LINE_LEDS = 1000  # a line, with a supply of its own
CHECKS = "wire,map,colour,levels,patterns,flash,power,light"


class Command(NamedTuple):
    """A command of foreglow ({} is the display file), the walls it runs on, and its marks.

    powered: the wall has supplies and feeds that suffice. most_mb: of the largest wall.
    """

    words: str
    leds: tuple[int, ...]
    powered: bool = False
    growth: float = 1.3
    most_mb: int = 3000


TWO, THREE = (10_000, 100_000), (10_000, 100_000, 1_000_000)
COMMANDS = (
    Command("map {} --format csv", THREE),
    *(Command("check {} --only " + name, TWO, True, most_mb=800) for name in CHECKS.split(",")),
    Command("check {}", TWO, True, most_mb=800),
    Command("check {}", (100_000, 1_000_000), True, most_mb=3000),
    Command("power {}", TWO, True, most_mb=1000),
    Command("power {}", TWO, False, most_mb=1000),
    Command("power {} --plan 4.5", TWO, True, most_mb=1000),
    Command("power {} --plan 4.5", TWO, False, most_mb=1000),
    Command("light {}", (100_000, 1_000_000)),
    Command("render {} aurora -o out.png", (100_000, 1_000_000)),
)


def wall_text(leds: int, powered: bool) -> str:
    """A display file. powered: a supply of 70 A a line of 1,000 LEDs, fed every 60 LEDs by thick
    wires from a bus; otherwise the file says nothing of power, and one supply feeds all."""
    columns, rows = SIDES[leds]
    count = leds // LINE_LEDS
    text = f"[grid]\ncolumns = {columns}\nrows = {rows}\n[chip]\npart = 'WS2812B'\n"
    text += f"[wiring]\nlines = {count}\n"
    if powered:
        text += "[power]\n"
        text += "supply = [" + "{volts = 5, amps = 70},\n" * count + "]\n"
        text += "feed = [\n"
        for line in range(count):
            first = f"{{line={line},supply={line},awg=16,length_m=0.3,led="
            text += "".join(f"{first}{led}}}," for led in range(0, LINE_LEDS, 60)) + "\n"
        text += "]\nbus = [\n"
        wires = "mm2 = 35, between_m = 0.05, to_first_m = 0.3"
        text += "".join(f"{{supply = {line}, {wires}}},\n" for line in range(count)) + "]\n"
    return text


class Spent(NamedTuple):
    """What a command took; `done`: it ended by itself, without an error of its own."""

    cpu_s: float
    peak_mb: float
    done: bool


def spent(words: Sequence[str], folder: Path) -> Spent:
    """Run foreglow with `words` in `folder`.

    Exit status 1 is a verdict ('this wall is too slow'); 2 and more, and signals, are errors.
    """
    with (folder / "said.txt").open("w") as said:
        child = subprocess.Popen(
            [sys.executable, "-m", "foreglow", *words],
            cwd=folder,
            stdout=said,
            stderr=said,
            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_CPU, (MOST_CPU_S, MOST_CPU_S)),
        )
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
    cpu_s = usage.ru_utime + usage.ru_stime
    return Spent(cpu_s, usage.ru_maxrss / 1024, child.returncode in (0, 1))


def rows(only: str = "") -> Iterator[Row]:
    """A row a command; only: those whose words begin so. Each row is yielded when it is done."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for command in COMMANDS:
            if command.words.format("wall").startswith(only):
                yield _row(command, folder)


def _row(command: Command, folder: Path) -> Row:
    said, per_led = [], []
    for leds in command.leds:
        wall = folder / f"wall{leds}.toml"
        wall.write_text(wall_text(leds, command.powered))
        took = spent(command.words.format(wall.name).split(), folder)
        if not took.done:
            said.append(
                f"not done in {MOST_CPU_S} s of CPU"
                if took.cpu_s > 0.98 * MOST_CPU_S
                else "error: " + (folder / "said.txt").read_text()[-200:]
            )
            break
        per_led.append(took.cpu_s / leds)
        said.append(f"{took.cpu_s:.1f} s, {took.peak_mb:.0f} MB")
    if len(per_led) == len(command.leds):
        said[-1] += f"; {per_led[-1] / per_led[-2]:.2f}× per LED"
    sizes = " → ".join(f"{leds:,}" for leds in command.leds)
    kind = ", supplies and feeds given" if command.powered else ""
    return Row(
        f"{command.words.format('wall')}: {sizes} LEDs{kind}",
        " → ".join(said),
        f"≤ {command.growth}×, {command.most_mb} MB",
        "linear, start included",
    )
