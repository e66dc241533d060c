"""Reads a display file, checks all of it, and reports every fault at once with its place."""

from __future__ import annotations

import errno
import re
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import BaseModel, ValidationError

from emulator.description.board import judge_board
from emulator.description.camera import judge_camera
from emulator.description.chips import Chip, Clocked
from emulator.description.display import Display
from emulator.description.explicit import explicit_wiring
from emulator.description.feeding import judge_power
from emulator.description.light import judge_cover
from emulator.description.mapfile import read_map
from emulator.description.ownchip import own_chip
from emulator.description.placement import Placement
from emulator.description.places import Loc, Places
from emulator.description.sections import DisplayFile, WiringSection
from emulator.description.wiring import Wiring, shorthand
from emulator.errors import DisplayFileError, Problem, UnknownNameError, near_miss
from emulator.files import read_file

_MOST_BYTES = 1 << 20  # of a display file; a larger wiring goes into a CSV map
_LONGEST = 20_000  # characters in a line
_MOST_TOLD = 20  # faults; the rest are counted
_DEMOS = Path(__file__).resolve().parents[2] / "scenes"  # by path: your package may have the name


def demo_names() -> tuple[str, ...]:
    """Names of the demo displays that come with foreglow."""
    return tuple(sorted(path.stem for path in _DEMOS.glob("*.toml")))


def load_display(name_or_path: str | Path) -> Display:
    """The display of a TOML file ('mywall.toml', or 'mywall' beside it), or a demo ('foyer').

    Raises DisplayFileError (all faults of the file at once), MapFileError for its CSV map, or
    UnknownNameError when there is neither such a file nor such a demo.
    """
    path = Path(name_or_path)
    if path.suffix == ".toml" or _is_file(path):
        pass
    elif path.name and _is_file(path.with_name(f"{path.name}.toml")):
        path = path.with_name(f"{path.name}.toml")
    elif str(name_or_path) in demo_names():
        path = _DEMOS / f"{name_or_path}.toml"
    else:
        beside = (file.stem for file in path.parent.glob("*.toml"))
        raise UnknownNameError("display file or demo", str(name_or_path), {*demo_names(), *beside})
    return parse_display(display_text(path), path)


def parse_display(text: str, path: Path) -> Display:
    """The display of a display file's text.

    path: errors name it; a CSV map is looked for beside it. Raises DisplayFileError and
    MapFileError, as load_display does.
    """
    long = next((n for n, line in enumerate(text.splitlines(), 1) if len(line) > _LONGEST), None)
    if long is not None:  # tomllib's time grows with the square of the dots in a key
        what, fix = f"a line of more than {_LONGEST} characters", "break it into several lines."
        raise DisplayFileError(path, [Problem(what, fix, line=long)])
    try:
        raw = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # ValueError: also a number of 5000 digits
        raise DisplayFileError(path, [_toml_problem(text, str(error))]) from error
    reader = _Reader(text)
    try:
        file = DisplayFile.model_validate(raw)
    except ValidationError as error:
        details = error.errors(include_url=False)
        reader.problems = [reader.problem(detail) for detail in details[:_MOST_TOLD]]
        reader.untold = len(details) - len(reader.problems)
        raise DisplayFileError(path, reader.told()) from None  # pydantic's own text can be huge
    found_chip = own_chip(file.chip, reader.fault)
    wiring = reader.wiring(file, path)
    if found_chip is not None and wiring is not None:
        judge_power(file.power, found_chip, wiring, reader.fault)
    if found_chip is not None:
        reader.clock(file.controller.clock_mhz, found_chip)
    if found_chip is not None and wiring is not None:
        placement = Placement.of(file.grid, file.board, file.cover.off_centre_mm, wiring.along)
        judge_board(file.board, placement, len(file.power.supply), found_chip, reader.fault)
    judge_cover(file.cover, file.grid.pitches_mm, wiring.along if wiring else None, reader.fault)
    if file.camera is not None:
        judge_camera(file.camera, file.grid, file.cover, reader.fault)
    if reader.problems or found_chip is None or wiring is None:
        raise DisplayFileError(path, reader.told())
    display = Display(
        name=path.stem,
        grid=file.grid,
        chip=found_chip,
        wiring=wiring,
        controller=file.controller,
        canvas=file.canvas,
        cover=file.cover,
        view=file.view,
        camera=file.camera,
        power=file.power,
        board=file.board,
        reel_leds=(file.wiring or WiringSection()).reel_leds,
        about=file.about,
        path=path,
    )
    if not file.fault:
        return display
    # Here: few walls have faults, and the kinds take a while to load.
    from emulator.description.faults.reading import read_tables

    faults = read_tables(file.fault, display, reader.fault)
    if reader.problems:
        raise DisplayFileError(path, reader.told())
    return replace(display, faults=faults)


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # a name that no file can have
        return False


