"""A folder of stills as a film: which of its files count, and in which order they were taken.

By the times that cameras write into them, if all have one; else by their names, with numbers in
them by size. Cameras count to 9999 and begin again.
"""

from __future__ import annotations

import logging
import re
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
from PIL import Image, UnidentifiedImageError

from emulator.errors import SourceError
from emulator.picture.still import opened

_LOG = logging.getLogger(__name__)

# By Pillow's names; MPO is a JPEG with further pictures behind it.
_FORMATS = ("JPEG", "MPO", "PNG", "TIFF", "WEBP", "BMP", "PPM", "AVIF", "JPEG2000")
_RAW = {".dng", ".cr2", ".cr3", ".nef", ".arw", ".raf", ".orf", ".rw2", ".pef", ".srw"}
# Brands of ISO/IEC 23008-12, from memory.
_HEIC = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}
# Exif 2.32, from memory: 274 orientation; in 34665: times of taking and of digitising, with their
# shares of a second and their offsets from UTC.
_ORIENTATION, _PHOTO = 274, 34665
_TIMES = ((36867, 37521, 36881), (36868, 37522, 36882))
_ACROSS = (5, 6, 7, 8)  # orientations of pictures whose sides are exchanged

Name = tuple[tuple[int, str], ...]


class Still(NamedTuple):
    """A file. size: (width, height) upright. taken: by its own clock; None if it does not say."""

    path: Path
    size: tuple[int, int] = (0, 0)
    taken: np.datetime64 | None = None


def stills_of(folder: Path) -> list[Path]:
    """The pictures of a folder, or of its subfolders if it has none itself, in order.

    Raises SourceError for a folder without pictures, or with some of a kind that is not read.
    """
    for pattern in ("*", "*/*"):
        files = sorted(one for one in folder.glob(pattern) if one.is_file())
        found, others = _pictures(files)
        if not found:
            continue
        if others:
            some = ", ".join(one.name for one in others[:3]) + (", …" if others[3:] else "")
            _LOG.warning("%s: %d other files are left out: %s", folder.name, len(others), some)
        return [still.path for still in in_order(found)]
    raise SourceError("no pictures in the folder", place=folder, fix="give JPEG or PNG files.")


def in_order(stills: Sequence[Still]) -> list[Still]:
    """As they were taken.

    Where the clock goes back only once, and names go on by one there, the clock was set.
    """
    by_name = _counted(sorted(stills, key=lambda still: _name(still.path)))
    taken = [still.taken for still in by_name if still.taken is not None]
    if len(taken) < len(by_name):
        return by_name
    back = [n for n in range(1, len(taken)) if taken[n] < taken[n - 1]]
    if len(back) == 1 and _goes_on(*(_name(by_name[n].path) for n in (back[0] - 1, back[0]))):
        return by_name
    if len(back) > 1 and (ties := len(taken) - len(set(taken))):
        _LOG.warning("%d stills have the time of another: of these, the order is a guess", ties)
    return [by_name[n] for n in sorted(range(len(taken)), key=taken.__getitem__)]


def _counted(by_name: list[Still]) -> list[Still]:
    """In the order of a counter that went through its end, if more than half of it is missing."""
    ends = [re.findall(r"\d+", still.path.stem)[-1:] for still in by_name]
    counts = [int(end[0]) for end in ends if end]
    if len(counts) < len(by_name) or len({len(end[0]) for end in ends}) > 1:
        return by_name
    steps = np.diff(counts)
    if not steps.size or 2 * steps.max() < 10 ** len(ends[0][0]):
        return by_name
    begin = int(steps.argmax()) + 1
    return by_name[begin:] + by_name[:begin]


def _name(path: Path) -> Name:
    """The folder's and the file's name; IMG_9 comes before IMG_10."""
    parts = re.split(r"(\d+)", f"{path.parent.name}/{path.stem}".lower())
    return tuple((int(part), "") if part.isdecimal() else (-1, part) for part in parts)


def _goes_on(before: Name, after: Name) -> bool:
    """Whether a name is the next one, by one number in it."""
    differ = [(a, b) for a, b in zip(before, after, strict=False) if a != b]
    return len(before) == len(after) and len(differ) == 1 and differ[0][0][0] + 1 == differ[0][1][0]


def _pictures(files: Sequence[Path]) -> tuple[list[Still], list[Path]]:
    """The stills, in any order, and the other files. Raises SourceError for stills of a kind that
    is not read, unless they have twins of the same name."""
    stills: dict[str, Still] = {}
    unread: list[Path] = []
    for path in files:
        still = _still(path)
        stem = f"{path.parent}/{path.stem.lower()}"
        if still is not None and stem not in stills:
            stills[stem] = still
        elif still is None and _is_unread(path):
            unread.append(path)
    alone = [one for one in unread if f"{one.parent}/{one.stem.lower()}" not in stills]
    if alone:
        kind = alone[0].suffix.lstrip(".").upper() if alone[0].suffix.lower() in _RAW else "HEIC"
        raise SourceError(
            f"{len(alone)} of its pictures are {kind} files, which cannot be read",
            place=alone[0],
            fix="convert them to JPEG with their times, or set the camera to JPEG; then remove them"
            " from the folder.",
        )
    sizes = Counter(still.size for still in stills.values())
    usual = sizes.most_common(1)[0][0] if sizes else (0, 0)
    found = [still for still in stills.values() if still.size == usual]
    kept = {still.path for still in found}
    return found, [one for one in files if one not in kept and not one.name.startswith(".")]


def _still(path: Path) -> Still | None:
    """A picture file; None for a file of another kind."""
    if path.name.startswith(".") or path.suffix.lower() in _RAW:
        return None
    try:
        with opened(path) as image:
            if image.format not in _FORMATS:
                return None
            exif = image.getexif()
            across = exif.get(_ORIENTATION) in _ACROSS
            return Still(path, image.size[::-1] if across else image.size, _taken(exif))
    except UnidentifiedImageError:
        return None
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return Still(path)  # of no size: left out, and named


def _is_unread(path: Path) -> bool:
    """Whether a file is a still of a kind that is not read, whatever its name."""
    if path.name.startswith("."):
        return False
    with path.open("rb") as file:
        begin = file.read(12)
    return path.suffix.lower() in _RAW or (begin[4:8] == b"ftyp" and begin[8:12] in _HEIC)


def _taken(exif: Image.Exif) -> np.datetime64 | None:
    """When a picture was taken; in UTC if it says how far its clock is from that."""
    photo = exif.get_ifd(_PHOTO)
    for when, share, offset in _TIMES:
        said = [str(photo.get(tag, "")).strip("\0 ") for tag in (when, share, offset)]
        clock = re.fullmatch(r"(\d{4}):(\d\d):(\d\d) (\d\d:\d\d:\d\d)", said[0])
        try:
            taken = np.datetime64("{}-{}-{}T{}".format(*clock.groups()), "ns") if clock else None
        except ValueError:  # as of a clock that was never set
            taken = None
        if taken is None:
            continue
        if said[1].isdecimal():
            taken += np.timedelta64(int(said[1][:9].ljust(9, "0")), "ns")
        if away := re.fullmatch(r"([+-])(\d\d):(\d\d)", said[2]):
            ahead = np.timedelta64(60 * int(away[2]) + int(away[3]), "m")
            taken += ahead if away[1] == "-" else -ahead
        return taken
    return None
