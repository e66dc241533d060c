"""Whether the frames shown exceed the flash thresholds of WCAG 2.2."""

from __future__ import annotations

import numpy as np

from emulator.bench import Bench
from harness.assertions.failure import CourseFailure
from harness.assertions.latched import latched_frames
from harness.flash.judge import CAUTION, MOST_FLASHES, judge_bench
from harness.flash.words import described
from harness.result.course import Course

__tracebackhide__ = True  # a failure points to the line of the test


def assert_no_flash_hazard(bench: Bench, distance_m: float | None = None) -> None:
    """Fail unless every frame latched so far stays below the flash thresholds of WCAG 2.2.

    Counted by SC 2.3.1 at the display's real size. distance_m: metres from the eye to the wall, by
    default that of [view]. This is information, not a medical clearance: judge the finished wall in
    its place as well. Raises AssertionError, which names the worst second and place.
    """
    latched_frames(bench)
    judged = judge_bench(bench, distance_m)
    above = [described(kind) for kind in (judged.general, judged.red) if not kind.below]
    if above:
        worst = judged.worst
        flashes = judged.flashes.astype(np.float64)
        raise CourseFailure(
            f"above the flash thresholds, seen from {judged.distance_m:g} m: "
            + "\n".join(above)
            + f"\n{CAUTION}",
            bench.display,
            Course(
                f"{worst.kind} flashes in the last second",
                "flashes",
                judged.times_ns / 1e9,
                flashes,
                ((MOST_FLASHES, f"at most {MOST_FLASHES} in a second"),),
                int(flashes.argmax()),
            ),
            (worst.column, worst.row),
        )
