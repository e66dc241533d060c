"""Check `light`: hot spots, light leaks, contrast, and room for readable letters.

How even a wall must be is a matter of taste. So the check warns only if the display file says what
you want: least_min_to_mean and most_crosstalk in [cover], least_contrast in [view]. If it does not,
the check uses the limits below, and a wall beyond one gets a note.
"""

from __future__ import annotations

from dataclasses import asdict

from emulator.description.display import Display
from emulator.light.figures import EVEN, Figures, even_depth_mm, figures
from harness.light.fed import Fed, white_as_fed
from harness.result.finding import Finding
from harness.result.result import Result
from harness.subject.trial import Trial

# Limits for notes. Ours, no source: below half, hot spots show; an eighth of the light in the next
# cell blurs a stroke.
LEAST_EVEN, MOST_CROSSTALK = 0.5, 0.125
LEAST_CONTRAST = 3.0  # of text: ISO 9241-3:1992, luminance contrast (from memory)


def check(trial: Trial, earlier: tuple[Result, ...] = ()) -> Result:
    """Judge the cover and the view of the display file. No picture is sent."""
    display = trial.display
    found = figures(display)
    fed = white_as_fed(display, found)
    judged = (
        _even(display, found),
        _leak(display, found),
        _contrast(display, found, fed),
        _text(display, found),
    )
    summary = (
        f"{found.mean_cdm2:.0f} cd/m², min/mean {found.min_to_mean:.2f}, cross-talk"
        f" {found.crosstalk:.1%}, letters of {found.letter_cells} cells at {found.distance_m:g} m"
    )
    told = {**asdict(found), "fed_cdm2": fed.mean_cdm2, "contrast": fed.contrast}
    rounded = {k: v if v is None else float(f"{v:.4g}") for k, v in told.items()}
    return Result("light", summary, tuple(f for f in judged if f is not None), rounded)


def _even(display: Display, found: Figures) -> Finding | None:
    wanted = display.cover.least_min_to_mean
    if found.min_to_mean >= (wanted or LEAST_EVEN):
        return None
    even = wanted or EVEN
    depth = even_depth_mm(display, even)
    deepest = f"no depth up to {4 * max(display.grid.pitches_mm):.0f} mm gives {even:g}"
    remedies = [] if depth is None else ["set the front further from the LEDs"]
    if display.cover.walls == "black":
        remedies.append("make the walls white")
    if display.cover.walls == "none":
        remedies.append("use a front that scatters more")
    if wanted is not None:
        remedies.append("ask for less (least_min_to_mean in [cover])")
    return Finding(
        "light",
        f"hot spots: min/mean {found.min_to_mean:.2f} at depth {display.cover.depth_mm:g}"
        f" mm{_asked(wanted, 'at least')};"
        f" {deepest if depth is None else f'{depth:.0f} mm gives {even:g}'}",
        "every cell",
        f"lit all over, the darkest point of {_area(display)} has {found.min_to_max:.0%} of the"
        " light of the brightest, on the front itself",
        f"{', or '.join(remedies) or 'use LEDs with a wider beam'}.",
        "note" if wanted is None else "warning",
    )


def _area(display: Display) -> str:
    return "a cell" if display.cover.walls == "none" else "an opening"


def _asked(wanted: float | None, limit: str) -> str:
    """What the display file asks for, in brackets."""
    return "" if wanted is None else f" ({limit} {wanted:g} is wanted)"


def _leak(display: Display, found: Figures) -> Finding | None:
    wanted = display.cover.most_crosstalk
    if found.crosstalk <= (wanted or MOST_CROSSTALK):
        return None
    if display.cover.walls == "none":
        remedy = "put walls between the cells (walls in [cover])."
    else:
        remedy = "use a front that scatters less."
    return Finding(
        "light",
        "light leaks between cells: the cell beside a lit one shows"
        f" {100 * found.crosstalk:.3g} % of its light{_asked(wanted, 'at most')}",
        "every cell",
        f"walls: {display.cover.walls}; depth {display.cover.depth_mm:g} mm, scatter"
        f" {display.cover.scatter_mm:g} mm",
        remedy,
        "note" if wanted is None else "warning",
    )


def _contrast(display: Display, found: Figures, fed: Fed) -> Finding | None:
    wanted = display.view.least_contrast
    least = wanted or LEAST_CONTRAST
    if fed.contrast is None or fed.contrast >= least:
        return None
    # If full white would be enough, the front need not change.
    full = 1 + found.mean_cdm2 / found.ambient_cdm2
    remedy = "shade the wall, use a front that transmits more and reflects less, or brighter LEDs."
    if full >= least:
        remedy = (
            f"allow more power: full white would be {full:.1f} times as bright as dark; see"
            " brightness and white in [canvas], limit_a, the supplies and the wires in [power]. Or"
            f" {remedy}"
        )
    return Finding(
        "light",
        f"washed out: white is only {fed.contrast:.1f} times as bright as dark in"
        f" {found.ambient_lx:g} lx{_asked(wanted, 'at least')}",
        "the whole wall",
        f"{fed.mean_cdm2:.0f} cd/m² from the LEDs as powered, {found.ambient_cdm2:.0f} cd/m²"
        " reflected by the front",
        remedy,
        "note" if wanted is None else "warning",
    )


def _text(display: Display, found: Figures) -> Finding | None:
    height_mm = display.grid.rows * display.grid.pitches_mm[1]
    if height_mm >= found.letter_mm:
        return None
    return Finding(
        "light",
        f"no letter is readable from {found.distance_m:g} m: it must be {found.letter_mm:.0f} mm"
        f" high, the wall is {height_mm:.0f} mm",
        "the whole wall",
        "a letter of five arcminutes (Snellen, 20/20), at least five cells high",
        "use more rows, or show no text from that distance.",
        "note",
    )
