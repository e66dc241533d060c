"""Films a case: from the wall's plan to a film on disk, and the truth of it."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tests.outside.generated_survey import built, camera, lamps, reel
from tests.outside.generated_survey.cases import Case
from tests.outside.generated_survey.played import Played, record
from tests.outside.generated_survey.sensor import Shooting

WHITE = np.array([1.0, 0.95, 0.8])  # of the fourth channel, in red, green and blue
REPLACED = ("empty", "one picture", "another film")  # `_spoilt` puts another file there


@dataclass(frozen=True)
class Shot:
    """A film at `path` of the wall described in `wall_file`, and its truth: `pitch_px` is the least
    distance of neighbours."""

    path: Path
    wall_file: Path
    played: Played
    truth: built.Built
    pitch_px: float


def shoot(case: Case, folder: Path) -> Shot:
    """Makes the film of a case in a folder."""
    rng = np.random.default_rng([16, case.number])
    wall_file = folder / "wall.toml"
    wall_file.write_text(case.wall.text)
    played = record(wall_file, folder / "rec").at_pace(case.pace)
    truth = built.right(played)
    strips = built.runs(played, case.wall.columns, case.wall.along)
    for name in case.mistakes:
        built.MISTAKES[name](rng, played, truth, strips)
    shooting = Shooting(played, _light(played, truth), case.sensor, case.room, case.number)
    size = (float(case.wall.columns), case.wall.rows * case.wall.stretch)
    views = [_view(case, size, case.turns)]
    if case.bump_s is not None:
        moved = tuple(np.add(case.turns, rng.uniform(-6, 6, 3)))
        views.append(_view(replace(case, aside=(0.06, -0.05)), size, moved))
    held = np.flatnonzero(truth.cell >= 0)
    places = np.c_[
        truth.cell[held] % case.wall.columns + 0.5,
        (truth.cell[held] // case.wall.columns + 0.5) * case.wall.stretch,
    ]
    scenes = [
        (
            lamps.lamps(view, places, held, case.look, 0.8, size[1] + 1.2),
            case.room.still(view, size, np.random.default_rng(case.number)),
            view,
        )
        for view in views
    ]
    frames = _frames(case, shooting, scenes)
    if case.codec.startswith("."):
        path = folder / "stills"
        reel.stills(path, frames, case.codec)
    else:
        path = folder / f"film{reel.CODECS[case.codec][1]}"
        reel.film(path, frames, case.fps, case.codec, case.kbit, case.quarter_turns)
    path = _spoilt(case, path, wall_file)
    pitch = np.linalg.svd(views[0].local(np.c_[places, np.zeros(len(places))]), compute_uv=False)[
        :, -1
    ].min()
    return Shot(path, wall_file, played, truth, float(pitch))


def _light(played: Played, truth: built.Built) -> np.ndarray:
    """(S, N, 3) the light of each LED in each state."""
    sent = played.drives[:, :, :3]
    light = np.take_along_axis(sent, truth.colours[None].repeat(len(sent), 0), axis=2)
    if played.drives.shape[2] == 4:
        light = light + played.drives[:, :, 3:] * WHITE
    return light * truth.gain


def _view(case: Case, size, turns) -> camera.View:
    return camera.aimed(
        size, case.frame, turns, far=case.far, fill=case.fill, aside=case.aside, bend=case.bend
    )


def _frames(case: Case, shooting: Shooting, scenes) -> Iterator[tuple[float, np.ndarray]]:
    """(seconds of the film, picture) of all frames."""
    rng = np.random.default_rng([17, case.number])
    ends = shooting.played.ends
    if case.codec.startswith("."):  # the shutter is pressed once a picture, about in its middle
        every = 1 / case.pace
        times = np.arange(0, ends, every)
        times += every * rng.uniform(0.3, 0.5, len(times))
    else:
        times = np.arange(case.from_s, ends + case.until_s, 1 / case.fps)
        if not case.steady:
            times = np.sort(times + rng.uniform(-0.3, 0.3, len(times)) / case.fps)
    if case.unreadable in REPLACED:
        times = times[:1]
    for turn in range(case.passes):
        for time in times:
            scene = scenes[-1 if case.bump_s is not None and time > case.bump_s else 0]
            picture = shooting.picture(0.5 if case.unreadable == "frozen" else float(time), *scene)
            if case.mirrored:
                picture = picture[:, ::-1]
            yield float(time - times[0] + turn * (times[-1] - times[0] + 1 / case.fps)), picture


def _spoilt(case: Case, path: Path, wall_file: Path) -> Path:
    """Makes unreadable what shall be so, and can only be done afterwards."""
    if case.unreadable == "empty":
        path.write_bytes(b"")
    elif case.unreadable == "broken":
        whole = path.read_bytes()
        path.write_bytes(whole[: len(whole) // 3])
    elif case.unreadable == "other wall":
        other = replace(
            case.wall, columns=case.wall.columns + 3, rows=case.wall.rows + 2, gaps=(), lines=1
        )
        wall_file.write_text(other.text)
    elif case.unreadable == "one picture":
        from PIL import Image

        path = path.with_suffix(".png")
        Image.new("RGB", (640, 480), (40, 60, 30)).save(path)
    elif case.unreadable == "another film":
        rng = np.random.default_rng(case.number)
        spots = rng.integers(0, 255, (3, 60, 80, 3)).astype(np.uint8).repeat(8, 1).repeat(8, 2)
        reel.film(path, ((k / 15, spots[k // 9 % 3]) for k in range(200)), 15, "h264", 2000)
    return path
