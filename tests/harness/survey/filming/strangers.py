"""Films as other people make them: ordinary ones of a small wall, each different in one thing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display
from tests.harness.survey.filming.files import write_film, write_stills
from tests.harness.survey.filming.film import filmed, photographed
from tests.harness.survey.filming.settings import Setting, drawn

Shot = tuple[float, NDArray[np.uint8]]
Names = Callable[[], Iterator[str]]


def _counter() -> Iterator[str]:
    """As cameras count: after 9999 comes 1."""
    yield from (f"IMG_{number % 9999 + 1:04d}.JPG" for number in range(9979, 12000))


def _numbered() -> Iterator[str]:
    """As computers number what is sent to them."""
    yield from (f"wall ({number}).jpeg" for number in range(1, 2000))


def _letters() -> Iterator[str]:
    """Names that say nothing of the order, as messengers give."""
    rng = np.random.default_rng(3)
    while True:
        yield f"{rng.integers(1 << 62):016x}.jpg"


def _without(*lost: int) -> Callable[[Iterator[Shot]], Iterator[Shot]]:
    """Stills of which some were not taken."""
    return lambda shots: (shot for number, shot in enumerate(shots) if number not in lost)


def _again(*twice: int) -> Callable[[Iterator[Shot]], Iterator[Shot]]:
    """Stills of which some are there twice."""
    return lambda shots: (
        shot for number, one in enumerate(shots) for shot in [one] * (1 + (number in twice))
    )


class Stranger(NamedTuple):
    """about: in a few words. ending: of the file; '' for a folder of stills. names: of stills.
    kept: those of them that are there."""

    about: str
    change: Callable[[Setting], Setting]
    ending: str = ".mp4"
    names: Names | None = None
    kept: Callable[[Iterator[Shot]], Iterator[Shot]] = iter


def _clip(**changes: object) -> Callable[[Setting], Setting]:
    return lambda setting: replace(setting, clip=replace(setting.clip, **changes))  # type: ignore[arg-type]


def _stills(width: int, **changes: object) -> Callable[[Setting], Setting]:
    def change(setting: Setting) -> Setting:
        camera = replace(setting.camera, width=width, height=width * 3 // 4, smooth=0.0)
        clip = replace(setting.clip, pace=0.5, **changes)  # type: ignore[arg-type]
        return replace(setting, camera=camera, clip=clip)

    return change


def _camera(width: int, height: int, **changes: object) -> Callable[[Setting], Setting]:
    """The same wall by a camera of more or fewer px than 1080p."""

    def change(setting: Setting) -> Setting:
        scale = width / 1920
        camera = replace(setting.camera, width=width, height=height)
        place = replace(setting.place, pitch_px=setting.place.pitch_px * scale)
        clip = replace(setting.clip, **changes)  # type: ignore[arg-type]
        return replace(setting, camera=camera, place=place, clip=clip)

    return change


def _place(**changes: object) -> Callable[[Setting], Setting]:
    return lambda setting: replace(setting, place=replace(setting.place, **changes))  # type: ignore[arg-type]


def _webcam(setting: Setting) -> Setting:
    camera = replace(
        setting.camera, width=640, height=480, readout_s=0.03, full_well_e=8000.0, sharpen=1.2
    )
    clip = replace(setting.clip, fps=15.0, codec="mjpeg", mbit=6.0, rotation_deg=0, mirrored=True)
    return replace(setting, camera=camera, clip=clip)


STRANGERS = {
    "portrait": Stranger("stored upright", _clip(upright=True, rotation_deg=0)),
    "upside-down": Stranger("the flag says 180°", _clip(rotation_deg=180)),
    "turned": Stranger("the flag says 90°", _clip(rotation_deg=90)),
    "mirrored": Stranger("as some front cameras do", _clip(mirrored=True, rotation_deg=0)),
    "middle": Stranger(
        "begun in the middle of the first of two passes", _clip(before_s=-5.0, passes=2)
    ),
    "cut": Stranger("ends before the colours", _clip(after_s=-3.0)),
    "twice": Stranger("two whole passes", _clip(passes=2)),
    "slow": Stranger("a picture a second", _clip(pace=1.0, fps=24.0)),
    "24": Stranger("24 frames/s", _clip(fps=24.0, varying=False)),
    "25": Stranger("25 frames/s", _clip(fps=25.0, varying=False)),
    "29.97": Stranger("29.97 frames/s", _clip(fps=30000 / 1001, varying=False)),
    "60": Stranger("60 frames/s", _clip(fps=60.0, varying=False)),
    "varying": Stranger("drops a tenth of its frames", _clip(varying=True, dropped=0.1)),
    "arrives": Stranger("turns to the wall in 2 s", _place(arrives_s=2.0)),
    "cut-off": Stranger("corners are outside the frame", _place(pitch_px=200.0, fits=1.06)),
    "messenger": Stranger("480p, 0.8 Mbit/s", _camera(848, 480, mbit=0.8)),
    "4k": Stranger("2160p", _camera(3840, 2160, mbit=40.0)),
    "mov": Stranger("times from 5 s on, .mov", _clip(starts_s=5.0), ".mov"),
    "hevc": Stranger("H.265", _clip(codec="hevc", mbit=6.0)),
    "webm": Stranger("VP8", _clip(codec="vp8", mbit=6.0, rotation_deg=0), ".webm"),
    "webcam": Stranger("480p, 15 frames/s, Motion JPEG, mirrored", _webcam, ".avi"),
    "counter": Stranger("stills, the counter wraps", _stills(1200), "", _counter),
    "numbered": Stranger("stills, 'wall (10).jpeg'", _stills(1200), "", _numbered),
    "letters": Stranger("stills, names without order", _stills(1200), "", _letters),
    "missing": Stranger("stills, two missing", _stills(1200), "", _letters, _without(8, 41)),
    "again": Stranger("stills, two doubled", _stills(1200), "", _numbered, _again(8, 41)),
    "upright-stills": Stranger(
        "stills, turned by Exif", _stills(1200, rotation_deg=90), "", _counter
    ),
}


def stranger_setting(name: str, seed: int) -> Setting:
    """An ordinary setting with the change of that name; 480p, which is enough for small walls and
    quicker to make."""
    setting = drawn("ordinary", np.random.default_rng([seed, 0]))
    setting = replace(
        setting,
        camera=replace(setting.camera, width=848, height=480),
        clip=replace(setting.clip, pace=5.0, fps=24.0, mbit=setting.clip.mbit / 4),
    )
    return STRANGERS[name].change(setting)


def write_stranger(name: str, display: Display, seed: int, folder: Path) -> Path:
    """Make the film or the stills; returns the path."""
    stranger, setting = STRANGERS[name], stranger_setting(name, seed)
    path = folder / f"{name}-{seed}{stranger.ending}"
    if stranger.names is None:
        write_film(path, filmed(display, setting, seed), setting)
        return path
    path.mkdir(exist_ok=True)
    shots = stranger.kept(photographed(display, setting, seed))
    write_stills(path, shots, stranger.names(), setting.clip.rotation_deg)
    return path
