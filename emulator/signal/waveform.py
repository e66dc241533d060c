"""The waveform of one line: the times at which its level changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.errors import CaptureError


@dataclass(frozen=True, eq=False)
class Waveform:
    """Level of one line over time, as a list of edges.

    edges_ns : int64 (E,), strictly rising. Times at which the level changes. [ns]
    first_level : level before the first edge; levels alternate from there.
    start_ns, end_ns : the time the waveform covers; every edge is within. [ns]
    resolution_ns : the sampling step behind the edge times, at least 1; 1 means exact. [ns]
    rounding_ns : the most by which the rounding of edge times changes an interval. [ns]
    unknown : how many values next to a high level were neither high nor low, and count as low.

    Raises CaptureError if the edges do not rise or are outside the covered time.
    """

    edges_ns: NDArray[np.int64]
    first_level: bool
    start_ns: int
    end_ns: int
    resolution_ns: float = 1
    rounding_ns: float = 0
    unknown: int = 0

    def __post_init__(self) -> None:
        edges = self.edges_ns
        if edges.ndim != 1 or edges.dtype != np.int64:
            raise CaptureError(
                f"edge times are {edges.dtype} of shape {edges.shape}",
                fix="give them as one row of int64 nanoseconds.",
            )
        if self.resolution_ns < 1:
            raise CaptureError(
                f"a sampling step of {self.resolution_ns} ns",
                fix="give at least 1 ns; 1 means exact.",
            )
        falling = edges[1:] <= edges[:-1]
        if falling.any():
            first = int(falling.argmax()) + 1
            raise CaptureError(
                f"edge {first} at {edges[first]} ns does not come after edge {first - 1} "
                f"at {edges[first - 1]} ns",
                fix="sort the edges and remove duplicates.",
            )
        low = int(edges[0]) if edges.size else self.start_ns
        high = int(edges[-1]) if edges.size else self.start_ns
        if not self.start_ns <= low <= high <= self.end_ns:
            raise CaptureError(
                f"the waveform covers {self.start_ns} to {self.end_ns} ns "
                f"and has edges from {low} to {high} ns",
                fix="make the covered time include all edges.",
            )

    @property
    def margin_ns(self) -> float:
        """The largest error of a measured interval, up or down; 0 if exact. [ns]

        A sampler sees each edge up to one step late, so the time between two edges is off by less
        than one step, at any phase; rounding adds to it.
        """
        return 0 if self.resolution_ns <= 1 else self.resolution_ns + self.rounding_ns

    @property
    def rises_ns(self) -> NDArray[np.int64]:
        """Times of the rising edges, int64 (n,), a view. [ns]"""
        return self.edges_ns[int(self.first_level) :: 2]

    @property
    def falls_ns(self) -> NDArray[np.int64]:
        """Times of the falling edges, int64 (n,), a view. [ns]"""
        return self.edges_ns[1 - int(self.first_level) :: 2]

    @property
    def last_level(self) -> bool:
        """Level after the last edge."""
        return self.first_level ^ bool(self.edges_ns.size & 1)

    def pulses(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Rise and fall, each int64 (n,), of each complete high pulse. [ns]

        Pulses that an end of the waveform cuts are left out.
        """
        whole = self.edges_ns[int(self.first_level) :]
        whole = whole[: whole.size & ~1]
        return whole[0::2], whole[1::2]

    def levels_before(self, times_ns: NDArray[np.int64]) -> NDArray[np.uint8]:
        """Level just before each time (n,), uint8 0 or 1, as a chip with a set-up time takes it."""
        passed = np.searchsorted(self.edges_ns, times_ns, side="left")
        return ((passed & 1) ^ int(self.first_level)).astype(np.uint8)

    def parted(self, time_ns: int, until_ns: int) -> tuple[Waveform, Waveform]:
        """The part up to and with `time_ns`, which covers up to `until_ns`, and the part after."""
        count = int(np.searchsorted(self.edges_ns, time_ns, side="right"))
        level = self.first_level ^ bool(count & 1)
        return (
            replace(self, edges_ns=self.edges_ns[:count], end_ns=until_ns),
            replace(self, edges_ns=self.edges_ns[count:], first_level=level, start_ns=time_ns),
        )

    def moved(self, by_ns: int) -> Waveform:
        """The same waveform, so much later. [ns]"""
        start_ns, end_ns = self.start_ns + by_ns, self.end_ns + by_ns
        return replace(self, edges_ns=self.edges_ns + by_ns, start_ns=start_ns, end_ns=end_ns)

    def without_glitches(self, shorter_than_ns: int) -> tuple[Waveform, int]:
        """The waveform for an input that misses short changes, and how many changes it missed.

        From left to right: if the opposite edge follows in less than `shorter_than_ns`, the input
        sees neither of the two.
        """
        edges = self.edges_ns
        short = edges[1:] - edges[:-1] < shorter_than_ns
        if not short.any():
            return self, 0
        glitches = pair_starts(short)
        seen = np.ones(edges.size, dtype=bool)
        seen[glitches] = seen[glitches + 1] = False
        return replace(self, edges_ns=edges[seen]), glitches.size


