"""The light of each LED in the camera's picture: discs, squares or lamps behind paper."""

from dataclasses import dataclass

import numpy as np

from tests.outside.generated_survey.camera import View


@dataclass(frozen=True)
class Look:
    """How a cell lights up: its `shape`, `size` in pitches (radius, half side or standard
    deviation), a share of light on the `floor` below (a mirror image), and a share that spreads
    over a wide area (`glare`)."""

    shape: str = "disc"
    size: float = 0.3
    floor: float = 0.0
    glare: float = 0.0


@dataclass(frozen=True)
class Lamps:
    """Shares of light by pixel: `pixel`, `led` and `share` (K,) of a picture of `shape` (rows,
    columns)."""

    pixel: np.ndarray
    led: np.ndarray
    share: np.ndarray
    shape: tuple[int, int]
    glare: float

    def lit(self, light: np.ndarray) -> np.ndarray:
        """The picture (rows, columns, 3) of LEDs that give `light` (N, 3)."""
        rows, columns = self.shape
        flat = [
            np.bincount(self.pixel, self.share * light[self.led, k], rows * columns)
            for k in range(3)
        ]
        picture = np.stack(flat, axis=1).reshape(rows, columns, 3).astype(np.float32)
        if self.glare:
            import cv2

            small = cv2.resize(picture, (columns // 8, rows // 8), interpolation=cv2.INTER_AREA)
            wide = cv2.GaussianBlur(small, (0, 0), max(columns / 8 * 0.04, 1))
            picture += self.glare * cv2.resize(wide, (columns, rows))
        return picture


def lamps(
    view: View, places: np.ndarray, leds: np.ndarray, look: Look, blur: float, floor_y: float
) -> Lamps:
    """The pixels of LEDs at `places` (M, 2) of the wall, in column pitches; blur is the lens's, in
    pixels."""
    pixels, numbers, shares = [], [], []
    _drawn(view, places, leds, look, blur, 1.0, (pixels, numbers, shares))
    if look.floor:
        below = np.c_[places[:, 0], 2 * floor_y - places[:, 1]]
        _drawn(
            view,
            below,
            leds,
            Look("lamp", max(look.size, 0.5)),
            blur,
            look.floor,
            (pixels, numbers, shares),
        )
    return Lamps(
        np.concatenate(pixels),
        np.concatenate(numbers),
        np.concatenate(shares),
        (view.height, view.width),
        look.glare,
    )


def _drawn(view, places, leds, look, blur, gain, into) -> None:
    points = np.c_[places, np.zeros(len(places))]
    centres, stretches = view(points), view.local(points)
    for centre, stretch, led in zip(centres, stretches, leds, strict=True):
        scale = np.sqrt(abs(np.linalg.det(stretch)))
        reach = (
            look.size * (3.2 if look.shape == "lamp" else 1.5) * np.linalg.norm(stretch, 2)
            + 3 * blur
            + 1
        )
        left, top = np.maximum(np.floor(centre - reach), 0).astype(int)
        right, bottom = np.minimum(np.ceil(centre + reach) + 1, [view.width, view.height]).astype(
            int
        )
        if left >= right or top >= bottom:
            continue
        y, x = np.mgrid[top:bottom, left:right]
        u, v = np.linalg.solve(
            stretch, np.stack([x.ravel() + 0.5 - centre[0], y.ravel() + 0.5 - centre[1]])
        )
        soft = np.hypot(blur, 0.35) / scale  # the lens and the pixel, in pitches
        if look.shape == "lamp":
            sigma = np.hypot(look.size, soft)
            share = np.exp(-(u**2 + v**2) / (2 * sigma**2)) * (look.size / sigma) ** 2
        elif look.shape == "square":
            share = _edge(look.size - np.abs(u), soft) * _edge(look.size - np.abs(v), soft)
            share *= (_edge(look.size + np.abs(u), soft)) * _edge(look.size + np.abs(v), soft)
        else:
            spread = np.hypot(look.size, 1.5 * soft) if look.size < soft else look.size
            share = _edge(spread - np.hypot(u, v), soft) * (look.size / spread) ** 2
        keep = share > 1e-3
        into[0].append((y.ravel() * view.width + x.ravel())[keep])
        into[1].append(np.full(keep.sum(), led))
        into[2].append(gain * share[keep])


def _edge(inside: np.ndarray, soft: float) -> np.ndarray:
    """1 inside, 0 outside, over a width of about `soft`."""
    return 1 / (1 + np.exp(-1.7 * np.clip(inside / soft, -30, 30)))
