"""A film of a display that plays a pattern, or a still of each of its pictures."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from emulator.bench import Bench
from emulator.clock import SECOND_NS
from emulator.description.display import Display
from emulator.description.faults.fault import Fault
from harness.patterns.pattern import pattern
from tests.harness.survey.filming.scene import Scene
from tests.harness.survey.filming.sensor import Meter, Sensor
from tests.harness.survey.filming.settings import Setting
from tests.harness.survey.filming.shot import shot_of
from tests.harness.survey.filming.shutter import Played

Picture = NDArray[np.uint8]
PATTERN = "coded-film"
_LEGIBLE = 6  # code values


def played(
    display: Display, setting: Setting, faults: Sequence[Fault | str], rng: np.random.Generator
) -> Played:
    """What the wall shows from 0 s on, when the first step of the pattern begins."""
    shown = pattern(PATTERN)
    hold_s = _hold_s(setting)
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


def _hold_s(setting: Setting) -> float:
    """How long each picture of the pattern is shown."""
    pace = setting.clip.pace
    return pattern(PATTERN).hold_ms / 1000 if pace is None else 1 / pace


def true_places(display: Display, faults: Sequence[Fault | str] = ()) -> NDArray[np.bool_]:
    """(P, rows, columns) where each placed LED of the plan, in wiring order, lights as built.

    Each LED is lit alone on a bench, by its place in the data: none of the pattern's code is used.
    """
    bench = Bench(display, keep=1, faults=faults)
    numbers = np.flatnonzero(~display.wiring.hidden)
    places = np.zeros((len(numbers), display.grid.rows, display.grid.columns), bool)
    bench.leds.send()
    dark = bench.picture.sum(axis=-1)  # except for channels that are always on
    for place, number in enumerate(numbers):
        bench.leds[:] = 0
        bench.leds[int(number)] = (255, 255, 255)
        bench.leds.send()
        places[place] = bench.picture.sum(axis=-1) > dark
    return places


class Take:
    """A camera before a wall on which the pattern plays.

    steps_s: when the steps of the pattern begin, and when the last one ends. lasts_s: of the film.
    """

    def __init__(
        self, display: Display, setting: Setting, seed: int, faults: Sequence[Fault | str]
    ) -> None:
        self.rng = rng = np.random.default_rng([seed, 1])
        self._setting, clip, camera = setting, setting.clip, setting.camera
        show = played(display, setting, faults, rng)
        self._show = replace(show, starts_s=show.starts_s + clip.before_s)
        steps = pattern(PATTERN).steps(display) * clip.passes
        self.steps_s = clip.before_s + _hold_s(setting) * np.arange(steps + 1)
        self.lasts_s = float(self.steps_s[-1]) + clip.after_s
        self._shot = shot_of(display, setting)
        self._scene = Scene(display, setting, self._shot, self.lasts_s, rng)
        self._meter, self._sensor = Meter(camera), Sensor(camera, rng)
        pictures = self._show.pictures
        brightest = int(np.argmax(pictures.sum(axis=(1, 2, 3))))
        self._held = camera.exposure != "auto"
        self._meter.start(self._scene.still(pictures[brightest]).subject)
        if camera.exposure != "set":
            lit = self._meter.stops
            self._meter.start(self._scene.still(pictures[0]).subject)
            if self._held:
                # Whoever sees the wall as one white area films again.
                self._meter.stops = min(self._meter.stops, lit + 1.5)

    def picture(self, begin_s: float) -> Picture:
        """The picture (h, w, 3) whose first line is opened at a time of the film."""
        clip = self._setting.clip
        exposed = self._meter.exposed(self._setting.room.mains_hz, clip.fps)
        light = self._sensor.veil(self._scene.frame(self._show, begin_s, exposed.open_s))
        if not self._held:
            self._meter.sees(light.subject, begin_s)
        picture = self._sensor.develop(light, exposed)
        if clip.upright:
            picture = np.rot90(picture, -1)
        return np.ascontiguousarray(picture[:, ::-1] if clip.mirrored else picture)

    def legible(self) -> NDArray[np.bool_]:
        """(rows, columns) the cells that somebody who knows where they are could read.

        In a few pairs of picture and inverse, with the camera on a stand and its exposure settled,
        a legible cell differs by `_LEGIBLE` code values, in the mean of 3 × 3 px.
        """
        lit = self._show.pictures.sum(axis=-1) > 0
        pairs = np.flatnonzero(
            ((lit[:-1] ^ lit[1:]).sum(axis=(1, 2)) > 0.9 * lit.any(axis=0).sum())
            & (np.abs(lit[1:].sum(axis=(1, 2)) / lit.any(axis=0).sum() - 0.5) < 0.3)
        )
        at = np.round(self._shot.cells_px()).astype(int)
        size = np.array([self._setting.camera.width, self._setting.camera.height])
        inside = np.all((at >= 1) & (at < size - 1), axis=-1)
        column, row = np.moveaxis(np.where(inside[..., None], at, 1), -1, 0)
        least = np.full(lit.shape[1:], 255.0)
        for first in pairs[np.linspace(0, len(pairs) - 1, 5).astype(int)]:
            seen = [self._settled(first + step)[row, column].astype(float) for step in (0, 1)]
            least = np.minimum(least, (seen[0] - seen[1]) * np.where(lit[first], 1, -1))
        return np.asarray(inside & (least >= _LEGIBLE))

    def _settled(self, step: int) -> Picture:
        """The brightest channel (h, w) of a still picture, the mean of 3 × 3 px."""
        camera, clip = self._setting.camera, self._setting.clip
        light = self._sensor.veil(self._scene.still(self._show.pictures[step]))
        meter = self._meter
        if not self._held:
            meter = Meter(camera)
            meter.start(light.subject)
        exposed = meter.exposed(self._setting.room.mains_hz, clip.fps)
        picture = Sensor(replace(camera, smooth=0.0), self.rng).develop(light, exposed)
        return np.asarray(cv2.blur(picture, (3, 3)).max(axis=-1))


def filmed(
    display: Display,
    setting: Setting,
    seed: int,
    faults: Sequence[Fault | str] = (),
) -> Iterator[tuple[float, Picture]]:
    """(time in s from the start of the film, frame (h, w, 3) uint8 RGB) of the wall's pattern.

    The times are the file's: as captured, or of constant rate, as the setting says.
    """
    take = Take(display, setting, seed, faults)
    clip, rng, period_s = setting.clip, take.rng, 1 / setting.clip.fps
    last: Picture | None = None
    number = 0
    for tick in range(math.floor(take.lasts_s * clip.fps)):
        if rng.random() < clip.dropped:
            continue
        late_s = float(rng.normal(0, 0.0015)) if clip.varying else 0.0
        begin_s = (tick + float(np.clip(late_s / period_s, -0.4, 0.4))) * period_s
        if last is None or rng.random() >= clip.doubled:
            last = take.picture(begin_s)
        yield clip.starts_s + (begin_s if clip.varying else number * period_s), last
        number += 1


def photographed(
    display: Display,
    setting: Setting,
    seed: int,
    faults: Sequence[Fault | str] = (),
) -> Iterator[tuple[float, Picture]]:
    """(time in s, still (h, w, 3) uint8 RGB) of each picture of the pattern, as a film's."""
    take = Take(display, setting, seed, faults)
    for begin_s, end_s in zip(take.steps_s[:-1], take.steps_s[1:], strict=True):
        time_s = float(begin_s + take.rng.uniform(0.3, 0.7) * (end_s - begin_s))
        yield time_s, take.picture(time_s)
