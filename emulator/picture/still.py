"""Still pictures: one, a slow travel over a large one, or a folder of them in turn."""

from __future__ import annotations

import logging
import warnings
from math import cos, pi
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, ImageOps

from emulator.arrays import Light
from emulator.description.display import Display
from emulator.errors import OutOfRangeError, SourceError
from emulator.files import check_file
from emulator.picture.fit import How, Region, fit
from emulator.picture.mix import crossfade, turn_at
from emulator.picture.source import ClosingSource, on_wall

_LOG = logging.getLogger(__name__)
_PIXELS_A_CELL = 8  # kept of a large picture for a pan, so that its steps are far below a cell
# Most pixels of a picture file: foreglow refuses a larger one before it fills the memory. Pillow
# refuses from about this size on, too; from half of it on it gives a warning, which is not shown.
_MOST_PIXELS = 1 << 27

Rgb = NDArray[np.uint8]


def read_picture(path: Path | str) -> Rgb:
    """A picture file of any kind that Pillow reads, as (h, w, 3) uint8 sRGB, upright.

    Transparent pixels become black, without light. Raises SourceError.
    """
    try:
        with opened(path) as image:
            return rgb_of(ImageOps.exif_transpose(image))
    except FileNotFoundError as error:
        raise SourceError(f"there is no picture {path}", fix="check its path.") from error
    except Image.DecompressionBombError as error:
        raise SourceError(
            f"{path} is too large: {error}",
            fix="make it smaller; a wall shows a few thousand pixels at most.",
        ) from error
    except Exception as error:  # see opened
        raise SourceError(
            f"{path} cannot be read as a picture: {error}", fix="save it again as PNG or JPEG."
        ) from error


def opened(path: Path | str) -> Image.Image:
    """A picture file as Pillow opens it; raises whatever error the file causes.

    Raises Image.DecompressionBombError if the picture would fill the memory, OSError if the path
    is not a file.
    """
    check_file(path)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", Image.DecompressionBombWarning)
        image = Image.open(path)
    if image.width * image.height > _MOST_PIXELS:
        image.close()
        raise Image.DecompressionBombError(f"{image.width} × {image.height} pixels")
    return image


def rgb_of(image: Image.Image) -> Rgb:
    """A Pillow image as (h, w, 3) uint8 sRGB, over black where it is transparent.

    Raises ValueError for a mode that cannot be shown.
    """
    if image.mode == "F":
        raise ValueError("its values are floats, and it does not say which value is white")
    if image.mode.startswith("I"):  # 16 bits a pixel; Pillow's own conversion would clip
        grey = np.asarray(image, dtype=np.float64)
        return np.repeat((grey / 257).clip(0, 255).round().astype(np.uint8)[..., None], 3, axis=2)
    if image.has_transparency_data:
        coated = image.convert("RGBA")
        ground = Image.new("RGBA", coated.size, (0, 0, 0, 255))
        image = Image.alpha_composite(ground, coated)
    return np.asarray(image.convert("RGB"))


class Still(ClosingSource):
    """One picture, given as a file, or as an image (h, w, 3) uint8 sRGB or float linear light.

    how, region: as for `fit`. Raises SourceError if the file cannot be read.
    """

    def __init__(
        self, picture: Path | str | ArrayLike, *, how: How = "crop", region: Region | None = None
    ) -> None:
        self._image = _image(picture)
        self._how: How = how
        self._region = region
        self._kept: tuple[Display, Light] | None = None

    def __call__(self, time_s: float, display: Display) -> Light:
        if self._kept is None or self._kept[0] is not display:
            self._kept = display, on_wall(self._image, display, self._how, self._region)
        return self._kept[1].copy()


