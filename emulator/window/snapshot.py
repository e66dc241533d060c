"""Saving a picture of the wall: a new file every time, whole or not at all."""

from __future__ import annotations

import io
from itertools import count
from pathlib import Path

import pygame

from emulator.errors import WriteError
from emulator.files import write_whole


def save_snapshot(wall: pygame.Surface, name: str, folder: Path) -> Path:
    """Write the wall as PNG to the first free '<name>-0001.png' in a folder; returns its path.

    Raises WriteError if the folder cannot be written to.
    """
    content = io.BytesIO()
    pygame.image.save(wall, content, "png")
    path = _taken(name, folder)
    try:
        write_whole(path, content.getvalue())
    except WriteError:
        path.unlink(missing_ok=True)
        raise
    return path


def _taken(name: str, folder: Path) -> Path:
    """A path that did not exist before. Makes an empty file there, to reserve the name."""
    for number in count(1):
        path = folder / f"{name}-{number:04d}.png"
        try:
            path.touch(exist_ok=False)
        except FileExistsError:
            continue
        except OSError as error:
            raise WriteError(
                f"cannot be written ({error.strerror})",
                place=path,
                fix="start the program in a folder you may write to.",
            ) from error
        return path
    raise AssertionError("count() does not end")
