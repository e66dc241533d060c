"""The check-off list: the order of the work, what to play, what must be seen or measured."""

from __future__ import annotations

from typing import NamedTuple

from emulator.description.display import Display
from emulator.description.geometry import Geometry
from emulator.description.wiring import Run
from harness.report.sheet.volts import Expected
from harness.report.sheet.wires import feed_place, jumper_number

_LIMIT_MARGIN = 1.5  # of a bench supply's limit over what it should give: own figure


class Step(NamedTuple):
    """A step: what to do, what to play or measure, what must be seen."""

    what: str
    play: str
    seen: str


CAUTIONS = (
    "Mains can kill. Mains wiring, its protection and the earth of a metal case follow local codes"
    " and are the work of a licensed electrician. Switch off and unplug before you touch anything.",
    "Never solder on a wall that has power. Unplug, wait, measure 0 V between + and GND, then"
    " solder.",
    "Fuse each wire where it starts, for the wire and not for the LEDs. A low voltage does not make"
    " a short harmless: supplies of this size melt wires and start fires. Keep an extinguisher"
    " near.",
    "The iron is 300 °C and more; solder fumes irritate: use an extractor or an open window, and"
    " wash your hands if the solder has lead. Wear glasses when you cut wires and drill.",
    "LEDs at full white get hot and are too bright to look at. Test with dim pictures. Flashing"
    " light can harm people with photosensitive epilepsy: warn people before you play patterns.",
)


def end_in_words(display: Display, run: Run) -> str:
    """Where a run ends: 'LED 143, row 5, right'."""
    wiring = display.wiring
    first = wiring.line_starts[run.line]
    last = next(
        (led for led in range(run.last, run.first - 1, -1) if not wiring.hidden[first + led]), None
    )
    if last is None:
        return f"LED {run.last}, hidden, no light"
    column, row = int(wiring.column[first + last]), int(wiring.row[first + last])
    if column in (0, wiring.columns - 1) and wiring.columns > 1:
        place = f"row {row}, {'right' if column else 'left'}"
    elif row in (0, wiring.rows - 1) and wiring.rows > 1:
        place = f"column {column}, {'bottom' if row else 'top'}"
    else:
        place = f"column {column}, row {row}"
    dark = f" (LEDs to {run.last} are hidden and stay dark)" if last < run.last else ""
    return f"LED {last}, {place}{dark}"


def first_steps(display: Display, geometry: Geometry) -> list[Step]:
    """What comes before the first strip."""
    holes = len(geometry.holes)
    drill = (
        Step(f"Tape the template to the front, drill {holes} holes of"
             f" {display.placement.hole_mm:g} mm, remove burrs.", "a piece of wire",
             "It passes through every hole and no edge cuts its insulation.")
        if holes
        else Step("Tape the template to the front, mark strips and wires.", "",
                  "All marks are there.")
    )  # fmt: skip
    return [
        Step("Print template and labels at 100 %, without fitting them to the page.",
             "a ruler on the control line", "100 mm on every page."),
        drill,
        Step("Cut the strips by the cut list, on the marks between pads; label them.",
             "the letters of the pads",
             f"{' '.join(display.board.pads_of(display.chip))} from top to bottom with the arrow to"
             " the right; else stop and give pads in [board]."),
        Step("Clean the board with alcohol. Let it dry.", "", "Dry, no dust."),
    ]  # fmt: skip


def run_steps(display: Display, geometry: Geometry) -> list[Step]:
    """A step for each run."""
    steps, runs, chip = [], display.wiring.runs, display.chip
    leds = 0
    for number, run in enumerate(runs):
        leds = leds + run.leds if number and runs[number - 1].line == run.line else run.leds
        wires = [
            f"F{n}"
            for n, feed in enumerate(display.whole_power.feed)
            if feed.line == run.line and run.first <= feed.led <= run.last
        ]
        first = not number or runs[number - 1].line != run.line
        wires.insert(0, f"D{run.line}" if first else jumper_number(geometry, number - 1))
        limit_a = _LIMIT_MARGIN * (leds * chip.dark_ma + 4 * chip.channel_ma) / 1000
        measure = "ohms between + and GND; "
        power = f"{chip.volts:g} V from a bench supply limited to {max(0.1, limit_a):.1f} A; "
        steps.append(
            Step(
                f"Glue run {number} (LEDs {run.first} to {run.last} of line {run.line}) along its"
                f" line, the first LED on its cross. Solder {', '.join(wires)}.",
                f"{measure}{power}chase",
                f"Not near 0 Ω. After run {number}: chase ends at {end_in_words(display, run)}.",
            )
        )
    return steps


def last_steps(display: Display, expected: Expected) -> list[Step]:
    """What comes after the last strip."""
    power = display.whole_power
    steps = [
        Step(
            f"{supply.name}: have it connected to the mains, with nothing at its output. Set it.",
            "volts at its terminals", f"{supply.volts:g} V, + and - as marked.",
        )
        for supply in power.supply
    ]  # fmt: skip
    if expected.fuses:
        some = ", ".join(f"F{n} {amps:g} A" for n, amps in list(expected.fuses.items())[:8])
        more = " …" if len(expected.fuses) > 8 else ""
        steps.append(
            Step(f"Fit the fuses where the feeds start: {some}{more}; see the wire list.",
                 "ohms across each fuse", "Near 0 Ω.")
        )  # fmt: skip
    steps += [
        Step(f"Join feeds and buses, unplugged. F0 goes to {feed_place(display, 0)}.",
             "ohms between + and GND at each supply, the supply disconnected",
             "Not near 0 Ω; it may rise while capacitors charge. + of supplies of unequal volts not"
             " joined."),
        Step("Join all GND, also that of the controller.", "ohms from GND to GND", "Near 0 Ω."),
        Step("Switch on with everything dark, one supply after the other.", "dark",
             f"{expected.assessment.dark.drawn_a:.2f} A in all; nothing warm; no smell. Else switch"
             " off."),
        Step("Measure at the far ends, dark, then white as bright as the limit allows, 10 s.",
             "dark; full-load", "The volts of 'Volts at the far ends', within 0.2 V."),
        Step("Channels.", "channels", "All red, green, blue, white, in this order."),
        Step("Map.", "rows, columns, corners",
             "Rows from the top, columns from the left; the mark as `foreglow view` shows it."),
        Step("An hour at the heaviest picture, with somebody beside it. Touch nothing live.",
             "full-load, then your scene",
             "No wire, fuse, connector or supply is too hot to hold for 5 s after switching off."),
    ]  # fmt: skip
    return steps
