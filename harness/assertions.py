"""Assertions on what a display shows and draws; pictures are printed where they fail."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.bench import Bench
from emulator.canvas import check_picture, current_a, linear_to_srgb, srgb_to_linear
from emulator.power.balance import balance
from emulator.power.solve import Rails
from emulator.power.supply import run_supplies
from emulator.power.wire import CAUTION, ampacity_a
from harness.flash.judge import CAUTION as FLASH_CAUTION
from harness.flash.judge import judge_bench
from harness.report.flash import described
from harness.report.picture import letter_picture

_MOST_WIDE = 120


def assert_shows(bench: Bench, expected: ArrayLike, tolerance: int = 2) -> None:
    """Fail unless the display shows a picture now.

    expected: (rows, columns, 3), uint8 sRGB or float linear light. tolerance: how far a channel
    may be off, in code values of sRGB (0 to 255); 2 allows for the rounding of linear drives in
    all but the darkest levels. Gap cells are not compared.

    Raises AssertionError with what was expected, what is shown and where they differ;
    PictureError when `expected` does not fit the display.
    """
    display = bench.display
    wanted = check_picture(expected, display)
    light = srgb_to_linear(wanted.astype(float) / 255) if wanted.dtype == np.uint8 else wanted
    meant = np.asarray(light, dtype=np.float32)
    shown = bench.picture
    step = 0.5 / 255  # a drive is a whole number: half a step is rounding, not a fault
    off = np.abs(255 * linear_to_srgb(shown) - 255 * linear_to_srgb(meant)) > tolerance
    differs = (off & (np.abs(shown - meant) > step)).any(axis=-1) & ~display.gap
    if not differs.any():
        return
    row, column = (int(v) for v in np.argwhere(differs)[0])
    led = int(display.wiring.led_at[row, column])
    line, number = int(display.wiring.line[led]), int(display.wiring.led[led])
    raise AssertionError(
        f"{int(differs.sum())} of {display.leds} cells differ; the first is column {column},"
        f" row {row} (line {line}, LED {number}): expected {_hex(meant[row, column])},"
        f" shown {_hex(shown[row, column])}\n\n"
        + _side_by_side(
            ("expected", letter_picture(meant, display.gap)),
            ("shown", letter_picture(shown, display.gap)),
            ("different", ["".join(".X"[int(d)] for d in line) for line in differs]),
        )
        + "\n(r g b y c m w: colours, capitals bright; . dark; space: a gap)"
    )


def assert_current_at_most(bench: Bench, amps: float) -> None:
    """Fail unless every frame latched so far asks for at most `amps`.

    Reckoned as the limiter does, without voltage drop, so the true current is no more. The
    estimate rests on the catalogue's figures for the chip. Raises AssertionError.
    """
    if not len(bench.frames):
        return
    asked = current_a(bench.frames, bench.display.chip)
    if (asked <= amps).all():
        return
    worst = int(asked.argmax())
    over = int((asked > amps).sum())
    raise AssertionError(
        f"{over} of {len(asked)} frames ask for more than {amps:g} A; the most is"
        f" {asked[worst]:.2f} A at {bench.recorder.times_ns[worst] / 1e9:.3f} s"
    )


def assert_volts_at_least(bench: Bench, volts: float) -> None:
    """Fail unless every LED had at least `volts` in every frame latched so far.

    Raises AssertionError naming the LED and the frame with the least.
    """
    rails = _rails(bench)
    if not rails.led_volts.size or rails.led_volts.min() >= volts:
        return
    frame, led = (int(i) for i in np.unravel_index(rails.led_volts.argmin(), rails.led_volts.shape))
    wiring = bench.display.wiring
    raise AssertionError(
        f"line {wiring.line[led]}, LED {wiring.led[led]} (column {wiring.column[led]}, row"
        f" {wiring.row[led]}) gets {rails.led_volts[frame, led]:.2f} V at"
        f" {bench.recorder.times_ns[frame] / 1e9:.3f} s; at least {volts:g} V were asked for"
    )


def assert_wires_carry(bench: Bench) -> None:
    """Fail unless every wire stayed under its guidance ampacity in every frame latched so far.

    Guidance only: see emulator.power.wire.CAUTION. Raises AssertionError naming the wires.
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


def assert_no_flash_hazard(bench: Bench, distance_m: float | None = None) -> None:
    """Fail unless every frame latched so far stays below the flash thresholds of WCAG 2.2.

    SC 2.3.1, at the display's real size, seen from `distance_m`, by default that of [view]. It
    informs; it is no medical clearance. Raises AssertionError naming the worst second and place.
    """
    if not len(bench.frames):
        return
    judged = judge_bench(bench, distance_m)
    above = [described(kind) for kind in (judged.general, judged.red) if not kind.below]
    if above:
        raise AssertionError(
            f"above the flash thresholds, seen from {judged.distance_m:g} m: "
            + "\n".join(above)
            + f"\n{FLASH_CAUTION}"
        )


def _rails(bench: Bench) -> Rails:
    """All frames latched so far, solved. Raises AssertionError where the solver gave up."""
    frames, chip = bench.frames, bench.display.chip  # the frames first: asking records the last
    rails = run_supplies(bench.network, frames, chip, bench.recorder.times_ns).rails
    if not rails.converged.all():
        raise AssertionError("the voltages of some frames could not be worked out")
    return rails


def _side_by_side(*pictures: tuple[str, list[str]]) -> str:
    width = max(len(pictures[0][1][0]), max(len(title) for title, _ in pictures))
    if len(pictures) * (width + 2) > _MOST_WIDE:
        return "\n".join(line for title, rows in pictures for line in (title, *rows))
    lines = zip(*([title, *rows] for title, rows in pictures), strict=True)
    return "\n".join("  ".join(part.ljust(width) for part in line).rstrip() for line in lines)


def _hex(light: NDArray[np.float32]) -> str:
    red, green, blue = (int(v) for v in np.round(255 * linear_to_srgb(light)))
    return f"#{red:02x}{green:02x}{blue:02x}"
