"""What defeats `foreglow survey`: small films of the sign, each with one setting changed.

python -m tests.harness.survey.limits [setting …]

Prints, for each setting, how many LEDs were placed, wrong and flagged at each of its values, and
where fewer than 99 % are placed from there on.
"""

from __future__ import annotations

import argparse
import os
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from tests.harness.survey.filming import Setting
from tests.harness.survey.filming.settings import SMALL
from tests.harness.survey.films import Film
from tests.harness.survey.mark import Mark
from tests.harness.survey.marks import marked, version

_LEAST = 0.99


def _set(part: str, name: str, **others: Any) -> Callable[[float], Setting]:
    """The small setting with one value of a part changed, beside others that stay."""
    return lambda value: replace(
        SMALL, **{part: replace(getattr(SMALL, part), **others, **{name: value})}
    )


# What it is, how it is set, and its values from easy to hard.
LIMITS: dict[str, tuple[str, Callable[[float], Setting], tuple[float, ...]]] = {
    "pitch": ("px from cell to cell", _set("place", "pitch_px"), (12, 6, 3, 2, 1.5, 1)),
    "tilt": ("° from the front", _set("place", "azimuth_deg"), (45, 60, 65, 70, 75)),
    "room": ("lx on the wall", _set("room", "lux"), (10, 1000, 10_000, 30_000, 100_000)),
    "rate": ("Mbit/s, 240p", _set("clip", "mbit"), (1, 0.1, 0.03, 0.01)),
    "shake": ("× a calm hand", _set("place", "sway"), (0, 1, 1.5, 2, 3, 5)),
    "bright": ("EV over the right exposure", _set("camera", "bias_ev"), (1, 2, 3, 4)),
    "dark": ("EV", _set("camera", "bias_ev"), (-2, -4, -6, -8)),
    "frames": ("frames/s, 4 pictures/s", _set("clip", "fps", pace=4.0), (60, 15, 10, 8, 6)),
    "hunting": (
        "s until the exposure follows",
        _set("camera", "settles_s", exposure="auto"),
        (0.3, 1, 2, 3),
    ),
    "glare": ("of the light spread by the lens", _set("camera", "glare"), (0.02, 0.1, 0.2, 0.4)),
    "blur": ("px out of focus", _set("camera", "blur_px"), (0.6, 3, 6, 9, 13)),
}


def tried(name: str, value: float, folder: Path) -> Mark:
    """The mark of the film with a setting at a value."""
    _, of_value, _ = LIMITS[name]
    film = Film(f"{name}.mp4", name, f"{name} {value:g}", "sign", of_value(value), seed=5)
    return marked(film, film.write(folder))


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("settings", nargs="*", default=[*LIMITS], help=", ".join(LIMITS))
    asked = parser.parse_args()
    import cv2

    cv2.setNumThreads(1)
    print(f"main at {version()}\n")
    print("| setting | placed (wrong, flagged) | under 99 % from |\n|---|---|---|")
    for name in asked.settings:
        about, _, values = LIMITS[name]
        cells, under = [], "not reached"
        for value in values:
            with tempfile.TemporaryDirectory() as folder:
                mark = tried(name, value, Path(folder))
            share = mark.right / mark.leds
            cells.append(
                f"{value:g}: refused"
                if mark.refused
                else f"{value:g}: {100 * share:.0f} % ({mark.wrong + mark.lost}, {mark.flagged})"
            )
            if share >= _LEAST:
                under = "not reached"
            elif under == "not reached":
                under = f"{value:g}"
        print(f"| {name}, {about} | {'; '.join(cells)} | {under} |", flush=True)


if __name__ == "__main__":
    os.nice(10)
    main()
