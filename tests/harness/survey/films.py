"""The films that `marks` has read: drawn by a seed, as strangers film, of walls with a fault."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np

from emulator import load_display
from emulator.description.display import Display
from harness.campaign.campaign import single_faults
from tests.harness.survey.filming import Setting, drawn, filmed, walls, write_film
from tests.harness.survey.filming.film import Take
from tests.harness.survey.filming.settings import SMALL, Kind
from tests.harness.survey.filming.strangers import STRANGERS, stranger_setting, write_stranger


@dataclass(frozen=True)
class Film:
    """A film, made when it is needed. name: of its file. kind: 'ordinary', 'hard', a stranger's
    name or that of a fault. wall: what the command takes for it.

    stranger: by which of STRANGERS, '' for none. options: of the command.
    """

    name: str
    kind: str
    about: str
    wall: str
    setting: Setting
    seed: int
    faults: tuple[str, ...] = ()
    stranger: str = ""
    options: tuple[str, ...] = ()

    @cached_property
    def display(self) -> Display:
        """The wall as planned."""
        return load_display(self.wall)

    def write(self, folder: Path) -> Path:
        """Make the film in a folder; returns the path of the file, or of the folder of stills."""
        if self.stranger:
            return write_stranger(self.stranger, self.display, self.seed, folder)
        frames = filmed(self.display, self.setting, self.seed, self.faults)
        write_film(folder / self.name, frames, self.setting)
        return folder / self.name

    def legible(self) -> int:
        """How many LEDs somebody could read who knew where they are: see `Take.legible`."""
        legible = Take(self.display, self.setting, self.seed, self.faults).legible()
        return int(legible[~self.display.gap].sum())


def drawn_film(seed: int, folder: Path) -> Film:
    """The film of a seed: ordinary if that is even, else hard; folder: for the display file."""
    wall = walls.NAMES[seed % len(walls.NAMES)]
    kind: Kind = "hard" if seed % 2 else "ordinary"
    setting = drawn(kind, np.random.default_rng([seed, seed % 2]))
    return Film(
        f"{kind}-{seed}.mp4",
        kind,
        f"{wall}: {setting.in_words()}",
        walls.wall_file(wall, folder),
        setting,
        seed,
    )


def stranger_film(name: str, seed: int, folder: Path) -> Film:
    """A stranger's film of a small wall; folder: for the display file."""
    wall = ("sign", "bar")[seed % 2]
    stranger, setting = STRANGERS[name], stranger_setting(name, seed)
    return Film(
        f"{name}-{seed}{stranger.ending}",
        name,
        f"{stranger.about}, {wall}: {setting.in_words()}",
        walls.wall_file(wall, folder),
        setting,
        seed,
        stranger=name,
        options=("--mirrored",) if setting.clip.mirrored else (),
    )


def fault_films(first: int, folder: Path) -> Iterator[Film]:
    """Small films of a wall, with a fault of each kind of the wiring and the strip."""
    # Several lines, of chips of which some have another speed: it can have each kind.
    bar = walls.wall_file("bar", folder)
    of_kind = defaultdict(list)
    for fault in single_faults(load_display(bar)):
        if fault.stage in ("wiring", "strip"):
            of_kind[fault.name].append(str(fault))
    for seed, (kind, faults) in enumerate(of_kind.items(), first):
        rng = np.random.default_rng([seed, 2])
        fault, angle = str(rng.choice(faults)), float(rng.uniform(-40, 40))
        setting = replace(SMALL, place=replace(SMALL.place, azimuth_deg=angle))
        about = f"{fault}: {setting.in_words()}"
        yield Film(f"{kind}-{seed}.mp4", kind, about, bar, setting, seed, (fault,))
