"""A firmware project for a display: a folder that `make` turns into an .elf without changes."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterable
from pathlib import Path

from emulator.files import MARK, whole_folder
from emulator.ports.firmware.plan import Plan
from emulator.signal.framing import START_BYTES, has_end_frame, has_seven_bits

_SOURCES = Path(__file__).parent / "project"
_RECEIVER = Path(__file__).parent.parent / "serial" / "receiver"
_PAGE = 0x100  # of RAM, which the ring needs
_DATA_SPACE = 0x800000  # where avr-gcc's addresses of RAM begin


def write_project(plan: Plan, folder: Path) -> None:
    """Write the project, whole or not at all. Raises WriteError if the folder is not empty."""
    with whole_folder(folder) as beside:
        for source in (*_SOURCES.iterdir(), *_RECEIVER.iterdir()):
            if source.is_file():
                shutil.copyfile(source, beside / source.name)
        (beside / "wall.h").write_text(wall_header(plan))
        (beside / "trace.h").write_text(trace_header(plan))
        (beside / "wall.mk").write_text(wall_make(plan))


def project_name(plan: Plan) -> str:
    """The display's name as the name of a file: letters, digits, - and _."""
    return re.sub(r"[^A-Za-z0-9_-]+", "-", plan.display.name).strip("-") or "wall"


def wall_make(plan: Plan) -> str:
    """The settings of `make` for the wall and its controller."""
    ram_at = _DATA_SPACE + plan.controller.ram_at
    return (
        f"# {MARK} for '{_words(plan.display.name)}'.\n"
        f"NAME = {project_name(plan)}\n"
        f"CONTROLLER = {plan.controller.part}\n"
        f"HZ = {plan.hz}\n"
        "# The ring has the first page of RAM; the variables begin after it.\n"
        f"RING_AT = {ram_at:#x}\n"
        f"DATA_AT = {ram_at + _PAGE:#x}\n"
    )


def wall_header(plan: Plan) -> str:
    """The content of wall.h: the facts of this wall."""
    chip = plan.display.chip
    counts = plan.display.wiring.line_lengths
    order = " ".join("intensity" if letter == "I" else letter for letter in chip.order)
    settings = {
        "WALL_CONTROLLER": f'"{plan.controller.part}"',
        "WALL_BAUD": f"{plan.baud}UL",
        "WALL_PINS": _list(f"{{{_pin_words(pin.data, pin.clock)}}}" for pin in plan.pins),
        "WALL_REST_US": str(plan.rest_us),
    }
    if plan.cycles is not None:
        settings |= {
            "ONEWIRE_HIGH_0": str(plan.cycles.high_0),
            "ONEWIRE_HIGH_1": str(plan.cycles.high_1),
            "ONEWIRE_BIT": str(plan.cycles.bit),
        }
    else:
        settings["WALL_CLOCK_HZ"] = f"{plan.clock_hz}UL"
    if plan.spi_line is not None:
        settings |= {
            "WALL_SPI_LINE": str(plan.spi_line),
            "WALL_SPI_SS": _place(plan.controller.ss),
            "WALL_SPI_RATE": str(plan.spi_rate),
        }
    settings |= {
        "FOREGLOW_CHIP": f'"{chip.part}"',
        "FOREGLOW_LINES": str(len(counts)),
        "FOREGLOW_LEDS": _list(map(str, counts)),
        "FOREGLOW_LINE_BYTES": _list(map(str, plan.room)),
        "FOREGLOW_FRAME_BYTES": f"{sum(plan.room)}U",
        "FOREGLOW_MOST_DATA": str(plan.most_data),
        "FOREGLOW_RING": "256",
        "FOREGLOW_RING_PLACE": '__attribute__((section(".noinit")))',
        "FOREGLOW_HOLD": f"{plan.hold}U",
    }
    if has_end_frame(chip):
        first, each = START_BYTES, chip.bytes_per_led
        settings["FOREGLOW_DARK(line, at)"] = (
            f"((at) >= {first} && (at) < {first} + {each} * leds[line]"
            f" && ((at) - {first}) % {each} == 0 ? 0xE0 : 0)"
        )
    elif has_seven_bits(chip):
        settings["FOREGLOW_DARK(line, at)"] = (
            f"((at) < {chip.bytes_per_led} * leds[line] ? 0x80 : 0)"
        )
    comments = {
        "WALL_PINS": "one a line" if plan.cycles else "data and clock of each line",
        "WALL_REST_US": "between two frames",
        "ONEWIRE_HIGH_0": f"cycles of {1e9 / plan.hz:g} ns: {chip.part} in whole cycles",
        "FOREGLOW_CHIP": f"bytes of an LED, as the sender orders them: {order}",
        "FOREGLOW_HOLD": "tenths of a second of silence until the LEDs go dark; 0: never",
        "FOREGLOW_MOST_DATA": "LED bytes in a message",
    }
    lines = [
        f"/* {MARK} for '{_words(plan.display.name)}': {plan.display.leds} LEDs on"
        f" {plan.controller.name} at {plan.hz / 1e6:g} MHz. */",
        "#ifndef WALL_H",
        "#define WALL_H",
        "",
    ]
    for name, value in settings.items():
        comment = f" /* {comments[name]} */" if name in comments else ""
        lines.append(f"#define {name} {value}{comment}")
    return "\n".join([*lines, "", "#endif", ""])


def trace_header(plan: Plan) -> str:
    """The content of trace.h: the pins that simavr traces, with the names that captures use."""
    lines = [f"/* {MARK}: the pins, for simulation.c. */"]
    lines.append(f'AVR_MCU_VCD_FILE("{project_name(plan)[:48]}.vcd", 1000);')
    for number, pin in enumerate(plan.pins):
        names = {pin.data: f"line_{number}" if pin.clock is None else f"data_{number}"}
        if pin.clock is not None:
            names[pin.clock] = f"clk_{number}"
        lines += [
            f"AVR_MCU_VCD_PORT_PIN('{place[0]}', {place[1]}, \"{name}\");"
            for place, name in names.items()
        ]
    return "\n".join([*lines, ""])


def _words(name: str) -> str:
    """A name for a comment, without characters that would end the comment."""
    return re.sub(r"[^ -~]|\*/|\\", "-", name)


def _list(items: Iterable[str]) -> str:
    return "{" + ", ".join(items) + "}"


def _place(pin: str) -> str:
    return f"{pin[0]}, {pin[1]}"


def _pin_words(*pins: str | None) -> str:
    return ", ".join(f"PIN({_place(pin)})" for pin in pins if pin is not None)
