"""The camera's sensor and its picture: rows in turn, exposure, noise, white balance, tone."""

from dataclasses import dataclass

import cv2
import numpy as np

from tests.outside.generated_survey.lamps import Lamps
from tests.outside.generated_survey.played import Played
from tests.outside.generated_survey.room import Room

BRIGHTEST = 2.25  # of full scale: the most that the tone curve takes


@dataclass(frozen=True)
class Sensor:
    """`shutter_s` a row is exposed, `readout_s` from the first row to the last; `gain` from light
    to full scale, `hunting` how much an automatic exposure moves it, `noise` at mid-scale;
    `balance` red, green, blue; `leak` of colours into each other; `tone` 'srgb', 'telephone' (a
    soft shoulder) or a gamma as text; `shake` in pixels; `bands` how deep the LEDs' own dimming
    cuts, at `pwm_hz`."""

    shutter_s: float = 1 / 60
    readout_s: float = 0.02
    gain: float = 0.7
    hunting: float = 0.0
    noise: float = 0.01
    balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    leak: float = 0.08
    tone: str = "srgb"
    shake: float = 0.0
    bands: float = 0.0
    pwm_hz: float = 430.0


class Shooting:
    """One camera before one wall: the picture of each moment."""

    def __init__(
        self, played: Played, light: np.ndarray, sensor: Sensor, room: Room, seed: int
    ) -> None:
        """light (S, N, 3): what each LED gives in each state, in linear light."""
        self.played, self.light, self.sensor, self.room = played, light, sensor, room
        self.rng = np.random.default_rng(seed)
        self.grain = self.rng.standard_normal(1 << 22, np.float32) * np.float32(sensor.noise * 85)
        self.tone = tones(sensor.tone)
        self.kept: dict[tuple[int, int], np.ndarray] = {}
        self.swing = self.rng.random(2) * 2 * np.pi
        self.mean: float | None = None

    def picture(self, time: float, lamps: Lamps, still: np.ndarray, view) -> np.ndarray:
        """The frame (rows, columns, 3) uint8 of which the first row opens at `time` of the
        pattern."""
        sensor, (rows, columns) = self.sensor, lamps.shape
        opens = time + np.arange(rows) / rows * sensor.readout_s
        closes = opens + sensor.shutter_s
        seen = np.zeros((rows, columns, 3), np.float32)
        for state, since, until in self.played.spans(opens[0], closes[-1]):
            share = (
                np.clip(np.minimum(closes, until) - np.maximum(opens, since), 0, None)
                / sensor.shutter_s
            )
            if self.light[state].any() and share.all() and share.min() == share.max():
                seen += self._lit(state, lamps) * np.float32(share[0])
            elif self.light[state].any() and share.any():
                seen += self._lit(state, lamps) * share[:, None, None].astype(np.float32)
        if sensor.bands:
            seen *= (1 + sensor.bands * np.sin(2 * np.pi * sensor.pwm_hz * opens))[
                :, None, None
            ].astype(np.float32)
        mains = self.room.ripples(opens)[:, None, None].astype(np.float32)
        seen += still * mains
        passer = self.room.behind(view, time)
        if passer is not None:
            seen = seen * passer + 0.3 * self.room.level * (1 - passer)
        return self._developed(self._moved(seen, time), time)

    def _lit(self, state: int, lamps: Lamps) -> np.ndarray:
        key = (state, id(lamps))
        if key not in self.kept:
            while len(self.kept) > 2:
                self.kept.pop(next(iter(self.kept)))
            self.kept[key] = lamps.lit(self.light[state])
        return self.kept[key]

    def _moved(self, seen: np.ndarray, time: float) -> np.ndarray:
        if not self.sensor.shake:
            return seen
        one, two = self.swing
        x = np.sin(2.1 * time + one) + 0.5 * np.sin(7.3 * time + two)
        y = np.cos(1.7 * time + two) + 0.5 * np.sin(6.1 * time + one)
        angle = 0.0004 * self.sensor.shake * np.sin(1.3 * time + one)
        rows, columns = seen.shape[:2]
        turn = cv2.getRotationMatrix2D((columns / 2, rows / 2), np.degrees(angle), 1)
        turn[:, 2] += np.array([x, y]) * self.sensor.shake / 1.5
        return cv2.warpAffine(seen, turn, (columns, rows), borderMode=cv2.BORDER_REPLICATE)

    def _developed(self, seen: np.ndarray, time: float) -> np.ndarray:
        sensor = self.sensor
        gain = sensor.gain
        if sensor.hunting:  # follows the mean light with a delay
            mean = float(seen[::8, ::8].mean())
            self.mean = mean if self.mean is None else 0.85 * self.mean + 0.15 * mean
            gain *= (1 - sensor.hunting) + sensor.hunting * 2 * mean / (mean + self.mean + 1e-6)
        mix = np.full((3, 3), sensor.leak) + (1 - 3 * sensor.leak) * np.eye(3)
        mix *= np.array(sensor.balance)[:, None] * gain * 255**2 / BRIGHTEST
        root = cv2.sqrt(
            cv2.transform(seen, mix)
        )  # here the noise of the light is the same everywhere
        start = int(self.rng.integers(len(self.grain) - root.size))
        root += self.grain[start : start + root.size].reshape(root.shape)
        return cv2.LUT(cv2.convertScaleAbs(root), self.tone)


def tones(name: str) -> np.ndarray:
    """(256,) uint8: the code values of light from 0 to BRIGHTEST of full scale, by its root."""
    raw = (np.arange(256) / 255) ** 2 * BRIGHTEST
    if name == "telephone":
        code = (1 - np.exp(-1.6 * raw)) ** (1 / 2.2)
    elif name == "srgb":
        code = np.where(
            raw < 0.0031308, 12.92 * raw, 1.055 * np.minimum(raw, 1) ** (1 / 2.4) - 0.055
        )
    else:
        code = raw ** (1 / float(name))
    return (code * 255 + 0.5).clip(0, 255).astype(np.uint8)
