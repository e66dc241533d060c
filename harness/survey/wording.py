"""What a survey found, as findings: each with its place, what shows it, and what to measure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from emulator.arrays import Bools, Ints
from emulator.description.display import Display
from emulator.description.faults.fault import Fault
from harness.find.measuring import expected_volts, two_points
from harness.find.place import short, whereabouts
from harness.find.saying import places_of
from harness.result.finding import Finding
from harness.result.words import joined, many
from harness.survey.causes import Cause
from harness.survey.hues import Order, letters_for
from harness.survey.reading import DARK, Readings
from harness.survey.shades import COLOURS, Piece, Shades

CHECK = "survey"
_ALIKE = 4  # faults that look the same, named in the first line; evidence names more
_MOST_ALIKE = 12
SOLDER = "Switch the LEDs' supply off first; never solder with the power on."


def of_cause(cause: Cause, display: Display, film: Readings) -> Finding:
    """A fault, with those that look the same in the film."""
    fault = cause.fault
    names = [short(one, display) for one in cause.faults]
    what = " — or ".join(names[:_ALIKE])
    if len(names) > _ALIKE:
        what += f" — or {len(names) - _ALIKE} more that look the same"
    seen = [fault.what().rstrip("."), _effect(cause, display, film)]
    if names[_ALIKE:]:
        more = names[_ALIKE:_MOST_ALIKE]
        rest = len(names) - _MOST_ALIKE
        seen.append(f"the same look: {', '.join(more)}" + (f" and {rest} more" if rest > 0 else ""))
    return Finding(
        CHECK,
        what,
        whereabouts(fault, display) or "the whole wall",
        "; ".join(seen),
        _remedy(fault, display),
        leds=tuple(cause.leds.tolist()),
    )


def _remedy(fault: Fault, display: Display) -> str:
    measure = two_points(fault, display)
    text = f"Measure first: {measure}."
    volts = expected_volts(fault, display) if fault.stage == "power" else None
    if volts is not None:
        text += (
            f" Between + and ground at {volts.led} the power model expects {volts.white:.2f} V with"
            f" all white, and {volts.white_faulty:.2f} V with this fault."
        )
    return f"{text} {SOLDER}"


def _effect(cause: Cause, display: Display, film: Readings) -> str:
    """'LEDs 41 to 127 dark, LEDs 130 to 134 with the number of another LED'."""
    wiring, leds = display.wiring, cause.leds
    dark = leds[film.number[leds] == DARK]
    moved = leds[(film.number[leds] >= 0) & (film.number[leds] != wiring.placed_number[leds])]
    rest = np.setdiff1d(leds, np.concatenate([dark, moved]))
    lacks = (film.known[rest] & ~film.lit[rest]).any(axis=1)
    even = "dim" if cause.fault.stage == "power" else "as planned in spite of the other faults"
    looks = (
        (dark, "dark"), (moved, "with the number of another LED"),
        (rest[lacks], "without a colour"), (rest[~lacks], even),
    )  # fmt: skip
    parts = [f"{joined(places_of(which, display))} {look}" for which, look in looks if which.size]
    return ", ".join(parts) or "no LED differs"


def of_left(leds: Ints, differences: Sequence[Finding], display: Display) -> Finding:
    """What no fault explains: the whole difference from the plan, in words."""
    differs = "differs" if leds.size == 1 else "differ"
    return Finding(
        CHECK,
        f"{many(leds.size)} {differs} from the plan, and no fault that foreglow knows explains it",
        joined(places_of(leds, display)),
        "; ".join(one.what for one in differences) or "wrong colours",
        "Film again to be sure; then look at the wiring there.",
        leds=tuple(leds.tolist()),
    )


def of_vague(leds: Ints, display: Display) -> Finding:
    """Colours that many LEDs lack in the film."""
    where = joined(places_of(leds, display))
    return Finding(
        CHECK,
        f"{many(leds.size)} lack a colour in the film: so many that the film may be at fault",
        where,
        "their numbers were read, so that they light",
        "Film again, with the camera on a stand until the wall is dark. If they lack it again, look"
        " at them while the wall is red, green and blue.",
        "warning",
        leds=tuple(leds.tolist()),
    )


def of_shades(shades: Shades, display: Display) -> list[Finding]:
    """Weak LEDs, pieces of another brightness or hue, and what flickers: warnings."""
    found = [_of_piece(piece, display) for piece in shades.pieces]
    for channels in np.unique(shades.weak[shades.weak.any(axis=1)], axis=0):
        leds = np.flatnonzero((shades.weak == channels).all(axis=1))
        found.append(_of_weak(leds, channels, shades, display))
    flickers = np.flatnonzero(shades.flickers)
    if flickers.size:
        where = joined(places_of(flickers, display))
        found.append(
            Finding(
                CHECK,
                f"{where} {'flickers' if flickers.size == 1 else 'flicker'}",
                where,
                f"the light of {many(flickers.size)} varies while it should be steady",
                "A loose joint at the first of them, or data that are disturbed: `foreglow find`"
                f" tells more. {SOLDER}",
                "warning",
                leds=tuple(flickers.tolist()),
            )
        )
    return found


def _of_weak(leds: Ints, channels: Bools, shades: Shades, display: Display) -> Finding:
    where = joined(places_of(leds, display))
    light = np.nanmedian(shades.light[leds][:, channels])
    whole = bool(channels[:3].all())
    colours = (
        ""
        if whole
        else f" in {joined([c for c, on in zip(COLOURS, channels, strict=False) if on])}"
    )
    return Finding(
        CHECK,
        f"{where} {'is' if leds.size == 1 else 'are'} weak{colours}",
        where,
        f"{light:.0%} of the light of the cells around" + (" (median)" if leds.size > 1 else ""),
        "Wipe the front and look at the cover; a weak LED looks the same."
        if whole
        else "Look at that channel beside a neighbour, one colour at a time; replace the LED.",
        "warning",
        leds=tuple(leds.tolist()),
    )


def _of_piece(piece: Piece, display: Display) -> Finding:
    leds = np.arange(piece.first, piece.last + 1)
    where = joined(places_of(leds, display))
    light = ", ".join(f"{c} {v:.0%}" for c, v in zip(COLOURS, piece.light, strict=False))
    if piece.cast:
        what = f"{where}: another hue — LEDs of another batch, or a front with a print"
        remedy = "Compare the bin codes on the reels; a dim white over the joint shows the step."
    else:
        what = f"{where}: another brightness — another batch, a dirty or printed front, fewer volts"
        remedy = "Wipe the front; then measure volts between + and ground there, at full white."
    return Finding(CHECK, what, where, f"beside the rest of the wall: {light}", remedy, "warning",
                   leds=tuple(leds.tolist()))  # fmt: skip


def notes_of(unknown: str, shades: Shades, display: Display) -> tuple[str, ...]:
    """What the film leaves open of the light of LEDs, and why."""
    if unknown:
        return (f"Whether LEDs are weak or of another batch is unknown: {unknown}.",)
    crowded = np.flatnonzero(shades.crowded)
    if not crowded.size:
        return ()
    where = joined(places_of(crowded, display))
    verb = "gives" if crowded.size == 1 else "give"
    return (
        f"{where} {verb} less light, but cells beside or other colours differ as well: a print,"
        " dirt or a lamp in front may be behind it. Whether LEDs are weak there is unknown.",
    )


def of_order(order: Order, display: Display) -> Finding:
    """The whole wall shows its colours in another order than planned."""
    shows = [f"all {COLOURS[k]} shows {COLOURS[one]}" for k, one in enumerate(order) if k != one]
    letters = letters_for(order, display)
    return Finding(
        CHECK,
        f"the order of the colours is another one: {joined(shows)}",
        "the whole wall",
        f"of the six orders of three colours, {letters} fits the film clearly best; the plan has"
        f" {display.chip.order}",
        f'Set order = "{letters}" in [chip], after a look at the wall: `foreglow run … channels`'
        " shows one colour at a time. It may also be the part: see the print on the strip.",
    )


def of_turn(words: str, faults: Sequence[Fault], display: Display) -> Finding:
    """The whole film shows the wall mirrored or turned."""
    wall = joined([short(one, display) for one in faults]) or "the wall as built"
    return Finding(
        CHECK,
        f"{words}: the camera, or {wall}",
        "the whole wall",
        "nearly all LEDs agree with the plan once the picture is turned back",
        "Look at the wall: is its first LED where the plan has it? If so, the camera or the film"
        " is mirrored or turned. If not, the map as built is right as it is.",
    )
