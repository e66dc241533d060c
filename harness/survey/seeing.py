"""From a film of the wall to what it shows: all steps in their order."""

from __future__ import annotations

from collections.abc import Callable
from itertools import groupby, islice

import numpy as np

from emulator.arrays import Bools, Floats, Ints, Srgb
from emulator.description.display import Display
from emulator.errors import SourceError, of_extra
from harness.patterns.film import FilmStep, film_steps, film_words
from harness.survey.decoding import Read, read_cells
from harness.survey.footage import Footage
from harness.survey.lattice import MARGIN, SHINES, Lattice, lattice_of, part_of, settled
from harness.survey.measuring import Measured, at_cells, measure
from harness.survey.placing import Placed, place, wall_in
from harness.survey.rhythm import NoMarkerError, Rhythm, rhythm_of
from harness.survey.seen import DARK, NO_CELL, Outline, Seen, planned_numbers
from harness.survey.swing import glow_of, pitch_of, swing_of
from harness.survey.tracking import Tracker, profile_of

_DARK = 0.04  # of the usual swing: less is a dark cell
_LEAK = 0.3  # of the same number's strongest cell: less is its reflection, or light spilt
_LIKE = 0.75  # correlation with a word that counts as read
_AHEAD = 0.25  # of the next word
_CONFIDENT = 0.999
_GOOD = 0.65  # share of the LEDs with a blob, less 4 times how far these are off, in pitches
_BLINKS = 0.15  # of the usual swing: an LED, even if its number cannot be read
_FEWEST = 0.05  # of the LEDs are read, before the others are called dark
_FOLLOWED = 0.7  # of the frames at least, before a cell is called dark
_INSIDE = 0.5  # of the frames have a cell in the picture: it was seen


class NoWallError(SourceError):
    """No lattice of LEDs can be seen in the film; its corners may help."""


Doing = Callable[[str], None]


def see(
    film: Footage,
    display: Display,
    doing: Doing = lambda _: None,
    corners: Floats | None = None,
) -> Seen:
    """What a film of the pattern `coded-film` shows of a wall.

    display: the plan, without faults. doing: called with what goes on, in words. corners: (4, 2) x
    and y of the middles of the corner cells in `lit_frame`, clockwise from the wall's top left;
    without them it is looked for. Raises SourceError if the film cannot be read, has no marker, or
    shows no lattice (NoWallError); UnsupportedError without OpenCV or scipy.
    """
    if corners is not None:
        _check_corners(corners, film, display)
    doing("looking for the pattern")
    rhythm, steps = _rhythm(film, display)
    doing("looking for the wall")
    tracker = (
        _wall(film, rhythm, steps, display)
        if corners is None
        else _wall_at(corners, film, rhythm, steps, display)
    )
    doing("reading the LEDs")
    measured = measure(film, rhythm, steps, tracker)
    if np.isnan(measured.swings).all():
        raise SourceError(
            "the wall could not be followed through it",
            place=film.name,
            fix="hold the camera still, on a stand or a chair.",
        )
    words = film_words(len(display.wiring.placed))
    return _seen(display, measured, read_cells(measured.swings, words), tracker.inside)


def lit_frame(film: Footage, display: Display) -> Srgb:
    """The frame (h, w, 3) with all LEDs on, in which people show the corners. Raises as `see`."""
    rhythm, steps = _rhythm(film, display)
    on = [number for number, step in enumerate(steps) if step.shows == "on"]
    wanted = np.flatnonzero(rhythm.step == max(set(on) & set(rhythm.step.tolist())))
    frames = islice(film.frames(), int(wanted[0]), None)
    return next(frames).rgb()


def _rhythm(film: Footage, display: Display) -> tuple[Rhythm, tuple[FilmStep, ...]]:
    """When the film shows which step, and the steps."""
    with of_extra("survey", "a survey needs OpenCV and scipy"):
        import cv2  # noqa: F401
        import scipy.optimize  # noqa: F401
    steps = film_steps(len(display.wiring.placed))
    try:
        try:
            return rhythm_of(film.frames(), steps, moving=film.moving), steps
        except NoMarkerError:
            if film.moving:
                raise
            # Whoever takes stills by hand takes one whenever the wall changes.
            steps = tuple(step for step, _ in groupby(steps))
            return rhythm_of(film.frames(), steps, moving=False), steps
    except NoMarkerError as error:
        raise SourceError(
            "it does not show the beginning of the pattern coded-film, in which all LEDs blink",
            place=film.name,
            fix="film the wall from before the pattern begins to after its end.",
        ) from error