def display_text(path: Path) -> str:
    """The text of a display file. Raises DisplayFileError."""

    def fail(message: str, fix: str) -> DisplayFileError:
        return DisplayFileError(path, [Problem(message, fix)])

    try:
        return read_file(path, _MOST_BYTES).decode("utf-8-sig")  # line ends as they are
    except FileNotFoundError:
        demos = ", ".join(demo_names())
        raise fail("there is no such file", f"check the path, or name a demo: {demos}.") from None
    except UnicodeDecodeError as error:
        raise fail("not a text file", "save it as TOML in UTF-8.") from error
    except OSError as error:
        fix = "check the path."
        if error.errno == errno.EFBIG:
            fix = "check the path; a large wiring goes into a CSV map."
        raise fail(f"cannot be read ({error.strerror})", fix) from error
    except ValueError as error:  # a NUL in the name
        raise fail(f"no file can have this name ({error})", "check the path.") from error


def _toml_problem(text: str, message: str) -> Problem:
    found = re.search(r"\(at line (\d+), column \d+\)", message)
    line = int(found.group(1)) if found else None
    lines = text.splitlines()
    excerpt = lines[line - 1].strip()[:80] if line and line <= len(lines) else ""
    what = message.split(" (at ")[0]
    fix = "fix this line; https://toml.io explains the format."
    return Problem(f"not valid TOML: {what}", fix, line=line, excerpt=excerpt)


# For some messages of pydantic that are about Python and not about a display file.
_PLAIN = {
    "model_type": "input should be a table of keys",
    "list_type": "input should be a list",
    "string_pattern_mismatch": "input should be one line without control characters",
    "int_type": "input should be a whole number",
    "float_type": "input should be a number",
    "string_type": "input should be text in quotes",
    "bool_type": "input should be true or false",
}


