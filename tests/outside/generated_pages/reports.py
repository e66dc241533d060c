"""Pages of commands for walls at random, against their own JSON and against themselves."""

from __future__ import annotations

import json
import random
import re
import sys
from pathlib import Path

from tests.outside.generated_pages.reading import Page, plain, read
from tests.outside.generated_pages.walls import Wall, wall
from tests.outside.generated_physical.run import FELL, Answer, folder, foreglow

SCENE = """import numpy as np
def picture(time_s, display):
    {body}
    return np.full(display.picture_shape, int(time_s * 2) % 2 * 200, np.uint8)
"""


def command(made: Wall, number: int) -> list[str]:
    """A command for this wall, without --json and --html."""
    display = f"{made.name}.toml"
    r = random.Random(f"command {number}")
    large = made.columns * made.rows > 200
    kind = r.choices(
        ("check", "power", "flash", "soak", "campaign"), (8, 2, 2, 2, 0 if large else 1)
    )[0]
    scene = f"{made.name}.py"
    match kind:
        case "check":
            if made.names or r.random() < 0.3:
                return ["check", display, "--map", f"{made.name}.csv"]
            return ["check", display, "--call", f"code_{number}:{made.function}"]
        case "power":
            return ["power", display, *([scene, "--seconds", "2"] if r.random() < 0.5 else [])]
        case "flash":
            return ["flash", display, scene, "--seconds", "2"]
        case "soak":
            return ["soak", display, scene, "--hours", "0.001", "--fault", "none"]
        case _:
            return [
                "campaign",
                display,
                "--pairs",
                "0",
                "--workers",
                "1",
                "--pattern",
                "rows",
                "--pattern",
                "columns",
            ]


def _write(made: Wall, number: int, place: Path) -> None:
    raises = f"raise ValueError({made.text!a})" if made.mistake == "raises" else ""
    for name, text in {
        f"{made.name}.toml": made.toml(),
        f"{made.name}.py": SCENE.format(body=raises),
        f"{made.name}.csv": made.map_csv(),
        f"code_{number}.py": made.code(),
    }.items():
        (place / name).write_text(text, encoding="utf-8")


def _steady(page: Page) -> tuple[str, str]:
    """Text and data of a page without times, memory and versions."""
    told = page.root.text
    told = told[: told.find("For the record")] if "For the record" in told else told
    told = re.sub(r"[\d.,]+ (?:ms|µs|s|MB|kB|MiB)\b", "T", told)
    data = page.data or {}
    # what the machine took: charts that say so in their figure's caption
    captions = {
        int(e.attributes["data-chart"] or 0): e.text
        for e in page.root.every()
        if "data-chart" in e.attributes
    }
    charts = data.get("charts", [])
    kept = [
        c
        for n, c in enumerate(charts)
        if not re.search("Time that|memory|Memory|took", captions.get(n, ""))
    ]
    return told, json.dumps({**data, "charts": kept}, sort_keys=True)


def _against(page: Page, answer: Answer) -> list[str]:
    """Verdict and findings of the page against the JSON."""
    data, wrong = answer.data, []
    said, _ = page.verdict()
    if "verdict" in data and said != data["verdict"]:
        wrong.append(f"verdict {said}, in JSON {data['verdict']}")
    for key in ("passed", "below"):
        if key in data and (said == "fail") == data[key]:
            wrong.append(f"verdict {said}, in JSON {key} = {data[key]}")
    if "verdict" in data and (answer.status == 0) != (said == "pass"):
        wrong.append(f"status {answer.status} with verdict {said}")
    if "findings" not in data:
        return wrong
    shown = [
        tuple(plain(one.get(k, "")) for k in ("severity", "what", "where", "seen", "fix"))
        for one in page.findings()
    ]
    true = [
        tuple(plain(one.get(k, "")) for k in ("severity", "what", "where", "evidence", "remedy"))
        for one in data["findings"]
    ]
    if shown != true:
        wrong.append(f"findings on the page {str(shown)[:600]}, in JSON {str(true)[:600]}")
    return wrong


def page_of(number: int, place: Path) -> tuple[list[str], Answer, Path]:
    """The command of this number, run in this folder: command, answer, page."""
    made = wall(number)
    _write(made, number, place)
    words, out = command(made, number), place / "r.html"
    # in this process; a user's module is imported from the folder
    sys.path.insert(0, str(place))
    try:
        answer = foreglow(*words, "--html", "r.html", "--json")
    finally:
        sys.path.remove(str(place))
        sys.modules.pop(f"code_{number}", None)
    return words, answer, out


def faults(number: int) -> list[str]:
    """What is wrong with the page of this number."""
    made = wall(number)
    with folder() as place:
        words, answer, out = page_of(number, place)
        if answer.status == FELL:
            return [f"{words}: {answer.err[-700:]}"]
        if answer.status == 2:
            if out.exists():
                return [f"{words}: status 2 and a page"]
            lively = set(answer.err) & set("\x1b\r\x00\u202e\u2066\u2028")
            if made.mistake == "raises" and "Error" in answer.err and not lively:
                return []
            return [f"{words}: refused, with {lively}: {answer.err[-500:]}"]
        if not out.exists():
            return [f"{words}: no page; {answer.err[-300:]}"]
        page = read(out.read_bytes(), made.columns * made.rows)
        wrong = page.wrong + _against(page, answer)
        if (
            words[0] == "check"
            and made.mistake == "none"
            and any(
                one["severity"] == "fault"
                and one["kind"].endswith(("map", "colour", "levels", "patterns"))
                for one in page.findings()
            )
        ):
            wrong.append("right code is found wrong")
        if number % 3 == 0:
            page_of(number, place)
            other = read(out.read_bytes(), 0)
            for what, a, b in zip(("text", "data"), _steady(page), _steady(other), strict=True):
                if a != b:
                    at = next((i for i, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), 0)
                    near = slice(max(at - 60, 0), at + 40)
                    wrong.append(f"another {what} the second time: {a[near]!r}, {b[near]!r}")
        return [f"{' '.join(words)}: {one}" for one in wrong]
