"""Where a fault is, in the words of somebody who stands before the wall, or behind it."""

from __future__ import annotations

from emulator.description.display import Display
from emulator.description.faults.fault import Fault

_ORDINALS = (
    "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth",
    "eleventh", "twelfth",
)  # fmt: skip


def ordinal(number: int) -> str:
    """'third' of 2, '13th' of 12."""
    if number < len(_ORDINALS):
        return _ORDINALS[number]
    count = number + 1
    ending = {1: "st", 2: "nd", 3: "rd"}.get(count % 10, "th")
    return f"{count}{'th' if count % 100 in (11, 12, 13) else ending}"


def short(fault: Fault, display: Display) -> str:
    """'data-open: the data joint between LED 171 and LED 172'."""
    return f"{fault.name}: {named_place(fault, display)}{variant(fault)}"


def named_place(fault: Fault, display: Display) -> str:
    """The part that is wrong: 'the joint between LED 171 and LED 172 of line 0'."""
    keys = fault.place
    line = keys.get("line")
    of_line = f" of line {line}" if line is not None and _lines(display) > 1 else ""
    if "after" in keys:
        after = _int(keys["after"])
        what = f"the {_joint(fault)} joint"
        if after < 0:
            return f"{what} between the controller and LED 0{of_line}"
        return f"{what} between LED {after} and LED {after + 1}{of_line}"
    if fault.name == "led-joined":
        led = _int(keys["led"])
        return f"LED {led}{of_line}, its data input and that of LED {led - 1}"
    if "led" in keys:
        channel = f", channel {keys['channel']}" if "channel" in keys else ""
        return f"LED {keys['led']}{of_line}{channel}"
    if "first" in keys:
        return f"LEDs {keys['first']} to {keys['last']}{of_line}"
    if "run" in keys:
        other = f" and run {keys['other']}" if "other" in keys else ""
        return f"run {keys['run']}{other}"
    if "feed" in keys:
        number = _int(keys["feed"])
        feed = display.whole_power.feed[number]
        conductor = f", its {keys['conductor']} wire" if "conductor" in keys else ""
        return f"feed {number}, at LED {feed.led} of line {feed.line}{conductor}"
    if "column" in keys:
        return f"the cell in column {keys['column']}, row {keys['row']}"
    if "supply" in keys:
        return f"supply {keys['supply']}"
    if line is not None:
        return f"line {line}" + (f" and line {keys['other']}" if "other" in keys else "")
    return "the whole wall"


def variant(fault: Fault) -> str:
    """What tells a fault from others of its kind at the same place: ', loose: now and then'."""
    keys, words = fault.place, []
    if fault.comes_and_goes and fault.stage != "signal":
        words.append("loose: now and then")
    if keys.get("ohm", "open") != "open":
        words.append(f"of {float(str(keys['ohm'])):g} Ω")
    if "corner" in keys:
        words.append(f"begins at the {str(keys['corner']).replace('-', ' ')}")
    if keys.get("lit"):
        words.append("lit itself")
    if "chip" in keys:
        words.append(f"chip {keys['chip']}")
    if "percent" in keys:
        words.append(f"{keys['percent']:+g} %")
    return "".join(f", {one}" for one in words)


def whereabouts(fault: Fault, display: Display) -> str:
    """Where that is: 'end of run 4, right edge; seen from the back: first from the left, fifth row
    from the top'. Empty for a fault of the whole wall."""
    at = position(fault, display)
    if at is None:
        cell = fault.place.get("column"), fault.place.get("row")
        return "" if cell[0] is None else _from_back(_int(cell[0]), _int(cell[1]), display)
    wiring = display.wiring
    run = int(wiring.run[at])
    first, last = (wiring.runs[run].first, wiring.runs[run].last)
    led = int(wiring.led[at])
    if "run" in fault.place:
        parts = [f"{_course(run, display)}, LEDs {first} to {last}"]
    else:
        within = f"{ordinal(led - first)} LED of run {run}"
        parts = [
            f"end of run {run}"
            if led == last
            else f"start of run {run}"
            if led == first
            else within
        ]
    column, row = int(wiring.column[at]), int(wiring.row[at])
    if wiring.hidden[at]:
        parts.append("an LED without a cell")
    edges = (
        (column == 0, "left edge"), (column == wiring.columns - 1, "right edge"),
        (row == 0, "top edge"), (row == wiring.rows - 1, "bottom edge"),
    )  # fmt: skip
    parts += [name for is_there, name in edges if is_there]
    parts.append(f"column {column}, row {row}")
    return ", ".join(parts) + "; " + _from_back(column, row, display)


def position(fault: Fault, display: Display) -> int | None:
    """The position of the LED where to begin looking; None for a fault that has none."""
    keys, wiring = fault.place, display.wiring
    line = _int(keys.get("line", 0))
    for name in ("after", "led", "first"):
        if name in keys:
            return wiring.line_starts[line] + max(_int(keys[name]), 0)
    if "run" in keys:
        run = wiring.runs[_int(keys["run"])]
        return wiring.line_starts[run.line] + run.first
    if "feed" in keys:
        feed = display.whole_power.feed[_int(keys["feed"])]
        return wiring.line_starts[feed.line] + feed.led
    if "line" in keys and "column" not in keys:
        return wiring.line_starts[line]
    return None


def _from_back(column: int, row: int, display: Display) -> str:
    from_left = display.grid.columns - 1 - column
    across = f"{ordinal(from_left)} from the left"
    return f"seen from the back: {across}, {ordinal(row)} row from the top"


def _course(number: int, display: Display) -> str:
    run = display.wiring.runs[number]
    if run.from_row == run.to_row:
        way = "from left to right" if run.to_column >= run.from_column else "from right to left"
        return f"row {run.from_row}, {way} (seen from the front)"
    if run.from_column == run.to_column:
        way = "downwards" if run.to_row >= run.from_row else "upwards"
        return f"column {run.from_column}, {way}"
    return (
        f"from column {run.from_column}, row {run.from_row} to column {run.to_column}, row"
        f" {run.to_row}"
    )


def _joint(fault: Fault) -> str:
    if fault.name == "power-joint":
        return "+" if fault.place["conductor"] == "plus" else "ground"
    return "data"


def _lines(display: Display) -> int:
    return len(display.wiring.line_lengths)


def _int(value: object) -> int:
    return int(str(value))