def pair_starts(opens: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Index of the places where pairs begin, taken from left to right.

    opens : bool (n,), the places that can begin a pair with the next place. In a run of them, every
    second one begins a pair.
    """
    places = np.flatnonzero(opens)
    run_start = np.flatnonzero(np.diff(places, prepend=-2) != 1)
    run_length = np.diff(run_start, append=places.size)
    within = np.arange(places.size) - np.repeat(run_start, run_length)
    starts: NDArray[np.int64] = places[within % 2 == 0]
    return starts


def from_samples(levels: ArrayLike, step_ns: int, start_ns: int = 0) -> Waveform:
    """The waveform behind evenly spaced samples of a line.

    levels : bool or uint8, shape (S,); everything but 0 is high.
    step_ns : time between samples, at least 1; it is the waveform's resolution. [ns]
    start_ns : time of the first sample. [ns]

    An edge has the time of the first sample that shows the new level.
    Raises CaptureError without samples, and for another shape or type.
    """
    samples = np.asarray(levels)
    if samples.ndim != 1 or samples.size == 0 or samples.dtype not in (np.bool_, np.uint8):
        raise CaptureError(
            f"samples are {samples.dtype} of shape {samples.shape}",
            fix="give one row of at least one bool or uint8 sample.",
        )
    high = samples if samples.dtype == np.bool_ else samples != 0
    edges = np.flatnonzero(high[1:] != high[:-1])
    edges += 1
    edges *= step_ns
    edges += start_ns
    return Waveform(edges, bool(high[0]), start_ns, start_ns + samples.size * step_ns, step_ns)


def from_toggles(
    toggles_ns: NDArray[np.int64],
    first_level: bool,
    start_ns: int,
    end_ns: int,
    resolution_ns: float = 1,
    rounding_ns: float = 0,
) -> Waveform:
    """The waveform of toggles, int64 (E,), that never fall; pairs at the same time cancel. [ns]

    A change at `start_ns` is not an edge: it sets the level from the start on.
    Raises CaptureError as Waveform does.
    """
    edges = toggles_ns
    if (edges[1:] == edges[:-1]).any():
        times, count = np.unique(edges, return_counts=True)
        edges = times[count % 2 == 1]
    if edges.size and edges[0] == start_ns:
        first_level, edges = not first_level, edges[1:]
    return Waveform(edges, first_level, start_ns, end_ns, resolution_ns, rounding_ns)


def joined(pieces: Sequence[Waveform]) -> Waveform:
    """One waveform from one or more pieces, none of which begins before the one before it ends.

    If the level differs from one piece to the next, the line changes when the next one starts.
    The resolution is that of the last piece: a reader may know it better at the end.
    """
    if len(pieces) == 1:
        return pieces[0]
    toggles, level = [], pieces[0].first_level
    for piece in pieces:
        if piece.first_level != level:
            toggles.append(np.array([piece.start_ns]))
        toggles.append(piece.edges_ns)
        level = piece.last_level
    first, last = pieces[0], pieces[-1]
    whole = from_toggles(
        np.concatenate(toggles),
        first.first_level,
        first.start_ns,
        last.end_ns,
        last.resolution_ns,
        last.rounding_ns,
    )
    return replace(whole, unknown=sum(piece.unknown for piece in pieces))


def joined_lines(blocks: Sequence[Mapping[str, Waveform]]) -> dict[str, Waveform]:
    """The lines of successive blocks of a capture, each as one waveform (see `joined`)."""
    return {name: joined([block[name] for block in blocks]) for name in blocks[0]}
