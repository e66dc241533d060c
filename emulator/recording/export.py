"""A recording as a picture, a contact sheet, an animation, arrays or a table."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Literal

import numpy as np
from PIL import Image

from emulator.description.display import Display
from emulator.files import write_whole
from emulator.light.look import Look
from emulator.light.still import contact_sheet
from emulator.light.wall import WallView
from emulator.recording.recording import Recording, RecordingError, display_of

Kind = Literal["light", "drives"]
Size = tuple[int, int]
Watch = Callable[[Sequence[int]], Iterable[int]]

FORMATS = (".png", ".gif", ".apng", ".npz", ".csv")
_MOST_TILES = 60
_MOST_PIXELS = 400_000_000  # of all frames of an animation, which Pillow keeps: 1.2 GB
_LAST_MS = 100  # how long the last frame stays where there is no other to go by
# Shorter than this, GIF players show a frame for longer than it says (common practice, no source).
_LEAST_MS = {".gif": 20, ".apng": 1}
_TICK_MS = {".gif": 10, ".apng": 1}  # what durations are multiples of (GIF89a: 1/100 s)


def export(
    recording: Recording,
    path: Path | str,
    *,
    kind: Kind = "light",
    display: Display | None = None,
    at_s: float | None = None,
    pixels_wide: int = 360,
    watch: Watch = iter,
) -> None:
    """Write a recording as the ending of `path` says, whole or not at all.

    .png: the frame at `at_s`, or without it a contact sheet of up to 60 frames. .gif, .apng: all
    frames, each as long as it was shown, to the format's tick. .npz, .csv: numbers, see `as_npz`
    and `as_csv`. kind 'light': the wall as it looks, in the LEDs' own colours, behind its cover;
    'drives': cells as plain squares whose code values are the drives, white added to red, green
    and blue. display: see `display_of`. watch: given the frame numbers to draw, and iterated, to
    show how far it is.

    Raises RecordingError where the format is unknown, there is no frame, or the display does not
    fit, and WriteError.
    """
    path = Path(path)
    if path.suffix not in FORMATS:
        raise RecordingError(
            f"{path}: no format of that ending\n  To mend: end the name in {', '.join(FORMATS)}."
        )
    recording.frame_at(0)  # raises where there is no frame
    content: bytes | str
    if path.suffix == ".npz":
        content = as_npz(recording, kind)
    elif path.suffix == ".csv":
        content = as_csv(recording, kind, watch)
    else:
        size, draw = _drawer(recording, kind, display, pixels_wide)
        if path.suffix != ".png":
            content = _animation(recording, path.suffix, size, draw, watch)
        elif at_s is not None:
            content = _png(draw(recording.frame_at(at_s)))
        elif kind == "light":
            content = _png(sheet(recording, display))
        else:
            raise RecordingError(
                "a contact sheet shows light, not drives\n"
                "  To mend: give the moment, for one picture of the drives."
            )
    write_whole(path, content)


def sheet(recording: Recording, display: Display | None = None) -> Image.Image:
    """A contact sheet of up to 60 frames, evenly spread, with their times."""
    count = min(len(recording), _MOST_TILES)
    frames = sorted(set(np.linspace(0, len(recording) - 1, count).round().astype(int).tolist()))
    tiles = [(f"{recording.times_ns[f] / 1e9:.3f} s", recording.cells(f)) for f in frames]
    return contact_sheet(display_of(recording, display), tiles, min(len(tiles), 4))


def as_npz(recording: Recording, kind: Kind) -> bytes:
    """times_ns (T,), line, led, column, row (N,), and drives (T, N, C) or light (T, N, 3)."""
    row, column = np.divmod(recording.cell, recording.columns)
    data = io.BytesIO()
    np.savez_compressed(
        data,
        allow_pickle=False,
        times_ns=recording.times_ns,
        line=recording.line,
        led=recording.led,
        column=column,
        row=row,
        **{kind: recording.drives if kind == "drives" else recording.light},
    )
    return data.getvalue()


def as_csv(recording: Recording, kind: Kind, watch: Watch = iter) -> str:
    """A line for each LED of each frame: time_ns, line, led, column, row, and its values.

    Drives in the order of the channels, 0 to 255; light as linear r, g, b, 1 at full drive.
    """
    row, column = np.divmod(recording.cell, recording.columns)
    places = np.stack([recording.line, recording.led, column, row], axis=1).tolist()
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    names = recording.channels.lower() if kind == "drives" else "rgb"
    table.writerow(["time_ns", "line", "led", "column", "row", *names])
    light = recording.light.round(6).astype(float) if kind == "light" else None
    for frame in watch(range(len(recording))):
        values = (recording.drives if light is None else light)[frame].tolist()
        time_ns = int(recording.times_ns[frame])
        table.writerows(
            [time_ns, *place, *value] for place, value in zip(places, values, strict=True)
        )
    return text.getvalue()


def frame_durations(recording: Recording, form: str) -> tuple[list[int], list[int]]:
    """The frames an animation shows, and for how many ms each, for form '.gif' or '.apng'.

    Moments are rounded to the format's tick, so that rounding does not add up. Frames that stay
    too short for the format are left out. The last stays as long as frames do on average.
    """
    tick = _TICK_MS[form]
    moments = np.round(recording.times_ns / (tick * 1e6)).astype(np.int64) * tick
    shown, begins = [0], [int(moments[0])]
    for frame, moment in enumerate(moments.tolist()):
        if moment >= begins[-1] + _LEAST_MS[form]:
            shown.append(frame)
            begins.append(moment)
    durations = np.diff(begins).tolist()
    last = round(sum(durations) / len(durations) / tick) * tick if durations else _LAST_MS
    return shown, [*durations, last]


def _drawer(
    recording: Recording, kind: Kind, display: Display | None, pixels_wide: int
) -> tuple[Size, Callable[[int], Image.Image]]:
    """Width and height, and frame number → RGB picture of that size."""
    if kind == "light":
        shown = display_of(recording, display)
        view = WallView(shown, pixels_wide, Look(led_colours=True))
        size = view.width, view.height
        return size, lambda frame: Image.fromarray(view.draw(recording.cells(frame)).copy())
    across, down = recording.pitches_mm
    wide = max(pixels_wide // recording.columns, 1)
    high = max(round(wide * down / across), 1)

    def draw(frame: int) -> Image.Image:
        codes = np.round(255 * recording.cells(frame).clip(0, 1)).astype(np.uint8)
        return Image.fromarray(codes.repeat(high, axis=0).repeat(wide, axis=1))

    return (wide * recording.columns, high * recording.rows), draw


def _animation(
    recording: Recording,
    form: str,
    size: Size,
    draw: Callable[[int], Image.Image],
    watch: Watch,
) -> bytes:
    frames, durations = frame_durations(recording, form)
    wide, high = size
    if len(frames) * wide * high > _MOST_PIXELS:
        narrower = int(wide * (_MOST_PIXELS / len(frames) / wide / high) ** 0.5)
        raise RecordingError(
            f"{len(frames)} frames of {wide} × {high} pixels need too much memory\n"
            f"  To mend: make them at most {narrower} wide, or record a shorter show."
        )
    pictures = [draw(frame) for frame in watch(frames)]
    data = io.BytesIO()
    pictures[0].save(
        data,
        format={".gif": "GIF", ".apng": "PNG"}[form],
        save_all=True,
        append_images=pictures[1:],
        duration=durations,
        loop=0,
    )
    return data.getvalue()


def _png(picture: Image.Image) -> bytes:
    data = io.BytesIO()
    picture.save(data, format="PNG")
    return data.getvalue()
