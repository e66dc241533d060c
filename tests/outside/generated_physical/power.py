"""Plans that are written into files, held against a solver, fuse rules and the file's own words.

Sources: `nodal.py`; fuses: a fuse protects a wire that can carry its rating, carries the current,
and blows only if the supply delivers 1.35 times that (the rule that foreglow prints).
"""

from __future__ import annotations

import json
import tomllib
from collections import Counter
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from tests.outside.generated_physical import nodal, walls
from tests.outside.generated_physical.run import FELL, Answer, folder, foreglow

SEED = 20261130
NEED = {5.0: 3.6, 12.0: 10.0}  # volts from which every channel holds its current


@dataclass
class Case:
    """A display file and the volts that a plan is to keep."""

    number: int
    file: walls.File
    volts: float

    @property
    def kind(self) -> str:
        grid, power = self.file.data["grid"], self.file.data["power"]
        return f"{grid['columns']} × {grid['rows']} {self.file.data['chip']['part']}, " + (
            f"{self.volts} V, states {', '.join(power) or 'nothing'}"
        )


@dataclass
class Said:
    """What came of planning, and of the file that was written."""

    before: Answer
    plan: Answer
    after: Answer | None
    text: str
    lines: list[list[list[int]]]


@cache
def case(n: int) -> Case:
    rng = np.random.default_rng([SEED, n])
    file = walls.draw(rng)
    nominal = walls.VOLTS[file.data["chip"]["part"]]
    return Case(n, file, round(nominal * float(rng.uniform(0.84, 0.97)), 2))


def ask(made: Case) -> Said:
    """Plan, write, and look at what was written."""
    with folder() as place:
        (place / "wall.toml").write_bytes(made.file.text.encode())
        quiet = ["--json", "--plot", "plot.png", "--force"]
        scene = place / "still.py"
        scene.write_text("import numpy as np\ndef picture(time_s, display):\n"
                         "    return np.zeros(display.picture_shape, np.uint8)\n")  # fmt: skip
        follow = ["still.py", "--seconds", "1"]
        before = foreglow("power", "wall.toml", *follow, *quiet)
        said = ["--plan", made.volts, "--write", "new.toml"]
        plan = foreglow("power", "wall.toml", *follow, *said, *quiet)
        new = Path("new.toml")
        if not new.exists():
            return Said(before, plan, None, "", [])
        text = new.read_bytes().decode()
        after = foreglow("power", "new.toml", *follow, *quiet)
        shape = json.loads(foreglow("map", "new.toml", "--format", "json").out)
        return Said(before, plan, after, text, [line["leds"] for line in shape["lines"]])


def judge(made: Case, said: Said) -> list[str]:
    """What is wrong; nothing where all is right."""
    for answer in (said.before, said.plan, said.after):
        if answer and answer.status == FELL:
            return ["fell: " + answer.err.strip().splitlines()[-1]]
    if said.before.data is None:
        return [f"not loaded: {(said.before.out + said.before.err).strip()[:300]}"]
    faults = _wires(said.before.data)
    if said.plan.data is None:
        return [*faults, f"no plan: {(said.plan.out + said.plan.err).strip()[:300]}"]
    plan = said.plan.data["plan"]
    if said.after is None:
        if plan["possible"]:
            faults.append("possible, yet nothing written")
        elif not plan["reason"]:
            faults.append("not possible, without a reason")
        return faults
    if said.after.data is None:
        return [*faults, f"written file does not load: {said.after.err.strip()[:300]}"]
    faults += _kept(made.file, said.text, plan["changes"]) + _wires(said.after.data)
    return faults + _promise(made, said)


def _wires(data: Any) -> list[str]:
    """Rows count up; no fuse that its wire does not bear or its supply cannot blow."""
    faults = []
    one, rows = data["wires"], data["wire_rows"]
    if sum(r["count"] for r in rows) != len(one):
        faults.append(f"{len(one)} wires, {sum(r['count'] for r in rows)} in rows")
    kinds = [Counter((w["kind"], w["gauge"], round(w["length_m"], 3)) for w in one), Counter()]
    for r in rows:
        kinds[1][(r["kind"], r["gauge"], round(r["length_m"], 3))] += r["count"]
    if kinds[0] != kinds[1]:
        faults.append(f"rows differ: {kinds[0] - kinds[1]} for {kinds[1] - kinds[0]}")
    if abs(sum(w["loss_w"] for w in one) - sum(r["loss_w"] for r in rows)) > 1e-6:
        faults.append("losses of rows do not add up")
    for w in [*one, *rows]:
        fuse = w["fuse_a"]
        if fuse is not None and fuse > (w["ampacity_a"] or 0) + 1e-9:
            faults.append(f"{w['name']}: fuse {fuse} above the wire's {w['ampacity_a']}")
        if fuse is not None and 1.35 * fuse > (w["supply_a"] or 0) + 1e-6:
            faults.append(f"{w['name']}: fuse {fuse} not blown by {w['supply_a']} A")
        if fuse is not None and fuse < w["current_a"] - 1e-6:
            faults.append(f"{w['name']}: fuse {fuse} below the {w['current_a']:.2f} A it carries")
        if w["bears_supply"] and w["ampacity_a"] < w["supply_a"] * 1.25 - 1e-6:
            faults.append(f"{w['name']}: does not bear {w['supply_a']} A")
    return faults


