"""What to measure at a fault: two points, and the volts that the power model expects there."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from emulator.bench import Bench
from emulator.description.display import Display
from emulator.description.faults.fault import Fault
from harness.find.place import position


class Volts(NamedTuple):
    """Volts between + and ground at an LED: with all LEDs dark and white, as planned, and white
    with the fault."""

    led: str
    dark: float
    white: float
    white_faulty: float


def expected_volts(fault: Fault, display: Display) -> Volts | None:
    """What the power model expects where a fault is; None for a fault without an LED."""
    at, wiring = position(fault, display), display.wiring
    if at is None:
        return None
    if "after" in fault.place:
        line = int(wiring.line[at])
        at = min(at + 1, wiring.line_starts[line] + wiring.line_lengths[line] - 1)
    planned, faulty = Bench(display, powered=True), Bench(display, powered=True, faults=[fault])
    volts = []
    for bench, level in ((planned, 0), (planned, 255), (faulty, 255)):
        bench.send(np.full(display.picture_shape, level, dtype=np.uint8))
        bench.settle()
        volts.append(float(bench.rail_volts()[at]))
    name = f"LED {wiring.led[at]}"
    name += f" of line {wiring.line[at]}" if len(wiring.line_lengths) > 1 else ""
    return Volts(name, *volts)


def two_points(fault: Fault, display: Display) -> str:
    """Between which two points to measure, and what to expect, for this place."""
    keys = fault.place
    if fault.name in ("data-open", "led-extra"):
        after = int(str(keys["after"]))
        source = "the controller's output" if after < 0 else f"DOUT of LED {after}"
        if fault.name == "led-extra":
            return f"look between LED {after} and LED {after + 1}: there is an LED too many"
        return f"power off: less than 1 Ω from {source} to DIN of LED {after + 1}"
    if fault.name == "led-swallows":
        led = int(str(keys["led"]))
        return (
            f"power off: less than 1 Ω from DOUT of LED {led} to DIN of LED {led + 1}; if so, "
            "the LED itself gives nothing out: replace it"
        )
    if fault.name == "led-joined":
        led = int(str(keys["led"]))
        return f"power off: DIN of LED {led - 1} and DIN of LED {led} must not be joined"
    if fault.name == "power-joint":
        after, conductor = int(str(keys["after"])), str(keys["conductor"])
        pad = "+" if conductor == "plus" else "ground"
        if keys["ohm"] != "open":
            return (
                f"all white: less than 0.1 V from {pad} of LED {after} to {pad} of LED {after + 1};"
                " most meters are too coarse for its ohms"
            )
        return f"power off: less than 1 Ω from {pad} of LED {after} to {pad} of LED {after + 1}"
    return fault.measure
