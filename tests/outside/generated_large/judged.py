"""Run `foreglow check` on one wall and hold what it says against what is true."""

from __future__ import annotations

import json
import re
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

from tests.outside.generated_large.cases import KINDS, Case, case
from tests.outside.generated_use.running import run

SEED = 20_261_128
CHECK = ("check", "wall.toml", "--only", "map,colour,levels,patterns,wire", "--json")
FINDS = {"half": "levels", "dead": "colour", "single": "patterns"}  # the others: map
ONE_LED = re.compile(r"(?:line (\d+), (?:everything from )?)?LED (\d+)(?: of line (\d+))?")
SHOWN = re.compile(r"meant for column (\d+), row (\d+) and shows column (\d+), row (\d+)")
COUNT = re.compile(r"(\d+) LEDs? of (\d+)")


def judge(number: int, least: int = 2000, most: int = 6000) -> tuple[str, list[str]]:
    """Draw wall `number` of so many LEDs and check it: what was said, and what of that differs."""
    rng = np.random.default_rng([SEED, number])
    with tempfile.TemporaryDirectory() as folder:
        of = case(rng, int(rng.integers(least, most)), KINDS[number % len(KINDS)], Path(folder))
        told = run(("map", "wall.toml", "--format", "csv"), Path(folder)).out.decode()
        ran = run((*CHECK, *of.options), Path(folder), limit_s=300)
        status, out, megabytes = ran.status, ran.out, ran.peak_mb
    differs = [] if told == of.csv(of.cells) else ["the map is not what the file says"]
    if megabytes > 200 + 0.02 * len(of.cells):  # linear, and 800 MB for 30,000 LEDs
        differs.append("too much memory")
    said = f"{number}: {len(of.cells)} LEDs, {of.kind}, {of.options[0]}, {megabytes:.0f} MB"
    if not out.startswith(b"{"):
        return said, [*differs, f"status {status}"]
    report = json.loads(out)
    wrong = [f for f in report["findings"] if f["severity"] != "remark"]
    for one in report["findings"]:
        said += f"\n    {one['severity']}: {one['what']} ({one['evidence']})"
    if status != bool(wrong) or (of.kind == "right" and wrong):
        differs.append(f"status {status} with {len(wrong)} findings")
    # Wrong for one lit cell of thousands may be missed (harness/checks/README.md).
    wanted = FINDS.get(of.kind, "map")
    if of.kind not in ("right", "alone") and wanted not in {f["check"] for f in wrong}:
        differs.append(f"{wanted} finds nothing wrong")
    return said, differs + _untrue(report["figures"]["map"], wrong, of)


def _untrue(figures: dict[str, Any], wrong: list[dict[str, str]], of: Case) -> list[str]:
    """What is said of single LEDs, cells and counts, and is not so."""
    moved = (of.shown != of.cells).any(axis=1)
    seen = of.cells[:, 0] >= 0
    touched = {*np.flatnonzero(moved).tolist(), of.one}
    touched |= {of.other} if of.kind in ("twice", "leak") else set()
    untrue = []
    for name, truth in (("leds_wrong", moved & seen), ("hidden_lit", moved & ~seen)):
        expected = np.flatnonzero(truth).tolist()
        if of.kind != "leak" and figures[name] != expected:
            untrue.append(f"{name}: {figures[name][:9]}, not {expected[:9]}")
    if of.kind != "leak" and figures["leds"] - figures["leds_right"] != (moved & seen).sum():
        untrue.append(f"{figures['leds_right']} of {figures['leds']} LEDs right")
    for finding in wrong:
        for line, led, behind in ONE_LED.findall(finding["what"] + "; " + finding["where"]):
            named = int(np.searchsorted(of.lines, int(line or behind or 0))) + int(led)
            if named not in touched and of.kind != "single":
                untrue.append(f"LED {named} is right, in {finding['what']!r}")
        for four in SHOWN.findall(finding["evidence"]):
            meant, shows = np.array(four, int).reshape(2, 2)
            if (of.shown[(of.cells == meant).all(axis=1)] != shows).any():
                untrue.append(f"{finding['evidence']!r}")
        for count, total in COUNT.findall(finding["evidence"]):
            if int(total) not in (seen.sum(), len(seen)) or int(count) > (moved.sum() or 1):
                untrue.append(f"{finding['evidence']!r}: only {moved.sum() or 1} are wrong")
    return untrue
