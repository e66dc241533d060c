"""The findings of a soak: everything that went wrong in the show."""

from __future__ import annotations

from collections.abc import Iterator

from emulator.clock import SECOND_NS
from harness.flash.judge import CAUTION
from harness.flash.words import described
from harness.result.finding import Finding
from harness.soak.memory import MOST_GROWTH
from harness.soak.soak import Soaked

_MIB = 1 << 20
_RARELY = 1000  # one picture in so many may take long, to open a new clip or to free memory


def findings_of(soaked: Soaked) -> list[Finding]:
    """The findings of a soak, injected faults last; empty if all was well."""
    return [
        *_time(soaked),
        *_frames(soaked),
        *_flashes(soaked),
        *_resources(soaked),
        *_faults(soaked),
    ]


def late_alone(soaked: Soaked) -> int:
    """Late pictures that no injected fault explains."""
    return soaked.late - sum(outcome.late for outcome in soaked.outcomes)


def unsent_alone(soaked: Soaked) -> int:
    """Frames that did not go out, and that no injected fault explains."""
    return soaked.unsent - sum(outcome.unsent for outcome in soaked.outcomes)


def _time(soaked: Soaked) -> Iterator[Finding]:
    if soaked.had < soaked.wanted:
        yield _finding(
            "the frame rate asked for is not possible",
            f"the display file asks for {soaked.wanted:g} frames/s; the link carries"
            f" {soaked.had:g}",
            "share the LEDs among more lines, or ask for fewer frames a second",
        )
    if soaked.drift_ns:
        yield _finding(
            "the frames drift",
            f"the last frame started {soaked.drift_ns} ns off its multiple of the period",
            "look for what holds the output up",
        )
    if late := late_alone(soaked):
        yield _finding(
            "pictures came too late",
            f"{late} pictures came after their frame had begun; the wall held the last picture",
            "draw faster, or ask for fewer frames a second",
        )
    if soaked.slow * _RARELY > soaked.drawn:
        yield _finding(
            "the scene draws too slowly",
            f"{soaked.slow} of {soaked.drawn} pictures took more than the {1e3 / soaked.had:.1f} ms"
            f" of a frame, of CPU time on this machine; {1e3 * soaked.slowest_s:.1f} ms at most",
            "draw faster, or ask for fewer frames a second",
        )


def _frames(soaked: Soaked) -> Iterator[Finding]:
    if unsent := unsent_alone(soaked):
        yield _finding(
            "frames did not go out", f"{unsent} frames", "look for what holds the output up"
        )
    if soaked.over_period:
        yield _finding(
            "frames take longer on the wire than a period",
            f"{soaked.over_period} frames",
            "share the LEDs among more lines",
        )
    if soaked.early:
        yield _finding(
            "frames came before the reset time of the one before had passed",
            f"{soaked.early} frames",
            "ask for fewer frames a second",
        )
    if soaked.dark_ns is None:
        yield _finding(
            "the wall was not dark at the end", "no dark frame went out", "see the output's trouble"
        )
    for at_s, words in soaked.troubles:
        yield _finding("the show had trouble without an injected fault", words, "see above", at_s)


def _flashes(soaked: Soaked) -> Iterator[Finding]:
    for kind in soaked.flashes:
        if not kind.below:
            yield _finding(
                f"the show flashes above the thresholds of WCAG 2.2 ({kind.kind} flashes)",
                f"{described(kind)}. {CAUTION}",
                "change less of the picture at once, or more slowly; `foreglow flash` draws the"
                " worst place",
                kind.from_ns / SECOND_NS,
            )


def _resources(soaked: Soaked) -> Iterator[Finding]:
    growth = soaked.late_bytes - soaked.early_bytes
    if growth > MOST_GROWTH:
        yield _finding(
            "the memory grows",
            f"{growth / _MIB:.1f} MiB more at the end than after the first minutes; at most"
            f" {MOST_GROWTH / _MIB:g} MiB",
            "look for lists or caches in the scene that are only added to",
        )
    if soaked.over_limit:
        yield _finding(
            "frames take more current than the limit",
            f"{soaked.over_limit} frames over {soaked.limit_a} A, {soaked.most_a:.2f} A at most",
            "lower the brightness in the scene",
        )


def _faults(soaked: Soaked) -> Iterator[Finding]:
    for outcome in soaked.outcomes:
        for words in outcome.findings:
            yield _finding(
                f"the show did not recover from a fault: {outcome.what}",
                words,
                "see what the scene does after it",
                outcome.at_s,
            )


def _finding(what: str, evidence: str, remedy: str, at_s: float | None = None) -> Finding:
    where = "the whole show" if at_s is None else f"{clock_face(at_s)} into the show"
    return Finding("soak", what, where, evidence, remedy)


def clock_face(seconds: float) -> str:
    """Hours, minutes and seconds: 1:02:03."""
    whole = int(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def dark_ms(soaked: Soaked) -> float | None:
    """Milliseconds from the end of the show until every LED was dark."""
    return None if soaked.dark_ns is None else soaked.dark_ns * 1000 / SECOND_NS
