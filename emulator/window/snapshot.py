"""Saving a picture of the wall: a new file every time, whole or not at all."""

from __future__ import annotations

import io
import os
from itertools import count
from pathlib import Path

import pygame


def save_snapshot(wall: pygame.Surface, name: str, folder: Path) -> Path:
    """Write the wall as PNG to the first free '<name>-0001.png' in a folder.

    Written beside it first and then moved there, so that no half picture ever has that name;
    a program killed between the two leaves an empty file. Raises OSError where the folder
    cannot be written.
    """
    content = io.BytesIO()
    pygame.image.save(wall, content, "png")
    part = folder / f".{name}-{os.getpid()}.part"
    try:
        part.write_bytes(content.getvalue())
        path = _reserved(name, folder)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    return path


def _reserved(name: str, folder: Path) -> Path:
    """A path that did not exist before, now an empty file that nobody else will take."""
    for number in count(1):
        path = folder / f"{name}-{number:04d}.png"
        try:
            path.touch(exist_ok=False)
        except FileExistsError:
            continue
        return path
    raise AssertionError("count() does not end")
