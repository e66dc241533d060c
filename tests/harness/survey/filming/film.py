"""A film of a display that plays a pattern: bench, wall, room, hand, lens, shutter and sensor."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from emulator.bench import Bench
from emulator.clock import SECOND_NS
from emulator.description.display import Display
from emulator.description.faults.fault import Fault
from harness.patterns.pattern import pattern
from tests.harness.survey.filming.face import Face, Raster
from tests.harness.survey.filming.hand import Hand
from tests.harness.survey.filming.lens import Floats, Lens, Pose, looking
from tests.harness.survey.filming.room import Passers, ripple
from tests.harness.survey.filming.sensor import Meter, Sensor
from tests.harness.survey.filming.settings import Setting
from tests.harness.survey.filming.shutter import Played, Pwm, mean_light
from tests.harness.survey.filming.surroundings import Surroundings

Picture = NDArray[np.uint8]
PATTERN = "coded-film"
_GRID = 8  # px between the rays that are traced; those between them are interpolated
_KEPT = 0.94  # of the frame may be taken by the wall


def played(
    display: Display, setting: Setting, faults: Sequence[Fault | str], rng: np.random.Generator
) -> Played:
    """What the wall shows from 0 s on, when the first step of the pattern begins."""
    shown = pattern(PATTERN)
    hold_s = shown.hold_ms / 1000 if setting.clip.pace is None else 1 / setting.clip.pace
    bench = Bench(display, powered=True, keep=1, faults=faults)
    again = 5 if bench.display.faults else 1  # a show sends each picture often; loose joints move
    starts, pictures = [-math.inf], [bench.picture.copy()]
    begin_ns = bench.clock.now_ns()
    for step in range(shown.steps(display) * setting.clip.passes):
        picture = shown.draw(display, step % shown.steps(display))
        for part in range(again):
            start_s = (step + part / again) * hold_s
            bench.clock.wait_until(begin_ns + round(start_s * SECOND_NS))
            bench.send(picture)
            light = bench.picture
            if part == 0 or not np.array_equal(light, pictures[-1]):
                late_s = abs(rng.normal(0, setting.clip.jitter_s))
                starts.append(start_s + min(late_s, 0.3 * hold_s / again))
                pictures.append(light.copy())
    return Played(np.array(starts), np.array(pictures))


def true_places(display: Display, faults: Sequence[Fault | str] = ()) -> NDArray[np.bool_]:
    """(P, rows, columns) where each placed LED of the plan, in wiring order, lights as built.

    Each LED is lit alone on a bench, by its place in the data: none of the pattern's code is used.
    """
    bench = Bench(display, keep=1, faults=faults)
    numbers = np.flatnonzero(~display.wiring.hidden)
    places = np.zeros((len(numbers), display.grid.rows, display.grid.columns), bool)
    black = bench.leds.drives * 0
    bench.leds.send()
    always = bench.picture.sum(axis=-1) > 0
    for place, number in enumerate(numbers):
        bench.leds[:] = black
        bench.leds[int(number)] = (255, 255, 255)
        bench.leds.send()
        places[place] = (bench.picture.sum(axis=-1) > 0) & ~always
    return places


@dataclass(frozen=True)
class Shot:
    """How the camera sees the wall while nobody moves it."""

    lens: Lens
    pose: Pose
    cells_mm: Floats  # (rows, columns, 3) the cells' middles
    corners_mm: Floats  # (4, 3) of the wall
    turned: int  # quarter turns of the sensor against the room

    def cells_px(self) -> Floats:
        """(rows, columns, 2) the cells' middles in the sensor's picture."""
        return self.lens.pixels(self.pose.seen(self.cells_mm))


def shot_of(display: Display, setting: Setting) -> Shot:
    """The camera so near that the cells have the pitch asked for, or as the frame allows."""
    camera, place, clip = setting.camera, setting.place, setting.clip
    turned = (clip.rotation_deg // 90 + (1 if clip.upright else 0)) % 4
    focal = camera.width / 2 / math.tan(math.radians(camera.field_deg / 2))
    lens = Lens(focal, ((camera.width - 1) / 2, (camera.height - 1) / 2), camera.distortion)
    grid = display.grid
    across, down = grid.pitches_mm
    x = (np.arange(grid.columns) + 0.5 - grid.columns / 2) * across
    y = (np.arange(grid.rows) + 0.5 - grid.rows / 2) * down
    cells = np.stack((*np.meshgrid(x, y), np.zeros((grid.rows, grid.columns))), axis=-1)
    half = np.array([grid.columns * across, grid.rows * down]) / 2
    corners = np.array([[*(half * side), 0.0] for side in ((-1, -1), (1, -1), (1, 1), (-1, 1))])
    roll = place.roll_deg + 90.0 * turned

    def at(distance_mm: float, aside: float) -> Shot:
        pose = looking(place.azimuth_deg, place.elevation_deg, roll, distance_mm)
        # Turned so that the wall's middle is beside that of the frame.
        x, y = (aside * value for value in place.aside)
        span = np.array([camera.width, camera.height]) / 2 / focal
        off = np.radians(np.degrees(np.arctan([x * span[0], y * span[1]])))
        rotation, _ = cv2.Rodrigues(np.array([-off[1], off[0], 0.0]))
        return Shot(lens, replace(pose, turn=rotation @ pose.turn), cells, corners, turned)

    def fits(shot: Shot) -> bool:
        pixels = shot.lens.pixels(shot.pose.seen(shot.corners_mm))
        size = np.array([camera.width, camera.height])
        return bool(np.all(np.abs(pixels - size / 2) < _KEPT * size / 2))

    for aside in (1.0, 0.5, 0.0):
        near, far = 0.2 * float(np.hypot(*half)), 1e6
        for _ in range(40):
            middle = math.sqrt(near * far)
            if pitch_of(at(middle, aside)) > place.pitch_px:
                near = middle
            else:
                far = middle
        if fits(at(far, aside)):
            return at(far, aside)
    while not fits(at(far, 0.0)):
        far *= 1.02
    return at(far, 0.0)


def pitch_of(shot: Shot) -> float:
    """Median px, over the wall, from a cell to its nearer neighbour across or down."""
    cells = shot.cells_px()
    across = (
        np.linalg.norm(np.diff(cells, axis=1), axis=-1) if cells.shape[1] > 1 else np.array([1e9])
    )
    down = (
        np.linalg.norm(np.diff(cells, axis=0), axis=-1) if cells.shape[0] > 1 else np.array([1e9])
    )
    return float(min(np.median(across), np.median(down)))


def filmed(
    display: Display,
    setting: Setting,
    seed: int,
    faults: Sequence[Fault | str] = (),
) -> Iterator[tuple[float, Picture]]:
    """(time in s from the start of the film, frame (h, w, 3) uint8 RGB) of the wall's pattern.

    The times are the file's: as captured, or of constant rate, as the setting says.
    """
    rng = np.random.default_rng([seed, 1])
    show = played(display, setting, faults, rng)
    clip, camera, room = setting.clip, setting.camera, setting.room
    shown = pattern(PATTERN)
    hold_s = shown.hold_ms / 1000 if clip.pace is None else 1 / clip.pace
    lasts_s = clip.before_s + hold_s * shown.steps(display) * clip.passes + clip.after_s
    show = replace(show, starts_s=show.starts_s + clip.before_s)
    shot = shot_of(display, setting)
    scene = Scene(display, setting, shot, lasts_s, rng)
    meter, sensor = Meter(camera, clip.fps), Sensor(camera, rng)
    brightest = int(np.argmax(show.pictures.sum(axis=(1, 2, 3))))
    metered = (
        0 if camera.exposure == "locked dark" else brightest if camera.exposure == "set" else None
    )
    if metered is not None:
        meter.sees(scene.mean(show.pictures[metered]), 0.0, hold=False)
    period_s = 1 / clip.fps
    last: Picture | None = None
    number = -1
    for tick in range(math.floor(lasts_s * clip.fps)):
        if rng.random() < clip.dropped:
            continue
        number += 1
        begin_s = tick * period_s + (rng.normal(0, 0.0015) if clip.varying else 0.0)
        time_s = (
            max(begin_s, tick * period_s - 0.4 * period_s) if clip.varying else number * period_s
        )
        if last is not None and rng.random() < clip.doubled:
            yield time_s, last
            continue
        if metered is None and tick == 0:
            meter.sees(scene.mean(show.pictures[0]), 0.0, hold=False)
        exposed = meter.exposed(room.mains_hz)
        frame = scene.frame(show, begin_s, exposed.open_s)
        meter.sees(float(frame[:, ::4, ::4].mean()), begin_s, hold=metered is not None)
        last = turned_upright(
            sensor.develop(sensor.veil(frame), exposed), clip.upright, clip.mirrored
        )
        yield time_s, last


def turned_upright(picture: Picture, upright: bool, mirrored: bool) -> Picture:
    """The picture as stored."""
    if upright:
        picture = np.ascontiguousarray(np.rot90(picture, -1))
    return np.ascontiguousarray(picture[:, ::-1]) if mirrored else picture


class Scene:
    """What is before the lens, at any time of a film."""

    def __init__(
        self,
        display: Display,
        setting: Setting,
        shot: Shot,
        lasts_s: float,
        rng: np.random.Generator,
    ) -> None:
        self._setting, self._shot = setting, shot
        cells = shot.cells_px()
        steps = [
            np.linalg.norm(np.diff(cells, axis=axis), axis=-1)
            for axis in (0, 1)
            if cells.shape[axis] > 1
        ]
        self._face = Face(display, setting, max(float(step.max()) for step in steps), rng)
        camera = setting.camera
        self._pwm = Pwm.of(cells.shape[:2], setting.pwm_hz, rng)
        self._line_s = camera.readout_s / camera.height
        self._delays_s = cells[..., 1] * self._line_s
        self._hand = Hand.holding(lasts_s + 1, setting.place.sway, rng)
        self._passers = Passers(setting.room, lasts_s, rng)
        # One ray more at the right and the bottom: the last px are before it.
        count = (math.ceil(camera.height / _GRID) + 1, math.ceil(camera.width / _GRID) + 1)
        down, across = np.mgrid[: count[0], : count[1]] * float(_GRID)
        self._rays = shot.lens.rays(np.stack((across, down), axis=-1))
        self._rows_s = down[:, 0] * self._line_s
        edge = np.concatenate([self._rays[0], self._rays[-1], self._rays[:, 0], self._rays[:, -1]])
        self._room = Surroundings(display, setting, shot.pose.on_wall(edge), rng)
        self._ripples_s = [self._lines_s(part.raster) for part in (self._face, self._room)]
        # The raster is about as fine as the film: lens and focus blur it there.
        film_px = float(np.median(steps[-1]))
        self._blur = (
            camera.blur_px * display.grid.pitches_mm[0] / self._face.raster.mm_px[0] / film_px
        )

    def _lines_s(self, raster: Raster) -> Floats:
        """(32, 32) when, in a frame, the camera reads the line that shows a part of a raster."""
        high, wide = raster.shape
        px = np.stack(np.meshgrid(np.linspace(0, wide, 32), np.linspace(0, high, 32)), axis=-1)
        mm = np.concatenate((raster.mm(px), np.zeros((32, 32, 1))), axis=-1)
        lines = self._shot.lens.pixels(self._shot.pose.seen(mm))[..., 1]
        return np.nan_to_num(np.clip(lines, 0, self._setting.camera.height)) * self._line_s

    def mean(self, cells: NDArray[np.float32]) -> float:
        """Mean luminance of a frame while the cells give this light, for the meter."""
        candela = self._face.candela(cells)
        planes = self._face.light(candela, 1.0), self._room.light(candela, 1.0, False)
        mosaic = self._seen(*planes, np.zeros(len(self._rows_s)))
        return float(mosaic[:, ::4, ::4].mean())

    def frame(self, show: Played, begin_s: float, open_s: float) -> NDArray[np.float32]:
        """Luminance as a mosaic (4, h/2, w/2) of the frame whose first line opens at begin_s."""
        room = self._setting.room
        candela = self._face.candela(mean_light(show, self._pwm, begin_s + self._delays_s, open_s))
        lamps: list[NDArray[np.float32] | float] = [1.0, 1.0]
        if room.flicker:
            lamps = [
                cv2.resize(ripple(begin_s + lines_s, open_s, room), part.raster.shape[::-1])
                for lines_s, part in zip(self._ripples_s, (self._face, self._room), strict=True)
            ]
        blink = bool(room.blinker_hz) and begin_s * room.blinker_hz % 1 < 0.5
        front = self._face.light(candela, lamps[0])
        # Focus, lens and the hand's own movement while the shutter is open.
        blur = math.hypot(self._blur, self._smear(begin_s, open_s) / math.sqrt(12))
        front = cv2.GaussianBlur(front, (0, 0), blur, borderType=cv2.BORDER_REPLICATE)
        around = self._room.light(candela, lamps[1], blink)
        mosaic = self._seen(front, around, begin_s + open_s / 2 + self._rows_s)
        self._passers.before(mosaic, begin_s)
        return mosaic

    def _smear(self, begin_s: float, open_s: float) -> float:
        """How far the picture moves while the shutter is open, in px."""
        poses = self._hand.at(self._shot.pose, np.array([begin_s, begin_s + open_s]))
        middle = self._shot.lens.pixels(poses.seen(np.zeros(3)))
        return float(np.linalg.norm(middle[1] - middle[0]))

    def _seen(
        self, front: NDArray[np.float32], around: NDArray[np.float32], rows_s: Floats
    ) -> NDArray[np.float32]:
        """Both through the lens, each line at its own time: a mosaic (4, h/2, w/2)."""
        pose = self._hand.at(self._shot.pose, rows_s)
        pose = Pose(pose.turn[:, None], pose.place_mm[:, None])
        mm = pose.on_wall(self._rays)
        camera = self._setting.camera
        high, wide = camera.height // 2, camera.width // 2
        # What is around has no fine parts: half as many px do.
        at = self._room.raster.px(mm).astype(np.float32)
        rough = cv2.remap(
            around, _between(at, 4, (1.5, 1.5), (0, 0, wide // 2, high // 2)), None,
            cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE,
        )  # fmt: skip
        at = self._face.raster.px(mm).astype(np.float32)
        box = self._box(at)
        left, top, right, bottom = box
        mosaic = np.empty((4, high, wide), np.float32)
        for number, channel in enumerate((0, 1, 1, 2)):
            plane = mosaic[number]
            cv2.resize(cv2.extractChannel(rough, channel), (wide, high), plane)
            fine = _between(at, 2, (number % 2, number // 2), box)
            # The front covers the middle of its surroundings.
            part = np.ascontiguousarray(plane[top:bottom, left:right])
            cv2.remap(
                cv2.extractChannel(front, channel), fine, None, cv2.INTER_LINEAR, part,
                cv2.BORDER_TRANSPARENT,
            )  # fmt: skip
            plane[top:bottom, left:right] = part
        return mosaic

    def _box(self, at: NDArray[np.float32]) -> tuple[int, int, int, int]:
        """Left, top, right, bottom of what shows the front, in px of the mosaic; at: raster px
        (…, 2) of the rays."""
        inside = np.all((at > -1) & (at < np.array(self._face.raster.shape[::-1])), axis=-1)
        rows, columns = np.flatnonzero(inside.any(axis=1)), np.flatnonzero(inside.any(axis=0))
        each = _GRID // 2
        most = self._setting.camera.width // 2, self._setting.camera.height // 2
        return (
            max(int(columns[0] - 1) * each, 0), max(int(rows[0] - 1) * each, 0),
            min(int(columns[-1] + 2) * each, most[0]), min(int(rows[-1] + 2) * each, most[1]),
        )  # fmt: skip


def _between(
    at: NDArray[np.float32], step: int, first: tuple[float, float], box: tuple[int, int, int, int]
) -> NDArray[np.float32]:
    """Values (h, w, 2) between those of the rays, at every `step` px of the picture.

    first: the px (x, y) of the first. box: left, top, right, bottom of the part, in such steps.
    """
    left, top, right, bottom = box
    fit = np.array(
        [
            [step / _GRID, 0, (first[0] + step * left) / _GRID],
            [0, step / _GRID, (first[1] + step * top) / _GRID],
        ]
    )
    how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    size = (right - left, bottom - top)
    return np.asarray(
        cv2.warpAffine(at, fit, size, flags=how, borderMode=cv2.BORDER_REPLICATE), np.float32
    )
