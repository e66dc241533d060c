"""A firmware project built by make, run under simavr, and driven as a user would."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from emulator import parse_display
from emulator.clock import RealClock
from emulator.ports.firmware.controller import controller
from emulator.ports.firmware.live import LiveFirmware
from emulator.ports.firmware.pins import PinReader
from emulator.ports.firmware.plan import make_plan
from emulator.ports.firmware.project import project_name, write_project

needed = pytest.mark.skipif(
    not (shutil.which("avr-gcc") and shutil.which("make") and shutil.which("gcc"))
    or not Path("/usr/include/simavr/sim_avr.h").is_file(),
    reason="no simavr, avr-gcc or make (apt-get install make gcc libc6-dev gcc-avr avr-libc"
    " libsimavr-dev)",
)


def wall(leds=(12,), part="WS2812B", extra=""):
    """A display of lines of so many LEDs each, all of one length."""
    assert len(set(leds)) == 1
    text = f'[grid]\ncolumns = {leds[0]}\nrows = {len(leds)}\n[chip]\npart = "{part}"\n'
    text += f"[wiring]\nlines = {len(leds)}\npath = 'progressive'\n{extra}"
    return parse_display(text, Path("wall.toml"))


def build(folder, display, part="ATmega328P", mhz=16, **options):
    """(plan, elf, output of make) of a project built unchanged."""
    plan = make_plan(display, controller(part), mhz, **options)
    write_project(plan, folder)
    done = subprocess.run(["make"], cwd=folder, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return plan, folder / f"{project_name(plan)}.elf", done.stdout + done.stderr


class Chain(LiveFirmware):
    """A live firmware whose frames are read as they come; `frames` are those of all lines."""

    def __init__(self, plan, elf, **options):
        self.plan = plan
        self.reader = PinReader(plan.display.chip, plan.pins)
        self.captures, self.changed_at, self.clock = [], [], RealClock()
        super().__init__(elf, self.reader.pins, **options)

    def step(self):
        changes = self.read()
        self.changed_at += changes["cycle"].tolist()
        if self.hz:
            self.captures += self.reader.take(changes, self.cycle, self.hz)

    def until(self, met, seconds=60):
        """Run until a condition is met; fail where it is not in so many seconds of this machine."""
        end_ns = self.clock.now_ns() + int(seconds * 1e9)
        while not met():
            self.step()
            assert not self.ended, self.ended
            assert self.clock.now_ns() < end_ns, f"{self.came} came, {self.lost} lost"
            self.clock.wait_until(self.clock.now_ns() + 1_000_000)

    def frames(self):
        """The bytes of each frame on each line: a list a line."""
        lines = [[] for _ in self.plan.pins]
        for capture in self.captures:
            for number, line in enumerate(capture.lines):
                lines[number] += [frame.data.tobytes() for frame in line.frames]
        return lines

    def span(self):
        """Cycles from the first change of a pin to the last one."""
        return max(self.changed_at) - min(self.changed_at)

    def verdicts(self):
        return {line.verdict for capture in self.captures for line in capture.lines if line.carried}


def random_frames(display, count, seed=1):
    rng = np.random.default_rng(seed)
    shape = (count, display.leds, len(display.chip.channels))
    most = 32 if "I" in display.chip.channels else 256
    return rng.integers(0, most, shape, dtype=np.uint8)
