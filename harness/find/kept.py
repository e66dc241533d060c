"""The session on disk: what was asked, answered and found, so that it can go on after a kill."""

from __future__ import annotations

import hashlib
import json
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from emulator.description.display import Display
from emulator.errors import ForeglowError
from emulator.files import read_file, write_whole
from harness.find.answer import WORDS, Seen

_MOST_BYTES = 64 << 20


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Answered(_Part):
    """An answer to a picture: each word with how many LEDs in a row have it."""

    kind: Literal["answered"] = "answered"
    pattern: str
    step: int
    seen: tuple[tuple[Annotated[int, Field(ge=0, lt=WORDS)], Annotated[int, Field(gt=0)]], ...]


class Found(_Part):
    """A fault that was found; what happened then: fixed, left in the wall, or not the one."""

    kind: Literal["found"] = "found"
    fault: str
    then: Literal["fixed", "left", "whole"]


Event = Annotated[Answered | Found, Field(discriminator="kind")]


class Kept(_Part):
    """All of a session. wall: what the display is; rehearsed: the faults of a rehearsal."""

    mark: Literal["Made by foreglow"] = "Made by foreglow"  # files.MARK
    wall: str
    rehearsed: tuple[str, ...] = ()
    events: tuple[Event, ...] = ()


def run_lengths(seen: Seen) -> tuple[tuple[int, int], ...]:
    """Words (N,) as (word, how many in a row)."""
    starts = np.flatnonzero(np.diff(seen, prepend=-1, append=-1).astype(bool))
    return tuple((int(seen[a]), int(b - a)) for a, b in pairwise(starts))


def from_run_lengths(runs: tuple[tuple[int, int], ...]) -> Seen:
    """Words (N,) again."""
    words, counts = (np.array(column, dtype=np.int64) for column in zip(*runs, strict=True))
    return np.repeat(words, counts).astype(np.uint8)


def fingerprint(display: Display) -> str:
    """Equal for the same wiring, chip and grid."""
    wiring = display.wiring
    parts = f"{display.chip.part} {display.picture_shape} {display.power.limit_a}".encode()
    return hashlib.sha256(parts + wiring.line.tobytes() + wiring.cell.tobytes()).hexdigest()[:32]


def load_kept(path: Path, display: Display, rehearsed: tuple[str, ...]) -> Kept | None:
    """The session of a file; None if there is no such file.

    Raises ForeglowError for a file that is not a session, or is one of another wall.
    """
    again = "give --new to begin again, or name another file with --session."
    try:
        text = read_file(path, _MOST_BYTES).decode()
        kept = Kept.model_validate(json.loads(text))
    except FileNotFoundError:
        return None
    except (OSError, ValueError, ValidationError, RecursionError) as error:
        reason = getattr(error, "strerror", None) or "it is not written by foreglow find"
        raise ForeglowError(
            f"the session cannot be read ({reason})", place=path, fix=again
        ) from error
    if kept.wall != fingerprint(display):
        raise ForeglowError("this is the session of another wall", place=path, fix=again)
    if kept.rehearsed != rehearsed:
        was = "; ".join(kept.rehearsed) or "a real wall"
        raise ForeglowError(f"this is a session with {was}", place=path, fix=again)
    for event in kept.events:
        if isinstance(event, Answered) and sum(n for _, n in event.seen) != display.leds:
            raise ForeglowError("an answer has another number of LEDs", place=path, fix=again)
    return kept


def save_kept(path: Path, kept: Kept) -> None:
    """Write the session, whole or not at all. Raises WriteError."""
    write_whole(path, kept.model_dump_json(indent=1))