def _wall(film: Footage, rhythm: Rhythm, steps: tuple[FilmStep, ...], display: Display) -> Tracker:
    """The wall in one frame."""
    leds = len(display.wiring.placed)
    best: tuple[float, Tracker] | None = None
    for look in (glow_of, swing_of):
        image = look(film, rhythm, steps, leds)
        lattice = lattice_of(image, leds, pitch_of(rhythm, image.shape, leds))
        if lattice is None:
            continue
        part = part_of(lattice, *wall_in(lattice.strength, ~display.gap))
        worth = min(float((part.strength > SHINES).sum()) / leds, 1.0) - 4 * lattice.off
        if best is None or worth > best[0]:
            tracker = Tracker(part)
            tracker.profile = profile_of(image, tracker)
            best = worth, tracker
        if worth > _GOOD:
            break
    if best is None or (best[1].inside.sum() < 0.3 * leds):
        raise NoWallError(
            "no lattice of LEDs can be seen in it",
            place=film.name,
            fix="film nearer, the whole wall in the picture, in focus; or show its corners"
            " with --corners click.",
        )
    return best[1]


def _check_corners(corners: Floats, film: Footage, display: Display) -> None:
    """Raises SourceError if they cannot be those of the wall."""
    sides = np.roll(corners, -1, axis=0) - corners
    turns = sides[:, 0] * np.roll(sides[:, 1], -1) - sides[:, 1] * np.roll(sides[:, 0], -1)
    if min(display.gap.shape) < 2 or not (turns > 0).all():
        raise SourceError(
            "the four corners do not go clockwise round a wall of two rows and columns or more",
            place=film.name,
            fix="show the corner cells as you see them: top left, top right, bottom right, bottom"
            " left.",
        )


def _wall_at(
    corners: Floats,
    film: Footage,
    rhythm: Rhythm,
    steps: tuple[FilmStep, ...],
    display: Display,
) -> Tracker:
    """The wall where people say it is."""
    import cv2  # of the extra `survey`

    rows, columns = display.gap.shape
    right, low = columns - 1, rows - 1
    cells = np.array([[0, 0], [right, 0], [right, low], [0, low]])
    matrix = cv2.getPerspectiveTransform(cells.astype(np.float32), corners.astype(np.float32))
    outline = Outline(np.asarray(matrix, dtype=np.float64)).begun_at(-MARGIN, -MARGIN)
    leds = len(display.wiring.placed)
    strength = np.pad((~display.gap).astype(np.float64), MARGIN)
    best: tuple[float, Tracker] | None = None
    for look in (glow_of, swing_of):
        image = look(film, rhythm, steps, leds)
        # People click a few pixels beside the middles; where cells shine most corrects that.
        nearer, _, found, off = settled(image, outline, np.array(strength.shape[::-1]))
        worth = found / leds - 4 * off
        if best is None or worth > best[0]:
            tracker = Tracker(Lattice(nearer if worth > 0 else outline, strength, found, off))
            tracker.profile = profile_of(image, tracker)
            best = worth, tracker
    assert best is not None
    return best[1]


def _seen(display: Display, measured: Measured, read: Read, shines: Bools) -> Seen:
    """Cells of the picture to cells of the plan, and numbers to LEDs.

    shines: (rows, columns) cells of the picture that were seen to shine, whatever their number.
    """
    usual = _usual(read)
    strength = read.swing / usual
    reads = (strength > _DARK) & (read.like >= _LIKE) & (read.like - read.second >= _AHEAD)
    number = np.where(reads, read.number, DARK)
    strength = np.where(reads | (strength > 3 * _DARK), np.clip(strength, 0, None), 0.0)
    _without_leaks(number, strength)
    placed = place(number, strength, planned_numbers(display.wiring))
    at = placed.row, placed.column
    gap = display.gap
    shown = _of_cells(number, at, DARK)
    swing = at_cells(np.where(measured.inside > _INSIDE, read.swing / usual, np.nan), at)
    confidence = np.nan_to_num(at_cells(read.confidence, at))
    unclear = _of_cells(
        (~reads & (read.swing / usual > 2 * _DARK) & (read.like > 0.5)).astype(np.int64), at, 0
    ).astype(bool)
    outside = np.isnan(swing)
    column, row, sure, why = _leds(display, shown, confidence, unclear, outside, swing)
    blinks = at_cells(read.swing / usual, at) > _BLINKS
    blinks |= at_cells(shines.astype(np.float64), at) > 0
    unread = blinks & (shown < 0) & ~gap
    legible = unread.sum() <= 0.1 * max(int((blinks & ~gap).sum()), 1)
    legible = legible and (row >= 0).sum() > _FEWEST * len(row)
    if not legible or measured.followed < _FOLLOWED:
        why = tuple(
            reason or "much of the film could not be read, so nothing of it is sure"
            for reason in why
        )
    shown[gap] = NO_CELL
    hues = np.stack([at_cells(one, at) for one in measured.colour], axis=2)
    hues[gap] = np.nan
    if not legible:
        hues[:] = np.nan  # of cells whose place is not sure, light says nothing
    light = _light(hues)
    clipped = at_cells(measured.clipped_cells.astype(np.float64), at) > 0
    flicker = at_cells(measured.flicker, at)
    known = flicker[~gap & ~np.isnan(flicker)]
    flicker = np.clip(flicker - (np.median(known) if known.size else 0.0), 0, None)
    outline = _outline(measured.outline, placed)
    still = measured.still if measured.still is not None else np.zeros((1, 1, 3), np.uint8)
    return Seen(
        display, column, row, sure, why, shown, light, hues, clipped, swing, flicker, still,
        outline, placed.notes + _notes(measured, why, light),
    )  # fmt: skip


