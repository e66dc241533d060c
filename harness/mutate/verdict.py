"""Which mistakes the user's tests notice, and the assertion that would catch each survivor."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from typing import Any

import numpy as np

from emulator.description.display import Display
from emulator.errors import SubjectError
from harness.mutate.change import Change
from harness.mutate.mutation import Group, LeftOut, Mutation, mutations, unchanging
from harness.mutate.order import Order
from harness.mutate.running import Command, Run

_FIRST_S = 600.0  # for the tests on the code as it is, unless the user says otherwise
_LEAST_S, _TIMES = 30.0, 5  # for each mistake: so many times what they took first, at least this
_SHOWN = 12  # lines of the tests' output in an error

Progress = Callable[[int, int], None]  # mistakes done, of so many


@dataclass(frozen=True)
class Tried:
    """A mistake and how the tests took it.

    noticed: whether the tests failed, or took too long (`too_long`). by: the first test that
    failed, if the output names it. reached: whether the tests used the wrong code at all.
    assertion: one line that would catch it.
    """

    mutation: Mutation
    noticed: bool
    too_long: bool
    by: str
    reached: bool
    assertion: str


@dataclass(frozen=True)
class Verdict:
    """What the tests of a command notice of the mistakes in `target`, in the order of these.

    early: the lines of its module that use it while the module is imported: there it is right.
    """

    command: str
    target: str
    display: str
    tried: tuple[Tried, ...]
    left_out: tuple[LeftOut, ...]
    early: tuple[int, ...]

    @property
    def survivors(self) -> tuple[Tried, ...]:
        """The mistakes that no test notices."""
        return tuple(one for one in self.tried if not one.noticed)


def try_tests(
    command: str,
    display: Display,
    order: Order,
    groups: tuple[Group, ...],
    *,
    each: int = 1,
    seed: int = 0,
    workers: int = 1,
    limit_s: float | None = None,
    progress: Progress = lambda done, of: None,
) -> Verdict:
    """Run the tests on the code as it is, then once with each mistake.

    order: what to replace on this display, without a mistake. each, seed: as `mutations` takes
    them. workers: runs at the same time. limit_s: for a run; by default 5 times what the first one
    took, at least 30 s. Raises SubjectError if the tests fail on the code as it is, or do not use
    it.
    """
    tests = Command(command, order)
    first = _first(tests, command, order, limit_s)
    wanted, left_out = mutations(display, groups, each, seed)
    if order.kind == "map":
        wanted, left_out = _changing(wanted, left_out, first, display)
    code = order.target.replace(":", ".") + _brackets(first)
    limit = limit_s or max(_LEAST_S, _TIMES * first.seconds)
    tried: list[Tried | None] = [None] * len(wanted)
    pool = ThreadPoolExecutor(workers)
    try:
        runs = {pool.submit(tests.run, one.change, limit): n for n, one in enumerate(wanted)}
        for done, finished in enumerate(as_completed(runs), 1):
            number = runs[finished]
            tried[number] = _tried(wanted[number], finished.result(), code)
            progress(done, len(wanted))
    finally:
        tests.end()
        pool.shutdown(cancel_futures=True)
    return Verdict(
        command,
        order.target,
        display.name,
        tuple(one for one in tried if one is not None),
        tuple(left_out),
        tuple(sorted({int(line[6:]) for line in first.answers if line.startswith("early ")})),
    )


def assertion(group: Group, code: str) -> str:
    """The line that catches every mistake of a group; `display` is the fixture of the plugin."""
    if group == "map":
        return f"assert_map(display, {code})"
    only = {"colour": "colour,levels", "timing": "timing"}[group]
    return f'assert_right(display, {code}, only="{only}")'


def _first(tests: Command, command: str, order: Order, limit_s: float | None) -> Run:
    """The run on the code as it is. Raises SubjectError unless the tests pass and use the code."""
    run = tests.run(Change(), limit_s or _FIRST_S)
    module, _, _ = order.target.rpartition(":")
    shown = "".join(f"\n    {line}" for line in run.output.splitlines()[-_SHOWN:])
    if unfit := [line for line in run.answers if line.startswith("unfit ")]:
        takes = {
            "map": "a map, or a function that returns it: whole numbers (N,), row · columns +"
            " column, or (N, 2)",
            "call": "a function that is given pictures",
        }[order.kind]
        raise SubjectError(unfit[0][6:], place=order.target, fix=f"name {takes}.")
    if run.status is None:
        raise SubjectError(
            f"the tests took longer than {limit_s or _FIRST_S:g} s on the code as it is{shown}",
            place=command,
            fix="give them more time by --limit, or name fewer tests.",
        )
    if run.status != 0:
        raise SubjectError(
            f"the tests fail on the code as it is, with exit status {run.status}{shown}",
            place=command,
            fix="let them pass first. foreglow must be installed where they run.",
        )
    if not any(line.startswith("found") for line in run.answers):
        raise SubjectError(
            f"the tests passed, but did not import {module} where foreglow could see it",
            place=command,
            fix=f"name the module that your tests import, and install foreglow where {command!r}"
            " runs: its pytest plugin must be on.",
        )
    if "called" not in run.answers:
        used = {
            "map": "never asked it for the map",
            "call": f"never called it with a picture of {order.rows} rows and {order.columns}"
            " columns",
        }[order.kind]
        raise SubjectError(
            f"the tests passed, but {used}",
            place=order.target,
            fix="name the function that your tests use, and the display that it is for by"
            " --display.",
        )
    return run


def _changing(
    wanted: Sequence[Mutation], left_out: Sequence[LeftOut], first: Run, display: Display
) -> tuple[list[Mutation], list[LeftOut]]:
    """Without the mistakes that change none of the maps which the tests asked for."""
    told = [line.removeprefix("map ") for line in first.answers if line.startswith("map ")]
    maps = [np.array(json.loads(one)) for one in dict.fromkeys(told)]
    same = [all(unchanging(one, cells, display.grid.columns) for cells in maps) for one in wanted]
    reason = "changes nothing in this map"
    return (
        [one for one, kept in zip(wanted, same, strict=True) if not kept],
        [
            *left_out,
            *(
                LeftOut(one.name, one.group, reason)
                for one, kept in zip(wanted, same, strict=True)
                if kept
            ),
        ],
    )


def _brackets(first: Run) -> str:
    """What follows the name of a map in an assertion: the call of a function that returns it."""
    for words, brackets in (("found function with arguments", "(…)"), ("found function", "()")):
        if words in first.answers:
            return brackets
    return ""


def _tried(mutation: Mutation, run: Run, code: str) -> Tried:
    return Tried(
        mutation,
        noticed=run.status != 0,
        too_long=run.status is None,
        by=run.failed,
        reached="called" in run.answers,
        assertion=assertion(mutation.group, code),
    )


def to_json(verdict: Verdict) -> dict[str, Any]:
    """The verdict as data."""
    return {
        "command": verdict.command,
        "target": verdict.target,
        "display": verdict.display,
        "mistakes": len(verdict.tried),
        "noticed": len(verdict.tried) - len(verdict.survivors),
        "survivors": [
            {**_named(one.mutation), "assertion": one.assertion} for one in verdict.survivors
        ],
        "tried": [
            {
                **_named(one.mutation),
                "noticed": one.noticed,
                "too_long": one.too_long,
                "by": one.by,
                "reached": one.reached,
            }
            for one in verdict.tried
        ],
        "early_lines": list(verdict.early),
        "left_out": [
            {"name": one.name, "group": one.group, "reason": one.reason} for one in verdict.left_out
        ],
    }


def _named(mutation: Mutation) -> dict[str, str]:
    return {"name": mutation.name, "group": mutation.group, "what": mutation.what}
