"""What the wall draws: current, voltage, and what its wires carry."""

from __future__ import annotations

import numpy as np

from emulator.bench import Bench
from emulator.canvas import current_a
from emulator.power.balance import balance
from emulator.power.solve import Rails
from emulator.power.supply import run_supplies
from emulator.power.wire import CAUTION, ampacity_a
from harness.assertions.failure import CourseFailure
from harness.assertions.latched import latched_frames
from harness.result.course import Course

__tracebackhide__ = True  # a failure points to the line of the test


def assert_current_at_most(bench: Bench, amps: float) -> None:
    """Fail unless every frame latched so far asks for at most `amps` (A) in all.

    The limiter calculates this current in the same way: from the chip's figures in the catalogue
    (`foreglow chips --sources`), without voltage drop, so the true current is not higher. Raises
    AssertionError, which names the frame with the most.
    """
    asked = current_a(latched_frames(bench), bench.display.chip)
    if (asked <= amps).all():
        return
    worst = int(asked.argmax())
    over = int((asked > amps).sum())
    times_s = bench.recorder.times_ns / 1e9
    raise CourseFailure(
        f"{over} of {len(asked)} frames ask for more than {amps:g} A; the most is"
        f" {asked[worst]:.2f} A at {times_s[worst]:.3f} s",
        bench.display,
        Course("current asked for", "A", times_s, asked, ((amps, f"at most {amps:g} A"),), worst),
    )


def assert_volts_at_least(bench: Bench, volts: float) -> None:
    """Fail unless every LED had at least `volts` (V) in every frame latched so far.

    Solves the network of [power] for each frame. Raises AssertionError, which names the LED and the
    frame with the lowest voltage.
    """
    rails = _rails(bench)
    if rails.led_volts.min() >= volts:
        return
    frame, led = (int(i) for i in np.unravel_index(rails.led_volts.argmin(), rails.led_volts.shape))
    wiring, times_s = bench.display.wiring, bench.recorder.times_ns / 1e9
    lowest, limits = rails.led_volts.min(axis=1), ((volts, f"at least {volts:g} V"),)
    raise CourseFailure(
        f"line {wiring.line[led]}, LED {wiring.led[led]} ({wiring.cell_in_words(led)}) gets"
        f" {rails.led_volts[frame, led]:.3f} V at"
        f" {times_s[frame]:.3f} s; expected at least {volts:g} V",
        bench.display,
        Course("voltage of the lowest LED", "V", times_s, lowest, limits, frame),
        None if wiring.hidden[led] else (int(wiring.column[led]), int(wiring.row[led])),
    )


def assert_wires_carry(bench: Bench) -> None:
    """Fail unless no wire carried more than its guidance ampacity (A) in any frame latched so far.

    Source: emulator.power.wire.AMPACITY_SOURCE. Guidance only: see CAUTION there. Raises
    AssertionError, which names the wires.
    """
    network = bench.network
    most = balance(network, _rails(bench)).wire_current_a.max(axis=0, initial=0.0)
    hot = [
        f"{wire.name} carries {amps:.1f} A, guidance {ampacity_a(wire.area_mm2):.1f} A"
        for wire, amps in zip(network.wires, most.tolist(), strict=True)
        if wire.area_mm2 is not None and not amps <= ampacity_a(wire.area_mm2)
    ]
    if hot:
        raise AssertionError("; ".join(hot) + f"\n{CAUTION}")


def _rails(bench: Bench) -> Rails:
    """All frames latched so far, solved. Raises AssertionError if the solver found no solution."""
    frames, chip = latched_frames(bench), bench.display.chip  # first: asking records the last
    rails = run_supplies(bench.network, frames, chip, bench.recorder.times_ns).rails
    if not rails.converged.all():
        raise AssertionError("the voltages of some frames could not be calculated")
    return rails
