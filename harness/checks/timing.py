"""Check `timing`: is each picture answered by its own frame, always the same, and soon enough?"""

from __future__ import annotations

import numpy as np

from harness.result.finding import Finding
from harness.result.result import Result
from harness.result.words import listed, many
from harness.subject.printed import FIX_PRINTED, MUCH_PRINTED
from harness.subject.trial import Trial
from harness.timing.pace import Pace
from harness.timing.words import finding

_GROWS = 10  # times that frames must have grown


def check(trial: Trial, earlier: tuple[Result, ...] = ()) -> Result:
    """Report what the examination found, and speed, frame lengths, output and changed pictures.

    These count all frames sent, also those of the other checks.
    """
    timing = trial.timing
    slow = _slow(trial)
    pace = Pace.of(trial.took_ns, trial.display.controller.frame_rate)
    findings = [*timing.findings, *slow, *_changed(trial), *_lengths(trial), *_printed(trial)]
    steady = "always the same answer to" if timing.steady else "not steady over"
    return Result(
        "timing",
        f"{steady} {len(trial.took_ns)} pictures; {pace.median_ms:.1f} ms a picture, at worst"
        f" {pace.worst_ms:.1f} ms",
        tuple(findings),
        {
            "pictures": len(trial.took_ns),
            "steady": timing.steady,
            "lag": timing.lag,
            "median_ms": round(pace.median_ms, 3),
            "worst_ms": round(pace.worst_ms, 3),
            "first_ms": round(pace.first_ms, 3),
            "over_period": int(pace.over.size),
            "frame_lengths": len(trial.lengths.counts),
        },
    )


def _slow(trial: Trial) -> list[Finding]:
    """Code that takes longer than a frame period: always, often, or for one picture.

    A few slow pictures prove nothing, since the machine may have been busy. So one of them must be
    slow again when it is sent again.
    """
    rate = trial.display.controller.frame_rate
    pace = Pace.of(trial.took_ns, rate)
    place = trial.slow[0].place if trial.slow else ""
    if pace.too_slow:
        return [pace.finding(pace.too_slow, place)]
    for slow in tuple(trial.slow):
        if trial.send_again(slow.picture):
            pace = Pace.of(trial.took_ns, rate)
            return [pace.finding("one picture, each time that it is sent,", slow.place)]
    return []


def _changed(trial: Trial) -> list[Finding]:
    if not trial.changed:
        return []
    return [
        finding(
            "the code changed the picture it was given",
            "the picture",
            f"{many(len(trial.changed), 'picture')} of {len(trial.took_ns)}:"
            f" {listed(trial.changed[:100])}",
            "work on a copy: the caller may use the same array again.",
            "warning",
        )
    ]


def _lengths(trial: Trial) -> list[Finding]:
    """Frames that grow, or whose lengths vary."""
    if not trial.lengths.vary:
        return []
    sent = np.array(trial.lengths.totals)
    grown = np.diff(sent)
    if (grown < 0).any() or np.count_nonzero(grown) < _GROWS:
        steady = trial.timing.frames if trial.timing.steady else 0
        return [trial.lengths.finding(trial.display.wiring.line_names, steady)]
    return [
        finding(
            f"the frames grow: {sent[0]} bytes at first, {sent[-1]} after {sent.size} pictures",
            "all lines",
            f"longer {np.count_nonzero(grown)} times, never shorter",
            "look for bytes that are appended to a buffer kept from the picture before.",
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
            FIX_PRINTED,
            "warning",
        )
    ]
