"""Whether what the wall shows moves, by how many cells and in which direction."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Light
from emulator.bench import Bench, cell_light, led_light
from emulator.errors import PictureError
from harness.assertions.failure import PictureFailure

__tracebackhide__ = True  # a failure points to the line of the test

_REACH = 3  # cells: other motions tried differ from the one asked for by up to so many
_FAR = 16  # the same once it is wrong, to find the real motion; at most half the wall
_SAME = 1e-3  # shares of light closer than this are the same
_ALIKE = 0.5  # share of light that may not fit; with more, nothing moves as one
_BLOCK = 256  # frames in one go

Shift = tuple[int, int]  # cells right, cells down


def assert_motion(bench: Bench, right: int = 0, down: int = 0, frames: int = 1) -> None:
    """Fail unless what is shown moves by these cells from each frame to the next.

    right, down: whole cells; negative is left, up. frames: compare each frame with the one so many
    later; 3 for a motion of one cell every third frame. Every frame latched so far counts, except
    dark ones, and pairs in which everything lit has left or entered at the edge. What comes in at
    the edge may be anything.

    Cross-correlation compares each pair of frames, moved by the motion asked for and by those near
    it. The motion asked for must fit best, and better than no motion. Raises AssertionError with
    the first two frames for which it does not; PictureError for a motion as wide as the wall.
    """
    drives, display = bench.frames, bench.display
    rows, columns, _ = display.picture_shape
    if abs(right) >= columns or abs(down) >= rows or frames < 1:
        raise PictureError(
            f"a motion of {right} right and {down} down in {frames} frames cannot be seen on"
            f" {columns} × {rows} cells",
            fix="ask for less than the wall, in 1 frame or more.",
        )
    asked = (right, down)
    shifts = _shifts(asked, columns, rows)
    starts = np.arange(len(drives) - frames)
    moved = 0
    for begin in range(0, len(starts), _BLOCK):
        pairs = starts[begin : begin + _BLOCK]
        before, after = (
            cell_light(led_light(drives[numbers], display.chip.channels), display)
            for numbers in (pairs, pairs + frames)
        )
        unlike = np.stack([_unlike(before, after, shift, ~display.gap) for shift in shifts])
        seen = ~np.isnan(unlike[0]) & before.any(axis=(1, 2, 3)) & after.any(axis=(1, 2, 3))
        moved += int(seen.sum())
        wrong = np.flatnonzero(seen & ~_fits(unlike, shifts, asked))
        if len(wrong):
            pair = slice(wrong[0], wrong[0] + 1)
            _fail(bench, asked, frames, int(pairs[wrong[0]]), before[pair], after[pair])
    if not moved:
        raise AssertionError(
            f"no motion can be seen: nothing lit in two of the {len(drives)} frames latched so far"
        )


def _shifts(asked: Shift, columns: int, rows: int) -> list[Shift]:
    """The motion asked for, then every one near it that leaves some cells to compare."""
    across, along = (
        range(-min(abs(cells) + _REACH, most - 1), min(abs(cells) + _REACH, most - 1) + 1)
        for cells, most in zip(asked, (columns, rows), strict=True)
    )
    return [asked, *((r, d) for r in across for d in along if (r, d) != asked)]


def _unlike(before: Light, after: Light, shift: Shift, has_led: NDArray[np.bool_]) -> Light:
    """(T,) the share of light that does not fit when `before` is moved: 0 fits, 1 not at all.

    The sum of squared differences over that of the squares; NaN where neither has any light.
    """
    (right, down), (rows, columns) = shift, has_led.shape
    old = (
        slice(max(-down, 0), rows - max(down, 0)),
        slice(max(-right, 0), columns - max(right, 0)),
    )
    new = (slice(max(down, 0), rows + min(down, 0)), slice(max(right, 0), columns + min(right, 0)))
    both = (has_led[old] & has_led[new])[..., None]
    one, other = before[:, *old] * both, after[:, *new] * both
    light = (one**2 + other**2).sum(axis=(1, 2, 3))
    off = ((one - other) ** 2).sum(axis=(1, 2, 3))
    return np.where(light > 0, off / np.maximum(light, 1e-12), np.nan).astype(np.float32)


def _fits(unlike: Light, shifts: list[Shift], asked: Shift) -> NDArray[np.bool_]:
    """(T,) whether the motion asked for fits best, and better than standing still."""
    best = np.nan_to_num(unlike, nan=1.0).min(axis=0)
    fits: NDArray[np.bool_] = unlike[0] <= best + _SAME
    if asked != (0, 0):
        fits &= ~(unlike[shifts.index((0, 0))] <= best + _SAME)
    return fits


def _fail(bench: Bench, asked: Shift, frames: int, first: int, before: Light, after: Light) -> None:
    """Raise a PictureFailure about one pair of frames (1, rows, columns, 3)."""
    display, times_s = bench.display, bench.recorder.times_ns / 1e9
    rows, columns, _ = display.picture_shape
    far_right, far_down = min(_FAR, columns // 2), min(_FAR, rows // 2)
    near = sorted(
        ((r, d) for r in range(-far_right, far_right + 1) for d in range(-far_down, far_down + 1)),
        key=lambda shift: abs(shift[0]) + abs(shift[1]),
    )
    unlike = np.concatenate([_unlike(before, after, shift, ~display.gap) for shift in near])
    least = float(np.nanmin(unlike))
    best = int((unlike <= least + _SAME).argmax())  # the shortest of those that fit as well
    if near[best] == (0, 0):
        found = "does not move"
    elif least > _ALIKE:
        found = "does not move as one"
    else:
        found = f"moves {words(near[best])}"
    raise PictureFailure(
        f"expected to move {words(asked)}"
        f"{'' if frames == 1 else f' in {frames} frames'}; from frame {first}"
        f" ({times_s[first]:.3f} s) to frame {first + frames} ({times_s[first + frames]:.3f} s) it"
        f" {found}",
        display,
        [(f"frame {first}", before[0]), (f"frame {first + frames}", after[0])],
    )


def words(shift: Shift) -> str:
    """A motion in words: 'left 2, down 1'."""
    right, down = shift
    parts = [f"{'right' if right > 0 else 'left'} {abs(right)}"] if right else []
    parts += [f"{'down' if down > 0 else 'up'} {abs(down)}"] if down else []
    return ", ".join(parts) or "not at all"
