"""What a check is, what it returns, and the list of checks."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any, Literal, get_args

from emulator.errors import ForeglowError, UnknownNameError
from emulator.registry import Registry
from harness.result.finding import Finding
from harness.subject.trial import Trial

Verdict = Literal["pass", "cannot tell", "warning", "fail"]

# In the order they run: a later check may leave to an earlier one what that has explained.
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

# Those that judge by what is seen for a picture: it must be that picture that is seen. Current and
# flashes are what they are, whatever picture was meant.
_SEEN = ("map", "colour", "levels", "patterns")


@dataclass(frozen=True)
class Result:
    """What one check found: a line to read, findings, and figures by name.

    explained_by: earlier checks whose findings explain what is wrong here, so that it has none.
    judged: False where the check did not run, because what it would see proves nothing.
    """

    check: str
    summary: str
    findings: tuple[Finding, ...] = ()
    figures: Mapping[str, Any] = field(default_factory=dict)
    explained_by: tuple[str, ...] = ()
    judged: bool = True

    @property
    def verdict(self) -> Verdict:
        """'fail' when a finding is a fault, or when earlier checks explain what is wrong here;

        'warning' when the worst finding is one; 'cannot tell' where nothing was judged."""
        if not self.judged:
            return "cannot tell"
        severities = {finding.severity for finding in self.findings}
        if "fault" in severities or self.explained_by:
            return "fail"
        return "warning" if "warning" in severities else "pass"


@dataclass(frozen=True)
class Report:
    """All checks of one trial.

    display, subject: names. results: one a check that ran, in their order.
    """

    display: str
    subject: str
    results: tuple[Result, ...]

    @property
    def verdict(self) -> Verdict:
        """The worst of the checks: `foreglow check` ends with 0 for 'pass', 1 for the others."""
        return max((r.verdict for r in self.results), key=get_args(Verdict).index, default="pass")

    @property
    def findings(self) -> tuple[Finding, ...]:
        return tuple(f for result in self.results for f in result.findings)

    @property
    def figures(self) -> Mapping[str, Mapping[str, Any]]:
        """What each check measured, by check and name; `verdict` is among them."""
        return {r.check: {"verdict": r.verdict, **r.figures} for r in self.results}

    def to_json(self) -> dict[str, Any]:
        """display, subject, verdict, findings[] and figures by check, as plain data."""
        return {
            "display": self.display,
            "subject": self.subject,
            "verdict": self.verdict,
            "findings": [asdict(finding) for finding in self.findings],
            "figures": dict(self.figures),
        }


def run_checks(trial: Trial, names: tuple[str, ...] = ()) -> Report:
    """Run the named checks, all by default, in their order.

    Where the answer to a picture is not steady, what the other checks would find may be due to
    that alone: they do not run. `timing` tells, also where it was not named.
    Raises UnknownNameError for a check there is not, SubjectError when the code under test fails.
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
            results.append(_left_to_timing(name))
        elif name != "timing":
            results.append(_run(name, trial, tuple(results)))
    trial.doing = "check timing, once more"
    later = trial.verify() if steady else ()
    if later:
        results = [_left_to_timing(r.check) if _judges_seen(r.check) else r for r in results]
    # Last, since it also tells what happened on the way; it stands first, since it explains.
    if "timing" in chosen or later or trial.timing.findings or trial.lengths.vary:
        timing = _run("timing", trial, tuple(results))
        results.insert(0, replace(timing, findings=(*later, *timing.findings)))
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
            fix="correct it; or name the checks to run with --only.",
        ) from error
    if not isinstance(result, Result):
        raise ForeglowError(
            f"{about} returned {type(result).__name__}",
            fix="let it return a harness.checks.check.Result.",
        )
    return replace(result, check=name)


def _judges_seen(name: str) -> bool:
    """Those of others may, too."""
    return name in _SEEN or name not in CHECKS


def _left_to_timing(name: str) -> Result:
    return Result(name, "not judged: see timing", explained_by=("timing",), judged=False)
