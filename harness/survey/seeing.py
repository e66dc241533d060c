"""From a film of the wall to what it shows: all steps in their order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import groupby, islice

import numpy as np

from emulator.arrays import Bools, Floats, Ints, Srgb
from emulator.description.display import Display
from emulator.errors import SourceError, of_extra
from harness.find.saying import places_of
from harness.patterns.film import FilmStep, film_steps, film_words
from harness.result.words import joined
from harness.survey.decoding import Read, read_cells, usual_swing
from harness.survey.footage import Footage
from harness.survey.landmarks import sightings
from harness.survey.measuring import Measured, at_cells, measure
from harness.survey.placing import Placed, place
from harness.survey.rhythm import NoMarkerError, Rhythm, rhythm_of
from harness.survey.seen import DARK, NO_CELL, Outline, Seen, planned_numbers
from harness.survey.shots import Shots, shots_of
from harness.survey.sighting import Sighted
from harness.survey.standing import ILLEGIBLE, Cells, standing_of
from harness.survey.tracking import Tracker, profile_of
from harness.survey.wall import astray, at_lattice, wall_at, wall_of

_DARK = 0.04  # of the usual swing: less is a dark cell
_VAGUE = 0.08  # of the usual swing: an LED, if the cell swings as a word at all
_BLINKS = 0.15  # of the usual swing: an LED, even if its number cannot be read
_STIRS = 0.45  # of the usual swing, whether as a word or not; beside lit LEDs dark cells have 0.35
_OUTSHONE = 0.1  # of the usual light: so much less than in the dark is more than noise
_GLOWS = 0.5  # of the usual light of a colour, in the dark
_INSIDE = 0.5  # of the frames have a cell in the picture: it was seen
_ALWAYS = 0.9  # of the frames: else an LED there could be missed


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
    words = film_words(len(display.wiring.placed))
    shots = shots_of(film, rhythm, steps, len(words))
    laid = sightings(shots, steps, words)
    swings, found = laid.swings, laid.found
    wall = None
    if not np.isnan(swings).all():
        wall = (
            wall_of(swings, found, words, display)
            if corners is None
            else wall_at(shots.own_pixels(corners), swings.shape[1:], found, display)
        )
    if wall is None:
        raise too_few(found, film.name, display)
    doing("reading the LEDs")
    tracker = Tracker(wall)
    tracker.profile = profile_of(np.sqrt(np.nanmean(swings**2, axis=0)), tracker)
    measured = measure(shots, steps, tracker, laid.ways)
    # Where the wall is hard to follow, what was seen without following it may be clearer.
    alone = 2 * at_lattice(swings, wall.outline, tracker.shape)
    both = [np.where(np.isnan(measured.swings), alone, measured.swings), alone]
    read = max((read_cells(one, words) for one in both), key=lambda one: one.worth)
    in_all = laid.seen(wall.outline.middles(tracker.shape))
    measured = replace(measured, inside=np.minimum(measured.inside, in_all))
    off = astray(read, wall.outline, found, len(words))
    return _seen(display, shots, measured, read, tracker.inside, words, laid.blinking, off)


def too_few(found: Sighted, film: str, display: Display) -> NoWallError:
    """Too few numbers blink to say where the wall is: as if it were dark from an LED on, or at
    random, as in a film of something else."""
    blinks = display.wiring.placed[np.unique(found.number)]
    last = _last_of_first(blinks, display)
    problem, first = "its pictures do not show the numbers of this wall's LEDs", ""
    if len(last):
        here, behind = (joined(places_of(leds, display)) for leds in (blinks, last))
        problem = f"of the LEDs' numbers only those of {here} blink in it"
        first = (
            f"if the others are dark, look at the wall behind {behind} first: the data joint, and"
            " the power of the next LED. If they light, "
        )
    return NoWallError(
        problem,
        place=film,
        fix=f"{first}film from before the pattern of this display begins, near, in focus, the whole"
        " wall in the picture; or show its corners with --corners click.",
    )


def _last_of_first(blinks: Ints, display: Display) -> Ints:
    """The last on each line of the LEDs that blink, if these are the first of their lines,
    two or more and not all; else none."""
    wiring = display.wiring
    lines = wiring.line[wiring.placed]
    first = np.concatenate(
        [
            wiring.placed[lines == line][: (wiring.line[blinks] == line).sum()]
            for line in range(lines.max() + 1)
        ]
    )
    if not 2 <= len(blinks) < len(wiring.placed) or not np.array_equal(first, blinks):
        return blinks[:0]
    return np.asarray(blinks[np.diff(wiring.line[blinks], append=-1) != 0])


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


def _seen(
    display: Display,
    shots: Shots,
    measured: Measured,
    read: Read,
    shines: Bools,
    words: Bools,
    blinking: Bools,
    off: Bools,
) -> Seen:
    """Cells of the picture to cells of the plan, and numbers to LEDs.

    shines: (rows, columns) cells of the picture that were seen to shine, whatever their number.
    blinking: (N,) numbers that blink somewhere, whatever the cells. off: (N,) that blink nearer
    another cell.
    """
    usual = usual_swing(read)
    strength = read.swing / usual
    number = np.where(strength > _DARK, read.shown, DARK)
    leaks = read.clear & (number < 0)
    strength = np.where((number >= 0) | (strength > 3 * _DARK) & ~leaks, strength.clip(0), 0.0)
    placed = place(number, strength, planned_numbers(display.wiring))
    at = placed.row, placed.column
    gap = display.gap
    shown = _of_cells(number, at, DARK)
    swing = at_cells(np.where(measured.inside > _INSIDE, read.swing / usual, np.nan), at)
    confidence = np.nan_to_num(at_cells(read.confidence, at))
    shine = at_cells(strength, at)
    vague = at_cells(read.like, at) > 0.5
    stirs = at_cells(_size(read.own) / usual, at)
    cells = Cells(
        shown,
        confidence,
        swing,
        np.array([at_cells(one, at) for one in read.own]),
        ~(at_cells(measured.inside, at) > _ALWAYS),
        (shown < 0) & (shine > _VAGUE) & vague & ~gap,
        at_cells(measured.lamps.astype(np.float64), at) > 0,
        (shown < 0) & (stirs > _STIRS) & ~gap,
    )
    leds = standing_of(display, cells, words, blinking, off)
    why = leds.why
    blinks = (shine > _BLINKS) | (at_cells(shines.astype(np.float64), at) > 0)
    unread = blinks & (shown < 0) & ~gap
    legible = bool(unread.sum() <= 0.1 * (blinks & ~gap).sum())
    if not legible:
        why = tuple(reason or ILLEGIBLE for reason in why)
    shown[gap] = NO_CELL
    hues = np.stack([at_cells(one, at) for one in measured.colour], axis=2)
    hues[gap | cells.outside] = np.nan
    # Cells that lamps light more than LEDs do say nothing, nor do those whose place is not sure.
    glows = _glows(at_cells(measured.dark, at), hues) & (shown >= 0)[..., None]
    hues[(cells.clipped | _outshone(hues)) & ~glows.any(axis=2)] = np.nan
    np.einsum("...kk->...k", hues)[glows] = 0.0  # a view of each colour in its own picture
    if not legible:
        hues[:] = np.nan
    light = _light(hues)
    unsure = at_cells(measured.unsure.astype(np.float64), at) > 0
    flicker = at_cells(measured.flicker, at)
    known = flicker[~gap & ~np.isnan(flicker)]
    flicker = np.clip(flicker - (np.median(known) if known.size else 0.0), 0, None)
    outline = _outline(measured.outline, placed).seen_at(shots.left, shots.top, shots.larger)
    return Seen(
        display, leds.column, leds.row, leds.sure, why, shown, light, hues, unsure, swing,
        flicker, shots.still, outline, placed.notes + _notes(measured, read, why),
    )  # fmt: skip


def _size(own: Floats) -> Floats:
    """(rows, columns) root of the mean square of what cells show in the bits that were seen."""
    seen = own[~np.isnan(own).all(axis=(1, 2))]
    return np.asarray(np.sqrt((seen**2).mean(axis=0)))


def _of_cells(values: Ints, at: tuple[Ints, Ints], outside: int) -> Ints:
    picked = at_cells(values.astype(np.float64), at)
    return np.where(np.isnan(picked), outside, np.nan_to_num(picked)).astype(np.int64)


def _glows(dark: Floats, hues: Floats) -> Bools:
    """(rows, columns, 3) the colour of cells that glow in one colour in the dark, as an LED with a
    channel that is always on does: it does not light that one in its own picture."""
    bright = dark > _GLOWS * _usual_light(hues)
    return np.asarray(bright & (bright.sum(axis=2, keepdims=True) == 1))


def _outshone(hues: Floats) -> Bools:
    """(rows, columns) cells that were brighter in the dark than lit: the exposure changed, or a
    lamp did."""
    return np.asarray(hues.min(axis=(2, 3)) < -_OUTSHONE * _usual_light(hues).max())


def _usual_light(hues: Floats) -> Floats:
    """(3,) of the LEDs' red, green and blue, each in its own picture; 0 if the film has none."""
    known = hues[np.isfinite(hues).all(axis=(2, 3))]
    return np.diag(np.median(known, axis=0)) if len(known) else np.zeros(3)


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


def _notes(measured: Measured, read: Read, why: tuple[str, ...]) -> tuple[str, ...]:
    """What the film lacks, if it leaves LEDs open."""
    notes = []
    unseen = np.asarray(np.isnan(read.own).all(axis=(1, 2)))
    if any(why) and unseen.any():
        how = f"{int(unseen.sum())} of {len(unseen)} bits are not in the film"
        if unseen[0] and not unseen[-1]:
            notes.append(f"{how}: start filming before the pattern.")
        elif unseen[-1] and not unseen[0]:
            notes.append(f"{how}: film on until the wall is dark.")
        else:
            notes.append(f"{how}: hold the camera still, with nobody in front of the wall.")
    if any(why) and measured.clipped > 0.5:
        notes.append("The LEDs are brighter than the camera can show: expose darker.")
    if any(why) and measured.followed < 0.8:
        notes.append(
            f"In {1 - measured.followed:.0%} of the frames the wall could not be followed: hold the"
            " camera still, or use a stand."
        )
    if np.isnan(measured.colour).all():
        notes.append(
            "The colours at the end of the pattern are not in the film: film on until the wall is"
            " dark."
        )
    return tuple(notes)