class _Reader:
    """Turns the validated sections into chip and wiring, and collects the problems.

    Each reported problem costs a search through the text, so the later ones are only counted.
    """

    def __init__(self, text: str) -> None:
        self.places = Places(text)
        self.problems: list[Problem] = []
        self.untold = 0

    def told(self) -> list[Problem]:
        """The first problems, and how many more there are."""
        if not self.untold:
            return self.problems
        more = f"{self.untold} more fault{'s' * (self.untold > 1)}"
        return [*self.problems, Problem(more, "fix those above first.")]

    def fault(self, loc: Loc, message: str, fix: str) -> None:
        """Record a problem with its place."""
        if len(self.problems) == _MOST_TOLD:
            self.untold += 1
            return
        place = self.places.of(loc)
        table = self.places.table(loc)
        key = str(loc[-1]) if loc else ""
        self.problems.append(Problem(message, fix, table, key, place.line, place.excerpt))

    def clock(self, clock_mhz: float, found: Chip) -> None:
        """Refuse a clock that the chip cannot follow."""
        wire = found.wire
        if isinstance(wire, Clocked) and clock_mhz * 1e6 > wire.most_hz:
            most = wire.most_hz / 1e6
            message = f"clock_mhz = {clock_mhz:g}, but {found.part} accepts at most {most:g} MHz"
            self.fault(("controller", "clock_mhz"), message, f"give at most {most:g}.")

    def wiring(self, file: DisplayFile, path: Path) -> Wiring | None:
        """The wiring from the file's lines, its map or its keywords."""
        gap = file.grid.gap_mask()
        hidden = file.grid.hidden_mask()
        if file.line is not None:
            return explicit_wiring(file.line, gap, hidden, self.fault)
        section = file.wiring or WiringSection()
        if section.map is not None:
            words = sorted(section.model_fields_set - {"map", "reel_leds"})
            if words:
                message = f"map and {words[0]} both describe the wiring"
                self.fault(("wiring", words[0]), message, f"keep map or {words[0]}.")
                return None
            return read_map(path.parent / section.map, gap)
        try:
            found = shorthand(
                gap, section.start, section.along, section.path, section.lines, dark_leds=hidden,
                hidden=(section.hidden_first, section.hidden_between, section.hidden_last),
            )  # fmt: skip
        except ValueError as error:
            fix = f"use fewer lines than there are {section.along}."
            self.fault(("wiring", "lines"), str(error), fix)
            return None
        cells = np.bincount(found.line[found.placed], minlength=len(found.line_names))
        dark = np.flatnonzero((cells == 0) & (np.array(found.line_lengths) > 0)).tolist()
        for line in dark:
            fix = "use fewer lines, or a smaller gap."
            self.fault(("wiring", "lines"), f"line {line} has hidden LEDs only", fix)
        return None if dark else found

    def problem(self, detail: Any) -> Problem:
        """One of pydantic's error records as a Problem."""
        loc: tuple[str | int, ...] = tuple(detail["loc"])
        kind, key = detail["type"], str(loc[-1]) if loc else ""
        table, place = self.places.table(loc), self.places.of(loc)
        if kind == "extra_forbidden":
            allowed = _allowed(loc)
            near = near_miss(key, allowed)
            hint = f"{near[2:3].upper()}{near[3:]} " if near else ""
            return Problem(
                f"unknown key '{key}'",
                "rename the key or delete the line. `foreglow schema` lists every key.",
                table,
                key,
                place.line,
                f"{place.excerpt}\n  {hint}Keys allowed here: {', '.join(allowed)}.",
                allowed,
            )
        if kind == "missing":
            what = f"[{key}]" if len(loc) == 1 else f"'{key}'"
            fix = f"add {what}. `foreglow schema` lists every key; `foreglow new` writes them all."
            line = self.places.of(loc[:-1]).line
            return Problem(f"{what} is missing", fix, table, key, line)
        if kind == "value_error":
            error = detail["ctx"]["error"]
            fix = getattr(error, "fix", "change one or the other.")
            return Problem(str(error), fix, table or (f"[{key}]" if key else ""), key, place.line)
        if loc and isinstance(loc[-1], int):
            key = next((str(p) for p in reversed(loc) if isinstance(p, str)), key)
        found = repr(detail["input"])
        found = found if len(found) <= 40 else f"{found[:37]}…"
        choices = re.findall(r"'([^']+)'", str(detail.get("ctx", {}).get("expected", "")))
        allowed = tuple(choices)
        message = detail["msg"][:1].lower() + detail["msg"][1:]
        message = _PLAIN.get(kind, message)
        fix = message.replace("input should be", "give", 1) if "input should be" in message else ""
        return Problem(
            f"'{key}' is {found}: {message}{near_miss(found.strip(chr(39)), choices)}",
            f"{fix or 'give a value of that kind'}. `foreglow schema` lists every key.",
            table,
            key,
            place.line,
            place.excerpt,
            allowed,
        )


def _allowed(loc: Loc) -> tuple[str, ...]:
    """Keys allowed in the table that holds the key at the end of `loc`."""
    model: type[BaseModel] = DisplayFile
    for part in loc[:-1]:
        if isinstance(part, str):
            field = next(f for n, f in model.model_fields.items() if part in (n, f.alias))
            model = next(_models_in(field.annotation))
    return tuple(sorted(f.alias or n for n, f in model.model_fields.items()))


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in getattr(annotation, "__args__", ()):
        yield from _models_in(inner)
