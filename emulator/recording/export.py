"""A recording as a picture, a contact sheet, a film, arrays or a table."""

from __future__ import annotations

from pathlib import Path

from PIL import Image

from emulator.description.display import Display
from emulator.errors import RecordingError
from emulator.files import check_target, whole_file
from emulator.light.still import png
from emulator.recording import animation, movie
from emulator.recording.drawing import Kind, drawer, sheet
from emulator.recording.numbers import Watch, write_csv, write_npz
from emulator.recording.pace import paced
from emulator.recording.recording import Recording

FORMATS = (".png", ".gif", ".apng", ".mp4", ".npz", ".csv")


def export(
    recording: Recording,
    path: Path | str,
    *,
    kind: Kind = "light",
    display: Display | None = None,
    at_s: float | None = None,
    from_s: float | None = None,
    to_s: float | None = None,
    pixels_wide: int = 360,
    watch: Watch = iter,
    force: bool = True,
) -> None:
    """Write a recording as the ending of `path` says, whole or not at all.

    .png: the frame at `at_s`, or without it a contact sheet of up to 60 frames. .gif, .apng,
    .mp4: all frames, each as long as it was shown, to the format's tick. .npz, .csv: numbers, see
    `write_npz` and `write_csv`. from_s, to_s: export only what was shown in this time, in seconds
    of the recording's clock. kind, display: see `drawer`. watch: wraps the range of steps, and is
    iterated, to show progress. All formats except .gif and .apng need no more memory for a long
    recording than for a short one. force: without it, only a file that foreglow wrote is
    overwritten (see `emulator.files.check_target`).

    Raises RecordingError if the format is unknown, nothing was shown in that time, or the display
    does not fit; and WriteError.
    """
    path = Path(path)
    form = path.suffix.lower()
    if form not in FORMATS:
        raise RecordingError(
            "no format has this ending", place=path, fix=f"end the name in {', '.join(FORMATS)}."
        )
    check_target(path, force=force)
    part = recording.between(from_s, to_s)
    if form in (".npz", ".csv"):
        write = write_npz if form == ".npz" else write_csv
        with whole_file(path) as file:
            write(part, file, kind, watch)
    elif form == ".png":
        picture = _still(part, kind, display, at_s, pixels_wide)
        with whole_file(path) as file:
            file.write_bytes(png(picture))
    else:
        _film(part, path, form, kind, display, pixels_wide, watch)


def _still(
    recording: Recording, kind: Kind, display: Display | None, at_s: float | None, pixels_wide: int
) -> Image.Image:
    if at_s is None:
        return sheet(recording, kind, display)
    _, draw = drawer(recording, kind, display, pixels_wide)
    return Image.fromarray(draw(recording.frame_at(at_s)))


def _film(
    recording: Recording,
    path: Path,
    form: str,
    kind: Kind,
    display: Display | None,
    pixels_wide: int,
    watch: Watch,
) -> None:
    size, draw = drawer(recording, kind, display, pixels_wide)
    if form == ".mp4":
        by = movie.encoder()
        frames, moments = paced(recording, by.ticks_per_s)
        pictures = (draw(int(frames[number])) for number in watch(range(len(frames))))
        with whole_file(path) as file:
            movie.write_movie(file, pictures, moments, size, by)
    else:
        ticks, least = animation.TICKS_PER_S[form], animation.LEAST_TICKS[form]
        frames, moments = paced(recording, ticks, least)
        animation.check_length(len(frames), size)
        pictures = (draw(int(frames[number])) for number in watch(range(len(frames))))
        with whole_file(path) as file:
            animation.write_animation(file, form, pictures, moments)
