"""Reads faults from sentences and from `[[fault]]` tables, and checks them against a display."""

from __future__ import annotations

import dataclasses
import shlex
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from emulator.description.display import Display
from emulator.description.faults.fault import Fault, Wrong
from emulator.description.faults.kinds import KINDS
from emulator.errors import FaultError, near_miss

_LIST = "`foreglow faults` lists the kinds."


def with_faults(display: Display, faults: Iterable[Fault | str]) -> Display:
    """The display with more faults, each as an object or as its sentence. Raises FaultError."""
    more = read_faults(faults, display)
    return dataclasses.replace(display, faults=(*display.faults, *more)) if more else display


def read_faults(faults: Iterable[Fault | str], display: Display) -> tuple[Fault, ...]:
    """Faults of a display, each as an object or as its sentence. Raises FaultError."""
    if isinstance(faults, str):
        faults = [faults]
    return tuple(
        read_sentence(one, display) if isinstance(one, str) else _judged(one, display)
        for one in faults
    )


def read_sentence(text: str, display: Display) -> Fault:
    """The fault of a sentence such as 'data-open line=0 after=143'. Raises FaultError."""
    try:
        words = shlex.split(text)
    except ValueError as error:
        raise FaultError(
            f"cannot be read ({error})", place=_place(text), fix="close the quotes."
        ) from None
    name, pairs = (words[0], words[1:]) if words else ("", [])
    values: dict[str, str] = {}
    for pair in pairs:
        key, equals, value = pair.partition("=")
        if not equals or not key or key in values:
            problem = f"'{pair}' twice" if key in values else f"'{pair}' is not key=value"
            raise FaultError(
                problem, place=_place(text), fix="write it as: data-open line=0 after=143"
            )
        values[key] = value
    fault, wrong = _read(name, values, display, from_text=True)
    if fault is None or wrong:
        first = wrong[0]
        raise FaultError(first.message, place=_place(text), fix=first.fix)
    return fault


def read_tables(
    tables: Iterable[Mapping[str, Any]],
    display: Display,
    report: Callable[[tuple[str | int, ...], str, str], None],
) -> tuple[Fault, ...]:
    """The faults of `[[fault]]` tables; `report(loc, message, fix)` is called for each problem."""
    found = []
    for number, table in enumerate(tables):
        kind = table.get("kind")
        values = {key: value for key, value in table.items() if key != "kind"}
        fault, wrong = _read(kind if isinstance(kind, str) else "", values, display)
        for one in wrong:
            report(("fault", number, one.key), one.message, one.fix)
        if fault is not None and not wrong:
            found.append(fault)
    return tuple(found)


def _place(sentence: str) -> str:
    return f'fault "{sentence}"'


def _judged(fault: Fault, display: Display) -> Fault:
    for wrong in fault.judge(display):
        raise FaultError(wrong.message, place=_place(str(fault)), fix=wrong.fix)
    return fault


def _read(
    name: str, values: Mapping[str, Any], display: Display, from_text: bool = False
) -> tuple[Fault | None, list[Wrong]]:
    """The fault, and its problems on this display."""
    kind = KINDS.get(name)
    if kind is None:
        what = f"no kind of fault is called '{name}'" if name else "the kind of fault is missing"
        return None, [Wrong("kind", f"{what}{near_miss(name, KINDS)}", _LIST)]
    try:
        if from_text:
            fault = kind.model_validate_strings(values, strict=False)
        else:
            fault = kind.model_validate(values)
    except ValidationError as error:
        # An unknown key first: often it is the missing key, misspelt.
        details = sorted(error.errors(include_url=False), key=lambda d: d["type"] == "missing")
        wrong = {one.key: one for one in (_wrong(kind, detail) for detail in reversed(details))}
        return None, [*reversed(wrong.values())]
    return fault, [*fault.judge(display)]


def _wrong(kind: type[Fault], detail: ErrorDetails) -> Wrong:
    """One of pydantic's records as a problem."""
    key = str(detail["loc"][0]) if detail["loc"] else ""
    keys = [*kind.model_fields]
    more = f"`foreglow faults {kind.name}` explains the keys."
    if detail["type"] == "extra_forbidden":
        near = near_miss(key, keys)
        return Wrong(key, f"{kind.name} has no key '{key}'{near}", f"use {', '.join(keys)}. {more}")
    if detail["type"] == "missing":
        what = kind.model_fields[key].description
        return Wrong(key, f"{kind.name} needs '{key}': {what}", f"add {key}=… {more}")
    message = detail["msg"].lower().replace("input should be", "it should be")
    return Wrong(key, f"{key} is {detail['input']!r:.40}: {message}", more)
