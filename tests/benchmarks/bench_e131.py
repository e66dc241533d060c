"""E1.31 out and in: 589 universes at 30 frames/s from one process to another, on loopback."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Iterator

import numpy as np

from emulator import open_output
from emulator.ports.e131.listen import listen_e131
from emulator.ports.e131.receiver import Tally
from tests.benchmarks.bench_recording import wall
from tests.benchmarks.row import Row

SECONDS, RATE = 4, 30
ADDRESS = "e131://127.0.0.1:15568"


def send() -> None:
    """Send pictures at the rate; print how many, in what time, what could not be sent, the CPU."""
    display = wall()
    rng = np.random.default_rng(1)
    pictures = rng.integers(0, 256, (RATE, *display.picture_shape), np.uint8)
    with open_output(ADDRESS, display) as out:
        cpu_s, begin_s = time.process_time(), time.monotonic()
        for number in range(SECONDS * RATE):
            time.sleep(max(begin_s + number / RATE - time.monotonic(), 0))
            out.send(pictures[number % RATE])
        cpu_s = time.process_time() - cpu_s
        print(number + 1, time.monotonic() - begin_s, out.lost, cpu_s)


def rows() -> Iterator[Row]:
    """One row: what came, what was lost, and the CPU of both processes."""
    code = "from tests.benchmarks.bench_e131 import send; send()"
    display, tally = wall(), Tally()
    with open_output("memory:", display) as output:
        child = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
        begin_s = time.process_time()
        ends_s = time.monotonic() + 10 * SECONDS

        def until() -> bool:
            return (tally.frames > 0 and not _still_sends(child)) or time.monotonic() > ends_s

        listen_e131(output, ADDRESS, tally=tally, until=until)
        heard_s = time.process_time() - begin_s
    sent, took_s, unsent, sending_s = child.communicate()[0].split()
    frames = int(sent)
    universes = -(-display.leds // 170)
    each = 1e6 / frames / universes
    yield Row(
        f"E1.31, {universes} universes, {frames} frames in {float(took_s):.1f} s on loopback",
        f"{tally.frames} frames shown, {tally.superseded} replaced, {tally.incomplete} incomplete;"
        f" {tally.missed} datagrams missed, {unsent} not sent;"
        f" CPU per universe: {each * float(sending_s):.1f} µs to send, {each * heard_s:.1f} µs to"
        " receive and show",
        "nothing lost on an idle machine",
        f"{1e6 / RATE / universes:.1f} µs of a core",
    )


def _still_sends(child: subprocess.Popen[str]) -> bool:
    """Whether the sender still runs; it stays to be waited for."""
    return os.waitid(os.P_PID, child.pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is None
