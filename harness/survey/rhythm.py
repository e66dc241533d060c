"""When the film shows which picture: its pace and its phase, from the light of the whole.

The marker, in which the whole wall blinks, is looked for in the light of the film at every pace;
the changes from picture to picture then give the pace exactly.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Floats, Ints
from harness.patterns.film import FilmStep
from harness.survey.changes import echoed, followed, refined
from harness.survey.counting import counted, likeness
from harness.survey.footage import Frame
from harness.survey.marker import BLOCKS, marker_of, search, weight_of

_SMALL = (192, 336)  # rows, columns of the thumbnails in which changes are seen
_AGAIN = 0.75  # correlation with the marker of one more pass
_PACES = np.geomspace(0.1, 4.0, 310)  # seconds a picture, 1.2 % apart
_STILLS = np.array([1.0])  # one still a picture, one a second (`Stills`)
_OFF = 0.03  # by which the marker's pace may be off, and is refined
_VARIES = 0.3  # of the standard deviation of the block that changes most: there is the wall
_ENDS = (0.03, 0.95)  # of the stills: so many are darker than the dark wall, or not all lit
# Of a picture, the part in which surely nothing else shows: shutters roll, shows send in frames.
_FROM, _TO = 0.26, 0.90
_AWAY = 0.42  # of a picture, by which its only frame may be from the middle of that part


@dataclass(frozen=True)
class Rhythm:
    """Which frame shows which step.

    times_s: (T,) of the frames. begins_s: of each pass of the pattern in the film. pace_s: seconds
    a picture. step: (T,) of each frame, -1 for one at a change or outside. turn: (T,) number of the
    pass, -1 there. light: (rows, columns) of the blocks of a frame, how much each blinks with the
    whole wall. moves: (rows, columns) how much each changes when the pattern does.
    """

    times_s: Floats
    begins_s: Floats
    pace_s: float
    step: Ints
    turn: Ints
    light: Floats
    moves: Floats


class NoMarkerError(ValueError):
    """The film does not have the marker."""


class Watch:
    """Looks at the light of each frame as it comes; keeps a few numbers of it."""

    def __init__(self, *, stills: bool = False) -> None:
        self._stills = stills
        self._smalls: list[NDArray[np.float32]] = []  # of stills, as their tints
        self._tints: list[NDArray[np.float32]] = []
        self._times: list[float] = []
        self._blocks: list[NDArray[np.float16]] = []
        self._change: list[NDArray[np.float16]] = []  # of each block, from the frame before
        self._before: NDArray[np.float32] | None = None

    def take(self, frame: Frame) -> None:
        """The next frame."""
        small = _thumbnail(frame)
        before, self._before = self._before, small
        if self._stills:
            self._smalls.append(small)
            self._tints.append(_in_blocks(frame.rgb().astype(np.float32)))
        self._times.append(frame.time_s)
        self._blocks.append(_in_blocks(small).astype(np.float16))
        change = np.abs(small - (small if before is None else before))
        self._change.append(_in_blocks(change).astype(np.float16))

    def rhythm(self, steps: tuple[FilmStep, ...]) -> Rhythm:
        """The passes of the pattern so far. Raises NoMarkerError if there is none."""
        if len(self._times) < 8:
            raise NoMarkerError
        times_s = np.array(self._times)
        lit = np.array(self._blocks, dtype=np.float32).reshape(len(times_s), -1)
        moving = not self._stills
        if self._stills and (told := self._counted(lit, steps)):
            return told
        template = np.array([step.lit for step in steps])
        found = marker_of(times_s, lit, steps, _PACES if moving else _STILLS)
        if found is None:
            raise NoMarkerError
        weight, begin_s, pace_s = found
        change = np.array([float(one.ravel() @ weight) for one in self._change])
        weighed = lit @ (weight / weight.sum())
        if moving:
            begin_s, pace_s = _refined(times_s, weighed, change, begin_s, pace_s, steps)
        else:
            begin_s = round(begin_s - 0.5) + 0.5  # between two stills
        begins_s = [begin_s]
        if moving:
            begins_s += _others(times_s, weighed, change, steps, begin_s, pace_s)
        begins_s.sort()
        count = len(steps)
        coded = {number for number, step in enumerate(steps) if step.bit >= 0}

        def edges_of(begin_s: float) -> Floats:
            if moving:
                return followed(times_s, change, begin_s, pace_s, steps)[0]
            return np.asarray(begin_s + np.arange(count + 1.0) * pace_s)

        edges_s = [edges_of(one) for one in begins_s]
        turn, step, kept = _steps_at(times_s, edges_s, moving)
        whole = any(coded <= {*step[kept & (turn == one)].tolist()} for one in range(len(begins_s)))
        if moving and not whole:
            # What comes before the first marker belongs to a pass before, if the show goes round.
            begins_s.insert(0, begins_s[0] - count * pace_s)
            edges_s.insert(0, edges_of(begins_s[0]))
            turn, step, kept = _steps_at(times_s, edges_s, moving)
            meant = np.where(kept, template[step.clip(0, count - 1)], np.nan)
            kept &= (turn != 0) | _shines(weighed, meant, turn)
        return Rhythm(
            times_s,
            np.array(begins_s),
            pace_s,
            np.where(kept, step, -1),
            np.where(kept, turn, -1),
            weight.reshape(BLOCKS),
            self._moves(np.sort(np.concatenate(edges_s)), times_s, kept),
        )

    def _counted(self, lit: NDArray[np.float32], steps: tuple[FilmStep, ...]) -> Rhythm | None:
        """The rhythm of stills, one of which may be missing or taken twice; None if their pairs do
        not tell. lit: (T, blocks)."""
        import cv2  # of the extra `camera`

        spread = lit.std(axis=0)
        varies = np.where(spread > _VARIES * spread.max(), spread, np.float32(0))
        if not varies.any():
            return None
        varies /= varies.sum()
        tint = varies @ np.array(self._tints).reshape(len(lit), -1, 3)
        wall = cv2.resize(varies.reshape(BLOCKS), _SMALL[::-1], interpolation=cv2.INTER_NEAREST)
        alike = likeness(np.array(self._smalls), wall > 0)
        # An exposure that follows the light leaves contrast.
        for light in (lit @ varies, lit.std(axis=1) / np.maximum(lit.mean(axis=1), 1)):
            low, high = np.quantile(light, _ENDS)
            own = tint - tint[light <= low].mean(axis=0)
            share = (light.astype(np.float64) - low) / max(high - low, 1e-9)
            if found := counted(share, own, alike, steps):
                break
        else:
            return None
        step, turn = found
        plain = np.array([one.shows in ("on", "dark") for one in steps])[step] & (step >= 0)
        weight = weight_of(lit[plain], np.array([one.lit for one in steps])[step[plain]])
        times_s = np.array(self._times)
        begins_s = np.array([times_s[turn == one][0] for one in np.unique(turn[turn >= 0])])
        changes = np.append(0, np.flatnonzero(np.diff(step)) + 1)
        moves = np.mean([self._change[k] for k in changes.tolist()], axis=0, dtype=np.float64)
        blinks = weight if weight.any() else varies.astype(np.float64)
        blinks = blinks.reshape(BLOCKS)
        return Rhythm(times_s, begins_s, 1.0, step, turn, blinks, np.asarray(moves))

    def _moves(self, edges_s: Floats, times_s: Floats, kept: Bools) -> Floats:
        """How much the blocks change from one picture to the next, and not within one."""
        after = np.searchsorted(times_s, edges_s).clip(0, len(times_s) - 1)
        within = np.setdiff1d(np.flatnonzero(kept), after)
        means = [
            np.mean([self._change[k] for k in some], axis=0, dtype=np.float64)
            for some in (after.tolist(), within.tolist())
            if len(some)
        ]
        return np.asarray(np.clip(means[0] - means[-1], 0, None) if len(means) > 1 else means[0])


def _refined(
    times_s: Floats,
    light: Floats,
    change: Floats,
    begin_s: float,
    pace_s: float,
    steps: tuple[FilmStep, ...],
) -> tuple[float, float]:
    """Beginning and pace by all changes of the film.

    Frames that were lost while the marker shows make its pictures shorter than those that follow.
    So these are asked as well, and what explains more of the film counts.
    """
    told = refined(times_s, change, begin_s, pace_s, steps)
    echo_s = echoed(times_s, change, pace_s)
    if abs(echo_s / pace_s - 1) <= _OFF:
        return told
    _, begin_s, _ = search(times_s, light, steps, np.array([echo_s]))
    tries = [told, refined(times_s, change, begin_s, echo_s, steps)]
    return max(tries, key=lambda one: followed(times_s, change, one[0], one[1], steps)[1])


def _steps_at(times_s: Floats, edges_s: list[Floats], moving: bool) -> tuple[Ints, Ints, Bools]:
    """(T,) pass and step of each frame, and whether it shows that step alone.

    edges_s: of each pass, when its steps begin, and when the last ends.
    """
    turn = np.searchsorted([one[0] for one in edges_s], times_s, side="right") - 1
    step = np.full(len(times_s), -1)
    place = np.zeros(len(times_s))
    for number, edges in enumerate(edges_s):
        own = turn == number
        step[own] = np.searchsorted(edges, times_s[own], side="right") - 1
        begins = step[own].clip(0, len(edges) - 2)
        place[own] = (times_s[own] - edges[begins]) / np.diff(edges)[begins]
    kept = (turn >= 0) & (step >= 0) & (step < len(edges_s[0]) - 1)
    if moving:
        # Of a picture that has no frame there, the one that is nearest to the middle.
        away = np.abs(place - (_FROM + _TO) / 2)
        order = np.lexsort((away, step, turn))
        _, first = np.unique(np.stack([turn, step])[:, order], axis=1, return_index=True)
        kept[order] &= (away[order] <= (_TO - _FROM) / 2) | (
            np.isin(np.arange(len(order)), first) & (away[order] <= _AWAY)
        )
    return turn.astype(np.int64), step, np.asarray(kept, dtype=np.bool_)


def _others(
    times_s: Floats,
    light: Floats,
    change: Floats,
    steps: tuple[FilmStep, ...],
    begin_s: float,
    pace_s: float,
) -> list[float]:
    """When other passes begin, before and after one: the show need not go on at once."""
    found = []
    end_s = begin_s + (len(steps) - 1) * pace_s
    for part in (times_s < begin_s - pace_s, times_s >= end_s):
        if part.sum() < 8:
            continue
        some = times_s[part], light[part], change[part]
        score, other_s, _ = search(*some[:2], steps, np.array([pace_s]))
        if score < _AGAIN:
            continue
        other_s, _ = refined(some[0], some[2], other_s, pace_s, steps)
        found += [other_s, *_others(*some, steps, other_s, pace_s)]
    return found


def _shines(light: Floats, meant: Floats, turn: Ints) -> bool:
    """Whether the wall shines in the first pass when the pattern does, as it does in the others.

    light: (T,) of the wall; meant: (T,) the share of LEDs that should be lit, NaN where unknown.
    """
    on, dark = light[(turn > 0) & (meant == 1)], light[(turn > 0) & (meant == 0)]
    lit = light[(turn == 0) & (meant > 0)]
    if not (len(on) and len(dark) and len(lit)):
        return False
    low, high = float(np.median(dark)), float(np.median(on))
    return float(np.median(lit)) > low + 0.25 * (high - low)


def _thumbnail(frame: Frame) -> NDArray[np.float32]:
    """The frame at the size of `_SMALL`, in code values 0…255."""
    import cv2  # of the extra `camera`

    luma = frame.luma
    while min(luma.shape[0] / _SMALL[0], luma.shape[1] / _SMALL[1]) >= 2:
        # Halves of even sizes are ten times as fast as other shares.
        high, wide = luma.shape[0] // 2, luma.shape[1] // 2
        even = luma[: 2 * high, : 2 * wide]
        luma = np.asarray(cv2.resize(even, (wide, high), interpolation=cv2.INTER_AREA))
    small = cv2.resize(luma, _SMALL[::-1], interpolation=cv2.INTER_AREA).astype(np.float32)
    return (small - 16) * np.float32(255 / 219) if frame.narrow else small


def _in_blocks(small: NDArray[np.float32]) -> NDArray[np.float32]:
    import cv2  # of the extra `camera`

    blocks = cv2.resize(small, BLOCKS[::-1], interpolation=cv2.INTER_AREA)
    return np.asarray(blocks, dtype=np.float32)


def rhythm_of(frames: Iterable[Frame], steps: tuple[FilmStep, ...], *, moving: bool) -> Rhythm:
    """The rhythm of all frames. Raises NoMarkerError."""
    watch = Watch(stills=not moving)
    for frame in frames:
        watch.take(frame)
    return watch.rhythm(steps)