class Pan(ClosingSource):
    """A slow, smooth travel over a large picture, there and back in `period_s`.

    start, end: the parts of the picture at the turning points, (left, top, width, height) as
    fractions of it; if their sizes differ, it zooms as well. Without them, the largest part with
    the wall's proportions travels from the left or top edge to the other one. Raises SourceError if
    the file cannot be read, and OutOfRangeError for a period that is not above 0.
    """

    def __init__(
        self,
        picture: Path | str | ArrayLike,
        *,
        period_s: float = 60.0,
        start: Region | None = None,
        end: Region | None = None,
    ) -> None:
        if period_s <= 0:
            raise OutOfRangeError(
                f"period_s cannot be {period_s:g}", fix="give seconds above 0, as period_s=60."
            )
        self._image = _image(picture)
        self._period_s = period_s
        self._ends = start, end
        self._kept: tuple[Display, NDArray[np.generic], Region, Region] | None = None

    def __call__(self, time_s: float, display: Display) -> Light:
        if self._kept is None or self._kept[0] is not display:
            self._kept = display, *self._prepared(display)
        _, image, start, end = self._kept
        share = (1 - cos(2 * pi * time_s / self._period_s)) / 2
        left, top, wide, high = (a + (b - a) * share for a, b in zip(start, end, strict=True))
        return on_wall(image, display, region=(left, top, wide, high))

    def _prepared(self, display: Display) -> tuple[NDArray[np.generic], Region, Region]:
        """The picture, made smaller if that saves memory, and the parts at the ends."""
        high, wide = np.shape(self._image)[:2]
        across, down = display.grid.pitches_mm
        wall = display.grid.columns * across / (display.grid.rows * down)
        part_wide, part_high = min(wall * high / wide, 1.0), min(wide / high / wall, 1.0)
        start, end = self._ends
        start = start or (0.0, 0.0, part_wide, part_high)
        end = end or (1 - part_wide, 1 - part_high, part_wide, part_high)
        finest = min(start[2], end[2]), min(start[3], end[3])
        cells = display.grid.columns / finest[0], display.grid.rows / finest[1]
        columns, rows = (
            min(size, round(n * _PIXELS_A_CELL))
            for size, n in zip((wide, high), cells, strict=True)
        )
        if 4 * rows * columns > high * wide:  # with four bytes a value instead of one: no gain
            return self._image, start, end
        return fit(self._image, (rows, columns), "stretch"), start, end


class StillFolder(ClosingSource):
    """The pictures of a folder in turn, by name, each for `seconds`, with a cross-fade.

    The folder is read again at each turn, so a new picture gets its turn. A picture that is gone or
    cannot be read is skipped; the log names it once. Raises SourceError while the folder has no
    picture.
    """

    def __init__(
        self, folder: Path | str, *, seconds: float = 10.0, fade_s: float = 1.0, how: How = "crop"
    ) -> None:
        self._folder = Path(folder)
        self._seconds, self._fade_s = seconds, fade_s
        self._how: How = how
        self._turns: dict[int, Still] = {}  # this turn and the one before
        self._broken: set[Path] = set()

    def __call__(self, time_s: float, display: Display) -> Light:
        turn, _, share = turn_at(time_s, self._seconds, self._fade_s)
        picture = self._still(turn)(time_s, display)
        if share < 1:
            picture = crossfade(self._still(turn - 1)(time_s, display), picture, share)
        self._turns = {n: s for n, s in self._turns.items() if turn - 1 <= n <= turn}
        return picture

    def _still(self, turn: int) -> Still:
        if turn not in self._turns:
            self._turns[turn] = self._read(turn)
        return self._turns[turn]

    def _read(self, turn: int) -> Still:
        try:
            paths = sorted(p for p in self._folder.iterdir() if p.is_file() and p.name[0] != ".")
        except OSError as error:
            raise SourceError(
                f"the folder {self._folder} cannot be read: {error.strerror}",
                fix="name a folder of pictures.",
            ) from error
        for number in range(len(paths)):
            path = paths[(turn + number) % len(paths)]
            try:
                return Still(path, how=self._how)
            except SourceError as error:
                if path not in self._broken:
                    self._broken.add(path)
                    _LOG.warning("skipped: %s", error)
        raise SourceError(
            f"the folder {self._folder} has no picture that can be read",
            fix="put PNG or JPEG files into it.",
        )


def _image(picture: Path | str | ArrayLike) -> NDArray[np.generic]:
    return read_picture(picture) if isinstance(picture, Path | str) else np.asarray(picture)