def _kept(file: walls.File, text: str, changes: list[str]) -> list[str]:
    """Everything that the user wrote is still there, except for what the plan says it changed."""
    faults = []
    told = {"awg", "mm2"} if any("too thin" in c for c in changes) else set[str]()
    new, old = tomllib.loads(text), tomllib.loads(file.text)
    for key in old.keys() | new.keys():
        if key != "power" and old.get(key) != new.get(key):
            faults.append(f"[{key}] changed: {old.get(key)} to {new.get(key)}")
    was, now = old.get("power", {}), new.get("power", {})
    for key, value in was.items():
        if key in ("supply", "bus", "feed"):
            for n, one in enumerate(value):
                same = now.get(key, [])[n : n + 1] if key != "feed" else now.get(key, [])
                free = told if key == "bus" else set()
                if key == "bus" and "feed" not in was:  # the first feed is the plan's, then
                    free = free | {"to_first_m"}
                kept = {k: v for k, v in one.items() if k not in free}
                if not any(kept.items() <= other.items() for other in same):
                    faults.append(f"{key} {n} changed: {one} to {same[:3]}")
        elif now.get(key) != value:
            faults.append(f"{key} changed: {value} to {now.get(key)}")
    if lost := [c for c in file.comments if text.count(c) != file.text.count(c)]:
        faults.append(f"comments lost or doubled: {lost}")
    ends = text.count("\r\n"), text.count("\n") - text.count("\r\n")
    if file.text.count("\n") and min(ends) > 0:
        faults.append(f"ends of lines are mixed: {ends}")
    elif (ends[0] > 0) != (file.newline == "\r\n"):
        faults.append("ends of lines changed")
    return faults


def _promise(made: Case, said: Said) -> list[str]:
    """The volts that were promised, by foreglow again and by `nodal.py`."""
    assert said.after
    data, plan, faults = said.after.data, said.plan.data["plan"], []
    if not plan["possible"]:
        return [f"written though not possible: {plan['reason']}"]
    lowest = data["lowest"]["volts"]
    if lowest < made.volts - 1e-3:
        faults.append(f"{made.volts} V promised, {lowest:.4f} V kept")
    if abs(lowest - plan["after"]["lowest_v"]) > 5e-3:
        faults.append(f"plan says {plan['after']['lowest_v']:.4f} V, its file {lowest:.4f} V")
    new = tomllib.loads(said.text)
    if not new["power"].get("feed"):
        return faults
    full, dark = walls.full_amps(new)
    leds = sum(len(line) for line in said.lines)
    if abs(data["white"]["asked_a"] - full) > 1e-3 * full:
        faults.append(f"full white {data['white']['asked_a']:.3f} A, by the catalogue {full:.3f}")
    nominal = walls.VOLTS[new["chip"]["part"]]
    net = nodal.build(new, said.lines, data["wires"], nominal)
    most = min(full, max(new["power"].get("limit_a", full), dark))
    light = np.full(leds, (full - dark) / leds)
    shifted = nodal.Net(net.volts(np.full(leds, dark / leds)), net.ohm, leds)
    mine = shifted.worst(light, most - dark)
    if mine < made.volts - 0.02 * (nominal - made.volts) - 2e-3:
        faults.append(f"{made.volts} V promised, {mine:.4f} V by nodal analysis")
    if mine > data["needed_v"] and abs(mine - lowest) > 0.02 * (nominal - mine) + 2e-3:
        faults.append(f"lowest {lowest:.4f} V, by nodal analysis {mine:.4f} V")
    return faults


def faults(n: int) -> list[str]:
    """Run case `n`, and tell what is wrong."""
    made = case(n)
    return judge(made, ask(made))


def story(n: int) -> str:
    return case(n).kind
