"""How often frames come, how soon they are shown, and whether each arrives whole."""

from __future__ import annotations

import numpy as np

from emulator.arrays import Times
from emulator.bench import Bench
from emulator.errors import ForeglowError
from emulator.strip import Sent
from harness.assertions.failure import CourseFailure
from harness.result.course import Course
from harness.simulated.watched import WatchedBench

__tracebackhide__ = True  # a failure points to the line of the test


def assert_frame_rate(bench: Bench, at_least: float, jitter_ms: float | None = None) -> None:
    """Fail unless the frames latched so far came at `at_least` frames/s or more, on average.

    jitter_ms: how much the time between two frames may differ from the average, in either
    direction; None allows any. Raises AssertionError, which names the worst wait, and if fewer than
    two frames were latched.
    """
    frames, times_ns = len(bench.frames), bench.recorder.times_ns
    if frames < 2:
        raise AssertionError(f"{frames} frame(s) latched so far: a rate needs two")
    waits_ns = np.diff(times_ns)
    mean_ns = float(times_ns[-1] - times_ns[0]) / len(waits_ns)
    worst = int(waits_ns.argmax())
    if at_least * mean_ns * (1 - 1e-9) > 1e9:
        rates = ((1e3 / at_least, f"{at_least:g} frames/s"), (mean_ns / 1e6, "average"))
        raise CourseFailure(
            f"{1e9 / mean_ns:.2f} frames/s in {frames} frames; expected at least {at_least:g};"
            f" the longest wait is {waits_ns[worst] / 1e6:.2f} ms, at {times_ns[worst] / 1e9:.3f}"
            " s",
            bench.display,
            _waits(times_ns, waits_ns, rates, worst),
        )
    off_ms = np.abs(waits_ns - mean_ns) / 1e6
    worst = int(off_ms.argmax())
    if jitter_ms is not None and off_ms[worst] > jitter_ms:
        limits = tuple(
            (mean_ns / 1e6 + sign * jitter_ms, f"average {way} {jitter_ms:g} ms")
            for sign, way in ((1, "plus"), (-1, "minus"))
        )
        raise CourseFailure(
            f"{int((off_ms > jitter_ms).sum())} of {len(waits_ns)} waits between frames differ from"
            f" the average of {mean_ns / 1e6:.2f} ms by more than {jitter_ms:g} ms; the worst is"
            f" {waits_ns[worst] / 1e6:.2f} ms, at {times_ns[worst] / 1e9:.3f} s",
            bench.display,
            _waits(times_ns, waits_ns, limits, worst),
        )


def _waits(
    times_ns: Times, waits_ns: Times, limits: tuple[tuple[float, str], ...], worst: int
) -> Course:
    """The wait after each frame for the next one."""
    waits_ms = waits_ns / 1e6
    return Course("wait for the next frame", "ms", times_ns[:-1] / 1e9, waits_ms, limits, worst)


def assert_latched_within(bench: Bench, ms: float) -> None:
    """Fail unless every frame latched within `ms` after its first bit left the controller.

    Needs the fixture `bench`, or a WatchedBench; raises ForeglowError for another bench. Raises
    AssertionError, which names the slowest frame.
    """
    sent = _sent(bench)
    took_ns = np.array([frame.latched_ns - frame.starts_ns for frame in sent])
    late = took_ns > ms * 1e6
    if late.any():
        worst = int(took_ns.argmax())
        raise AssertionError(
            f"{int(late.sum())} of {len(sent)} frames took longer than {ms:g} ms to be shown;"
            f" the slowest is frame {worst}, sent at {sent[worst].starts_ns / 1e9:.3f} s:"
            f" {took_ns[worst] / 1e6:.2f} ms, of which {sent[worst].wire_ns / 1e6:.2f} ms on the"
            " wire"
        )


def assert_not_torn(bench: Bench) -> None:
    """Fail if a frame came before the reset time had passed, was too short or too long.

    Needs the fixture `bench`, or a WatchedBench; raises ForeglowError for another bench. Raises
    AssertionError, which names the first such frame.
    """
    sent = _sent(bench)
    torn = [(number, what) for number, frame in enumerate(sent) if (what := _torn(frame))]
    if torn:
        number, what = torn[0]
        raise AssertionError(
            f"{len(torn)} of {len(sent)} frames are torn; the first is frame {number}, sent at"
            f" {sent[number].starts_ns / 1e9:.3f} s: {what}"
        )


def _torn(sent: Sent) -> str:
    """What is wrong with a frame; '' if it is whole."""
    parts = []
    if sent.early:
        parts.append("it came before the reset time had passed, and went on to LEDs further down")
    if sent.leds_short:
        parts.append(f"{sent.leds_short} LEDs got no data")
    if sent.bytes_over:
        parts.append(f"{sent.bytes_over} bytes too many went past the last LED")
    return "; ".join(parts)


def _sent(bench: Bench) -> list[Sent]:
    """What happened to each frame. Raises ForeglowError if the bench did not keep it."""
    if not isinstance(bench, WatchedBench):
        raise ForeglowError(
            "this bench did not keep what happened to its frames",
            fix="use the fixture `bench`, or harness.simulated.watched.WatchedBench(display).",
        )
    if not bench.sent:
        raise AssertionError("no frame has been sent yet")
    return bench.sent
