"""The checks: what a check is, the list of all checks, and how they run."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from emulator.errors import ForeglowError, UnknownNameError
from emulator.registry import Registry
from harness.result.report import Report
from harness.result.result import Result
from harness.subject.trial import Trial

# In the order they run: a later check can refer to what an earlier one has explained.
CHECKS: Mapping[str, str] = {
    "timing": "harness.checks.timing:check",
    "wire": "harness.checks.wire:check",
    "map": "harness.checks.map:check",
    "colour": "harness.checks.colour:check",
    "levels": "harness.checks.levels:check",
    "patterns": "harness.checks.patterns:check",
    "power": "harness.checks.power:check",
    "light": "harness.checks.light:check",
    "flash": "harness.checks.flash:check",
}

# These compare what the wall shows with the picture sent, so they need steady answers. Current and
# flashes can be judged for any picture.
_SEEN = ("map", "colour", "levels", "patterns")


def run_checks(trial: Trial, names: tuple[str, ...] = ()) -> Report:
    """Run the named checks, all by default, in their order.

    If the answer to a picture is not steady, the checks that compare pictures do not run: this
    could cause all that they find. The report then contains `timing`, even if you did not name it.
    If frames were damaged on their way to the LEDs, these checks and `timing` find nothing that
    the damage could cause; the report contains `wire`, which names it.
    Raises UnknownNameError for an unknown check, SubjectError if the code under test fails.
    """
    for name in names:
        if name not in ALL_CHECKS:
            raise UnknownNameError("check", name, ALL_CHECKS.names())
    chosen = [name for name in ALL_CHECKS.names() if not names or name in names]
    trial.doing = "check timing"
    steady = trial.timing.steady
    results: list[Result] = []
    for name in chosen:
        trial.doing = f"check {name}"
        if _judges_seen(name) and not steady:
            results.append(_left_to("timing", name))
        elif name != "timing":
            results.append(_run(name, trial, tuple(results)))
        if name == "levels":
            trial.forget()
    trial.doing = "check timing, once more"
    later = trial.verify() if steady else ()
    if later:
        results = [_left_to("timing", r.check) if _judges_seen(r.check) else r for r in results]
    # Runs last, since it reports what happened in all checks; listed first, since it explains them.
    if "timing" in chosen or later or trial.timing.findings or trial.lengths.vary:
        timing = _run("timing", trial, tuple(results))
        results.insert(0, replace(timing, findings=(*later, *timing.findings)))
    if trial.damaged:  # what was seen is not what the code had sent
        if not any(result.check == "wire" for result in results):
            results.append(_run("wire", trial, tuple(results)))
        results = [
            _left_to("wire", r.check)
            if _judges_answers(r.check) and (r.findings or not r.judged)
            else r
            for r in results
        ]
    return Report(trial.display.name, trial.subject.name, tuple(results))


Check = Callable[[Trial, tuple[Result, ...]], Result]
"""`check(trial, earlier)`: judges the code of a trial, knowing the results of earlier checks."""

ALL_CHECKS = Registry[Check](
    "check", CHECKS, callable, "a function of a trial and the earlier results"
)


def _run(name: str, trial: Trial, earlier: tuple[Result, ...]) -> Result:
    check = ALL_CHECKS[name]
    if name in CHECKS:
        return check(trial, earlier)
    about = f"the check '{name}' of {ALL_CHECKS.of(name)}"
    try:
        result: object = check(trial, earlier)
    except ForeglowError:
        raise
    except Exception as error:
        raise ForeglowError(
            f"{about} raised {type(error).__name__}: {error}",
            fix="correct it, or leave it out with --only.",
        ) from error
    if not isinstance(result, Result):
        raise ForeglowError(
            f"{about} returned {type(result).__name__}",
            fix="let it return a harness.Result.",
        )
    return replace(result, check=name)


def _judges_seen(name: str) -> bool:
    """Whether a check compares pictures. Registered checks may, so they count as if they did."""
    return name in _SEEN or name not in CHECKS


def _judges_answers(name: str) -> bool:
    return name == "timing" or _judges_seen(name)


def _left_to(other: str, name: str) -> Result:
    """In place of what the check `name` says: the check `other` says why it cannot judge."""
    return Result(name, f"not judged: see {other}", explained_by=(other,), judged=False)
