"""What a command printed with `--json`, read back from a file."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

from emulator.errors import ForeglowError
from emulator.files import read_file
from harness.result.finding import Severity
from harness.result.result import Verdict

_MOST_BYTES = 64 << 20
_WORDS = {"what", "where", "evidence", "remedy", "severity", "check"}
# Not figures: what is compared on its own, and texts that follow from it.
_NOT_FIGURES = {"findings", "display", "subject", "verdict", "passed", "caution", "suggestions"}
_FIX = "name a file that a command printed, as: foreglow check mywall --json > old.json"


@dataclass(frozen=True)
class Saved:
    """A saved run. verdict: 'pass', 'warning', 'fail' or 'cannot tell'; '' if it has none.

    findings: as `Finding.to_json` makes them. figures: by their path, such as 'wire fastest';
    texts, numbers, booleans, None, and lists of these.
    """

    path: Path
    display: str
    subject: str
    kind: str
    verdict: str
    findings: tuple[dict[str, str], ...]
    figures: dict[str, Any]


def load(path: Path) -> Saved:
    """Read a file. Raises ForeglowError, which names file, place and fix."""
    try:
        text = read_file(path, _MOST_BYTES).decode("utf-8-sig")
        data = json.loads(text, parse_int=_whole)
    except OSError as error:
        problem = f"cannot be read: {error.strerror or error}"
        raise ForeglowError(problem, place=path, fix=_FIX) from error
    except json.JSONDecodeError as error:
        place = f"{path}, line {error.lineno}"
        raise ForeglowError(f"not JSON: {error.msg}", place=place, fix=_FIX) from error
    except (ValueError, OverflowError, RecursionError) as error:
        raise ForeglowError("not JSON in UTF-8", place=path, fix=_FIX) from error
    if not isinstance(data, dict) or not isinstance(data.get("display"), str):
        raise ForeglowError("not a report: it names no display", place=path, fix=_FIX)
    findings = data.get("findings", [])
    if not isinstance(findings, list) or not all(_is_finding(one) for one in findings):
        raise ForeglowError("its findings are not those of a report", place=path, fix=_FIX)
    if not isinstance(data.get("figures", {}), dict):
        raise ForeglowError("its figures are not those of a report", place=path, fix=_FIX)
    if data.get("verdict", "pass") not in get_args(Verdict):
        raise ForeglowError("its verdict is not that of a report", place=path, fix=_FIX)
    kept = {key: value for key, value in data.items() if key not in _NOT_FIGURES}
    kept |= kept.pop("figures", {})
    figures = dict(_figures(kept))
    if not figures and "findings" not in data:
        raise ForeglowError(
            "not a report: it has neither findings nor figures", place=path, fix=_FIX
        )
    subject = data.get("subject", data.get("scene", data.get("shown", "")))
    return Saved(
        path, data["display"], str(subject), _kind(data), _verdict(data), tuple(findings), figures
    )


def _is_finding(one: object) -> bool:
    return (
        isinstance(one, dict)
        and one.keys() >= _WORDS
        and all(isinstance(one[word], str) for word in _WORDS)
        and one["severity"] in get_args(Severity)
    )


def _whole(digits: str) -> int:
    """A whole number. Raises OverflowError if it cannot be held against one with a fraction."""
    number = int(digits)
    float(number)
    return number


def _kind(data: dict[str, Any]) -> str:
    """The command that printed it, by keys that only it has; '' for others."""
    marks = {"subject": "check", "passed": "soak", "below": "flash", "solver": "power"}
    marks |= {"smallest_set": "campaign", "gluing": "light"}
    return next((kind for key, kind in marks.items() if key in data), "")


def _verdict(data: dict[str, Any]) -> str:
    if isinstance(data.get("verdict"), str):
        return str(data["verdict"])
    passed = data.get("passed", data.get("below"))
    return ("pass" if passed else "fail") if isinstance(passed, bool) else ""


def _figures(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """(path, value) of every value. Parts of a list go by their name, else their number; a list of
    single values is one value."""
    if isinstance(value, dict):
        for key, part in value.items():
            yield from _figures(part, f"{path} {key}".strip())
    elif isinstance(value, list) and any(isinstance(part, dict | list) for part in value):
        names: set[str] = set()
        for number, part in enumerate(value):
            name = _name(part, number)
            name = name if name not in names else str(number)
            names.add(name)
            yield from _figures(part, f"{path} {name}".strip())
    else:
        yield path, value


def _name(part: Any, number: int) -> str:
    if isinstance(part, dict):
        for key in ("name", "kind", "fault"):
            if isinstance(part.get(key), str):
                return str(part[key])
    return str(number)
