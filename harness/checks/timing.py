"""Check `timing`: is each picture answered by its own frame, always the same, and soon enough?"""

from __future__ import annotations

import numpy as np

from harness.checks.check import Result
from harness.explain.numbers import listed, many
from harness.finding import Finding
from harness.printed import MEND_PRINTED, MUCH_PRINTED
from harness.timing.words import finding
from harness.trial import Trial

_GROWS = 10  # times that frames must have grown
_OVER = 1.1  # of the frame period: code that waits for its turn takes the period and a little more


def check(trial: Trial, earlier: tuple[Result, ...] = ()) -> Result:
    """What the examination found, and what the code under test did besides answering.

    The time that it takes is judged by the median of all pictures but the first, which may load
    things; the machine may be busy with something else now and then, so the worst is only told.
    """
    timing = trial.timing
    took_ms = np.array(trial.took_ns[1:] or trial.took_ns) / 1e6
    median_ms, worst_ms = float(np.median(took_ms)), float(took_ms.max())
    findings = [*timing.findings, *_slow(trial, median_ms, worst_ms), *_changed(trial)]
    findings += [*_growing(trial), *_printed(trial)]
    steady = "always the same answer" if timing.steady else "not steady"
    return Result(
        "timing",
        f"{steady} to {len(trial.took_ns)} pictures; {median_ms:.1f} ms a picture, at worst"
        f" {worst_ms:.1f} ms",
        tuple(findings),
        {
            "pictures": len(trial.took_ns),
            "steady": timing.steady,
            "lag": timing.lag,
            "median_ms": round(median_ms, 3),
            "worst_ms": round(worst_ms, 3),
            "first_ms": round(trial.took_ns[0] / 1e6, 3),
        },
    )


def _slow(trial: Trial, median_ms: float, worst_ms: float) -> list[Finding]:
    """Code that takes longer over a picture than the display file leaves it."""
    rate = trial.display.controller.frame_rate
    period_ms = 1e3 / rate
    if median_ms <= _OVER * period_ms:
        return []
    return [
        finding(
            f"the code takes {median_ms:.1f} ms a picture in the median, {worst_ms:.1f} ms at"
            f" worst; {rate:g} frames/s leave {period_ms:.1f} ms",
            "all LEDs",
            f"{len(trial.took_ns)} pictures; the first took {trial.took_ns[0] / 1e6:.1f} ms",
            "make it faster (numpy on whole pictures, tables made once), or ask for at most"
            f" {1e3 / median_ms:.3g} frames/s in [controller].",
            "warning",
        )
    ]


def _changed(trial: Trial) -> list[Finding]:
    if not trial.changed:
        return []
    return [
        finding(
            "the array handed in was changed",
            "the picture",
            f"{many(len(trial.changed), 'picture')} of {len(trial.took_ns)}:"
            f" {listed(trial.changed[:100])}",
            "work on a copy: whoever sends the same picture again sends what is left of it.",
            "warning",
        )
    ]


def _growing(trial: Trial) -> list[Finding]:
    """Frames that get longer and longer."""
    sent = np.array(trial.sent_bytes)
    grown = np.diff(sent)
    if sent.size < _GROWS or (grown < 0).any() or np.count_nonzero(grown) < _GROWS:
        return []
    return [
        finding(
            f"the frames grow: {sent[0]} bytes at first, {sent[-1]} after {sent.size} pictures",
            "all lines",
            f"longer {np.count_nonzero(grown)} times, never shorter",
            "look for bytes that are appended to what is kept from the picture before.",
        )
    ]


def _printed(trial: Trial) -> list[Finding]:
    if trial.subject.printed is None or not trial.printed_at:
        return []
    printed = trial.subject.printed()
    return [
        finding(
            f"the code printed {printed / 1e6:.1f} MB over {len(trial.took_ns)} pictures",
            f"more than {MUCH_PRINTED / 1e6:.0f} MB at {trial.printed_at}",
            f"{printed / len(trial.took_ns):.0f} bytes a picture",
            MEND_PRINTED,
            "warning",
        )
    ]
