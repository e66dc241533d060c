"""Changes some keys of a display file and keeps everything else, with its comments.

The library tomlkit does the work; it keeps the layout of TOML. This module reads the result again
and compares it with the original, so that nothing of yours is lost. New lines get the line ends of
the file, since tomlkit ends its lines with a line feed only.
"""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.items import AoT, InlineTable, Table

from emulator.description.display import Display
from emulator.description.load import parse_display
from emulator.description.power import PowerSection
from emulator.description.tomltext import toml_value
from emulator.errors import DisplayFileError, MapFileError, Problem, WriteError

Entry = dict[str, Any]

_LISTS = ("supply", "bus", "feed")
_NAMED_BY = {"supply": (), "bus": ("supply",), "feed": ("line", "led", "supply")}
_GAUGES = ("awg", "mm2")


def with_figures(text: str, table: str, figures: Mapping[str, float], path: Path) -> str:
    """The text with keys of a table set. Raises DisplayFileError, which names `path`."""
    document: Any = tomlkit.parse(text)
    for key, value in figures.items():
        document[table][key] = value
    changed: str = tomlkit.dumps(document)
    return _checked(text, changed, table, dict(figures), path)


def with_power(text: str, power: PowerSection, path: Path) -> str:
    """The text with the supplies, buses and feeds of `power`; other keys of [power] stay.

    Supplies, buses and feeds that are in the file keep their place, their comments and every value
    that `power` does not change. Raises DisplayFileError, which names `path`.
    """
    wanted = {key: power_entries(power, key) for key in _LISTS}
    before = tomllib.loads(text).get("power", {})
    if not before:
        newline = "" if text.endswith("\n") or not text else "\n"
        changed: str = (
            f"{text}{newline}\n{table_text('power', {k: v for k, v in wanted.items() if v})}"
        )
        if "power" in tomllib.loads(text):  # an empty [power]
            document: Any = tomlkit.parse(text)
            for key, entries in wanted.items():
                _put(document["power"], key, entries)
            changed = tomlkit.dumps(document)
        return _checked(text, changed, "power", wanted, path)
    document = tomlkit.parse(text)
    for key, entries in wanted.items():
        if key in before:
            _merge(document["power"][key], key, before[key], entries)
        else:
            _put(document["power"], key, entries)
    changed = tomlkit.dumps(document)
    merged = {key: _expected(key, before.get(key, []), wanted[key]) for key in _LISTS}
    return _checked(text, changed, "power", merged, path)


def display_at(text: str, target: Path, source: Path) -> Display:
    """The display of a text of `source` that will be written to `target`.

    Raises WriteError if it would not find its map from there, and DisplayFileError.
    """
    try:
        return parse_display(text, target)
    except MapFileError as error:
        raise WriteError(
            f"the display file would not find the map that {source} names",
            place=target,
            fix=f"write it into the folder {source.parent}.",
        ) from error


def power_entries(power: PowerSection, key: str) -> list[Entry]:
    """The supplies, buses or feeds as a display file lists them, without defaults."""
    return [
        section.model_dump(exclude_none=True, exclude_defaults=True)
        for section in getattr(power, key)
    ]


def table_text(table: str, keys: Mapping[str, Any]) -> str:
    """A whole table; a list of tables has a line for each of its entries."""
    lines = [f"[{table}]"]
    for key, value in keys.items():
        if isinstance(value, list) and any(isinstance(entry, dict) for entry in value):
            lines += [f"{key} = [", *(f"    {toml_value(entry)}," for entry in value), "]"]
        else:
            lines.append(f"{key} = {toml_value(value)}")
    return "\n".join(lines) + "\n"


def _merge(array: Any, key: str, before: Sequence[Entry], wanted: Sequence[Entry]) -> None:
    """Change a tomlkit array into `wanted`: changes entries in place and inserts new ones."""
    at = 0
    for number, entry in enumerate(wanted):
        if at < len(before) and _same(key, before[at], entry):
            _change(array[number], before[at], entry)
            at += 1
        else:
            array.insert(number, _item(array, entry))


def _change(item: Any, before: Entry, wanted: Entry) -> None:
    for name, value in wanted.items():
        if before.get(name) != value:
            item[name] = value
    for name in _GAUGES:
        if name in before and name not in wanted and any(g in wanted for g in _GAUGES):
            del item[name]


def _expected(key: str, before: Sequence[Entry], wanted: Sequence[Entry]) -> list[Entry]:
    """What `_merge` makes, as plain data."""
    merged = []
    at = 0
    for entry in wanted:
        if at < len(before) and _same(key, before[at], entry):
            old = copy.deepcopy(before[at])
            _change(old, before[at], entry)
            merged.append(old)
            at += 1
        else:
            merged.append(dict(entry))
    return merged


def _same(key: str, before: Entry, wanted: Entry) -> bool:
    return all(before.get(name, 0) == wanted.get(name, 0) for name in _NAMED_BY[key])


def _item(array: Any, entry: Entry) -> Any:
    item = tomlkit.table() if isinstance(array, AoT) else tomlkit.inline_table()
    item.update(entry)
    return item


def _put(section: Any, key: str, entries: Sequence[Entry]) -> None:
    """Add a list that the section does not have yet, in the form of its other lists."""
    if not entries:
        return
    # Below the section's own header, or beside keys such as power.limit_a; else all are [power.…].
    has_values = any(not isinstance(value, (Table, AoT)) for value in section.values())
    flat = has_values or (isinstance(section, Table) and not section.is_super_table())
    array: Any = tomlkit.array() if flat else tomlkit.aot()
    for entry in entries:
        array.append(_item(array, entry))
    if flat and not isinstance(section, InlineTable):
        array.multiline(True)
    section[key] = array


def _ended_alike(text: str, changed: str) -> str:
    """`changed`; its new lines end as most lines of `text` do."""
    returns = text.count("\r\n")
    end = "\r\n" if 2 * returns > text.count("\n") else "\n"
    kept = set(text.split("\n")[:-1])  # each line with its carriage return, if it has one
    *lines, last = changed.split("\n")  # TOML has no other line end
    ended = [line + "\n" if line in kept else line.rstrip("\r") + end for line in lines]
    return "".join(ended) + last


def _checked(text: str, changed: str, table: str, keys: Mapping[str, Any], path: Path) -> str:
    """`changed`, if it is `text` with these keys of the table and no other change."""
    changed = _ended_alike(text, changed)
    wanted = tomllib.loads(text)
    section = {**wanted.get(table, {}), **{k: v for k, v in keys.items() if v != []}}
    try:
        found = tomllib.loads(changed)
    except tomllib.TOMLDecodeError:
        found = {}
    if found != {**wanted, table: section}:
        raise DisplayFileError(
            path,
            [
                Problem(
                    f"[{table}] is written in a form that cannot be changed without loss",
                    f"put its keys below one [{table}], or paste the lines by hand.",
                )
            ],
        )
    return changed
