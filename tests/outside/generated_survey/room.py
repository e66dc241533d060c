"""What else the camera sees: the board, the room, a window, a passer-by; light of the mains."""

from dataclasses import dataclass

import cv2
import numpy as np

from tests.outside.generated_survey.camera import View


@dataclass(frozen=True)
class Room:
    """The still light of a room, in shares of a lit LED: `level` on the room's wall, `board` the
    board's reflectance, `window` the brightness of a window (0: none), `lamps` other lights,
    `mains_hz` and `ripple` of the room's light, `passer` the (first, last) second of a person who
    walks through."""

    level: float = 0.05
    board: float = 0.2
    window: float = 0.0
    lamps: int = 0
    mains_hz: float = 50.0
    ripple: float = 0.0
    passer: tuple[float, float] | None = None

    def still(self, view: View, size: tuple[float, float], rng: np.random.Generator) -> np.ndarray:
        """The picture (rows, columns, 3) of the room without the LEDs."""
        rows, columns = view.height, view.width
        slope = (
            np.linspace(1.2, 0.7, columns)[None, :, None]
            * np.linspace(1.1, 0.8, rows)[:, None, None]
        )
        rough = cv2.resize(rng.normal(1, 0.15, (rows // 16, columns // 16, 3)), (columns, rows))
        picture = (self.level * slope * rough * np.array([1.0, 0.95, 0.85])).astype(np.float32)
        across, down = size
        for _ in range(4):  # furniture
            x, y = rng.integers(0, columns), rng.integers(rows // 2, rows)
            cv2.rectangle(
                picture,
                (int(x), int(y)),
                (int(x + columns // 6), rows),
                [float(self.level * rng.random())] * 3,
                -1,
            )
        corners = [
            [-0.8, -0.8, 0],
            [across + 0.8, -0.8, 0],
            [across + 0.8, down + 0.8, 0],
            [-0.8, down + 0.8, 0],
        ]
        board = np.round(view(np.array(corners, float)) * 16).astype(np.int32)
        cv2.fillPoly(picture, [board], [self.level * self.board] * 3, lineType=cv2.LINE_AA, shift=4)
        if self.window:
            left = int(rng.integers(0, 2)) * int(columns * 0.88)
            window = picture[int(rows * 0.1) : int(rows * 0.6), left : left + int(columns * 0.12)]
            window[:] = self.window * np.array([0.9, 1.0, 1.1])
            window[:, window.shape[1] // 2] *= 0.2  # its bar
        for _ in range(self.lamps):
            spot = (int(rng.integers(0, columns)), int(rng.integers(0, rows)))
            cv2.circle(picture, spot, int(rng.integers(3, 9)), [1.2, 1.0, 0.7], -1, cv2.LINE_AA)
        return cv2.GaussianBlur(picture, (0, 0), 0.8)

    def behind(self, view: View, time: float) -> np.ndarray | None:
        """The share (rows, columns, 1) of light that passes the person, or None."""
        if self.passer is None or not self.passer[0] <= time <= self.passer[1]:
            return None
        rows, columns = view.height, view.width
        along = (time - self.passer[0]) / (self.passer[1] - self.passer[0])
        mask = np.ones((rows, columns), np.float32)
        x = int((1.3 * along - 0.15) * columns)
        cv2.ellipse(mask, (x, int(rows * 0.8)), (columns // 14, rows // 2), 0, 0, 360, 0.0, -1)
        cv2.circle(mask, (x, int(rows * 0.28)), columns // 26, 0.0, -1)
        return cv2.GaussianBlur(mask, (0, 0), 2)[..., None]

    def ripples(self, when: np.ndarray) -> np.ndarray:
        """The room's light at each time (R,), as a share of its mean."""
        return 1 + self.ripple * np.cos(2 * np.pi * 2 * self.mains_hz * when)
