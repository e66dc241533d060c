"""The rail network: against ngspice on the same netlist, and against itself on a larger wall."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path

import numpy as np

from emulator import Display, parse_display
from emulator.power.network import build_network
from emulator.power.solve import solve_rails
from tests.benchmarks.bench_frames import wall
from tests.benchmarks.row import Row, best_s
from tests.outside.test_ngspice import netlist

FRAMES = 1000


def random_frames(display: Display, frames: int) -> np.ndarray:
    """(T, N, C) of frames with every drive drawn by chance."""
    rng = np.random.default_rng(1)
    return rng.integers(0, 256, (frames, display.leds, 3), np.uint8)


def supplied_wall(rows: int, supplies: int) -> Display:
    """A wall of rows of 100 LEDs; the same rows and load for each supply, whatever its size."""
    text = f"[grid]\ncolumns=100\nrows={rows}\n[chip]\npart='WS2812B'\n[wiring]\n"
    return parse_display(text + "[[power.supply]]\n" * supplies, Path("bench.toml"))


def rails_s(display: Display, frames: int, most_a: float = np.inf) -> float:
    """Time of one frame in a stack, the network already built."""
    drives = random_frames(display, frames)
    network = build_network(display)
    assert solve_rails(network, drives, display.chip, most_a).converged.all()
    return best_s(lambda: solve_rails(network, drives, display.chip, most_a), 3) / frames


def ngspice_s(display: Display) -> float:
    """Time ngspice takes for one operating point, without its start.

    The analysis is repeated within one run, so that starting the program and reading the netlist
    does not count against it.
    """
    repeats = 20
    text = netlist(build_network(display), display.chip, random_frames(display, 1)[0])
    loop = f"repeat {repeats}\nop\nend"
    with tempfile.TemporaryDirectory() as folder:

        def run(control: str) -> None:
            path = Path(folder) / "net.cir"
            path.write_text(text.replace("op\nwrite out.raw", f"{control}\nquit 0"))
            subprocess.run(["ngspice", "-b", str(path)], check=True, capture_output=True)

        return (best_s(lambda: run(loop), 3) - best_s(lambda: run("op"), 3)) / (repeats - 1)


def rows() -> list[Row]:
    """The rows of this file."""
    display = wall(24, 24)
    ours, overloaded = rails_s(display, FRAMES), rails_s(display, FRAMES, 8.0)
    versus = versus_overloaded = "no ngspice here"
    if shutil.which("ngspice"):
        theirs = ngspice_s(display)
        versus = f"{theirs / ours:.0f}× faster"
        versus_overloaded = f"{theirs / overloaded:.0f}× faster"
    thousand, ten_thousand = supplied_wall(10, 1), supplied_wall(100, 10)
    small = rails_s(thousand, 100) / thousand.leds
    large = rails_s(ten_thousand, 100) / ten_thousand.leds
    return [
        Row(
            f"rail network, 576 LEDs, {FRAMES} frames: {1e3 * ours:.2f} ms a frame",
            versus,
            "≥ 100×",
            "ngspice .op, same netlist",
        ),
        Row(
            f"the same, supply folded back to 8 A: {1e3 * overloaded:.2f} ms a frame",
            versus_overloaded,
            "≥ 100×",
            "ngspice .op, ideal supply",
        ),
        Row(
            "rail network, ns per LED and frame, 1,000 → 10,000 LEDs, 100 frames",
            f"{1e9 * small:.0f} → {1e9 * large:.0f} ns, {large / small:.2f}×",
            "≤ 1.5×",
            "linear",
        ),
    ]