def _usual(read: Read) -> float:
    sure = read.like > 0.85
    strong = read.swing[sure] if sure.any() else read.swing.ravel()
    return max(float(np.median(strong[strong > 0.2 * strong.max()])), 1e-12)


def _without_leaks(number: Ints, strength: Floats) -> None:
    """Cells that show the number of a much brighter cell show its light, not their own."""
    most = np.zeros(int(number.max(initial=0)) + 1)
    read = number >= 0
    np.maximum.at(most, number[read], strength[read])
    leaks = read & (strength < _LEAK * most[np.where(read, number, 0)])
    number[leaks] = DARK
    strength[leaks] = 0.0


def _of_cells(values: Ints, at: tuple[Ints, Ints], outside: int) -> Ints:
    picked = at_cells(values.astype(np.float64), at)
    return np.where(np.isnan(picked), outside, np.nan_to_num(picked)).astype(np.int64)


def _leds(
    display: Display,
    shown: Ints,
    confidence: Floats,
    unclear: np.ndarray,
    outside: np.ndarray,
    swing: Floats,
) -> tuple[Ints, Ints, Floats, tuple[str, ...]]:
    """Where each LED is, how sure that is, and why not."""
    wiring = display.wiring
    leds = len(wiring.placed)
    column, row = np.full(leds, -1), np.full(leds, -1)
    sure = np.zeros(leds)
    why = [""] * leds
    plan_row, plan_column = wiring.row[wiring.placed], wiring.column[wiring.placed]
    rows, columns = np.nonzero(shown >= 0)
    order = np.argsort(np.nan_to_num(swing[rows, columns]), kind="stable")  # the brightest last
    rows, columns = rows[order], columns[order]
    numbers = shown[rows, columns]
    row[numbers], column[numbers] = rows, columns
    own = shown[plan_row, plan_column] == np.arange(leds)  # of several, the planned one
    row[own], column[own] = plan_row[own], plan_column[own]
    found = row >= 0
    sure[found] = confidence[row[found], column[found]]
    free = (shown < 0) & unclear & ~display.gap
    for led in range(leds):
        if found[led]:
            if sure[led] < _CONFIDENT:
                why[led] = "its blinking is hardly stronger than the noise"
            continue
        at = plan_row[led], plan_column[led]
        if outside[at]:
            why[led] = "its planned cell is outside the picture"
        elif free[at]:
            why[led] = "its planned cell blinks, but not as any number"
        elif free.any():
            why[led] = f"not found, and {int(free.sum())} other cells cannot be read"
    return column, row, sure, tuple(why)


def _light(hues: Floats) -> Floats:
    """(rows, columns, 3) by the camera's own channel, 1 is the wall's median."""
    known = np.asarray(np.isfinite(hues).all(axis=3))
    light = np.full(hues.shape[:3], np.nan)
    for channel in range(3):
        cells = hues[:, :, channel]
        if not known[..., channel].any():
            continue
        medians = np.median(cells[known[..., channel]], axis=0)
        # With colours exchanged, another channel is the bright one: then this one shows that.
        usual = medians[channel] if medians[channel] > 0.3 * medians.max() else medians.max()
        light[..., channel] = cells[..., channel] / max(float(usual), 1e-9)
    return light


def _outline(outline: Outline, placed: Placed) -> Outline:
    """From the plan's cells instead of the picture's: turned and moved."""
    high, wide = placed.row.shape
    first = np.array([placed.column[0, 0], placed.row[0, 0]], dtype=np.float64)
    right = np.array([placed.column[0, -1], placed.row[0, -1]]) - first
    down = np.array([placed.column[-1, 0], placed.row[-1, 0]]) - first
    right = right / max(wide - 1, 1)
    down = down / max(high - 1, 1)
    if wide == 1:
        right = np.array([down[1], -down[0]])
    if high == 1:
        down = np.array([-right[1], right[0]])
    move = np.array([[right[0], down[0], first[0]], [right[1], down[1], first[1]], [0, 0, 1]])
    return outline.of(move)


def _notes(measured: Measured, why: tuple[str, ...], light: Floats) -> tuple[str, ...]:
    """What to do better in the next film."""
    notes = []
    bits = len(measured.swings)
    unseen = int(np.isnan(measured.swings).all(axis=(1, 2)).sum())
    if unseen:
        notes.append(f"{unseen} of {bits} bits are not in the film: film the whole pattern.")
    if measured.clipped > 0.5:
        notes.append("The LEDs are brighter than the camera can show: expose darker.")
    if measured.followed < 0.8:
        notes.append(
            f"In {1 - measured.followed:.0%} of the frames the wall could not be followed: hold the"
            " camera still, or use a stand."
        )
    if any(why):
        notes.append("For the uncertain LEDs film again: nearer, darker around, --pace 2.")
    if np.isnan(light).all():
        notes.append("The colours at the end of the pattern are not in the film.")
    return tuple(notes)
