"""The film maker against other libraries and closed forms: what it films is known that well."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from emulator import load_display

cv2 = pytest.importorskip("cv2", reason="needs opencv: pip install 'foreglow[camera]'")
av = pytest.importorskip("av", reason="needs PyAV: pip install 'foreglow[video]'")
pytest.importorskip("scipy", reason="needs scipy")

from tests.harness.survey.filming import true_places, walls  # noqa: E402
from tests.harness.survey.filming.files import write_film  # noqa: E402
from tests.harness.survey.filming.lens import Lens, looking  # noqa: E402
from tests.harness.survey.filming.scene import ROUGH, Scene  # noqa: E402
from tests.harness.survey.filming.sensor import tone_curve  # noqa: E402
from tests.harness.survey.filming.settings import (  # noqa: E402
    Camera,
    Clip,
    Front,
    Place,
    Room,
    Setting,
)
from tests.harness.survey.filming.shot import pitch_of, shot_of  # noqa: E402
from tests.harness.survey.filming.shutter import Played, Pwm, mean_light  # noqa: E402

# A hand-made case: 1280 × 720 px, a strong barrel, decentred, before a board of 9 × 6.
LENS = Lens(1000.0, (652.0, 349.0), (-0.28, 0.11, 0.0012, -0.0007, -0.02))
BOARD = np.stack(
    (*np.meshgrid(np.arange(9) * 40.0 - 160, np.arange(6) * 40.0 - 100), np.zeros((6, 9))), -1
)


def matrix(lens: Lens) -> np.ndarray:
    x, y = lens.middle_px
    return np.array([[lens.focal_px, 0, x], [0, lens.focal_px, y], [0, 0, 1]])


@pytest.mark.parametrize(
    "pose", [(0, 0, 0, 700), (45, -10, 5, 600), (-60, 20, 90, 900), (3, 2, 180, 800)]
)
def test_points_land_where_opencv_projects_them(pose: tuple[float, float, float, float]) -> None:
    """cv2.projectPoints with the same pose and lens, within a hundredth of a px."""
    camera = looking(*pose)
    turn, _ = cv2.Rodrigues(camera.turn)
    shift = -camera.turn @ camera.place_mm
    points = BOARD.reshape(-1, 3)
    expected, _ = cv2.projectPoints(points, turn, shift, matrix(LENS), np.array(LENS.distortion))
    assert LENS.pixels(camera.seen(points)) == pytest.approx(expected.reshape(-1, 2), abs=0.01)


def test_opencv_calibrates_the_lens_that_was_set() -> None:
    """cv2.calibrateCamera on ten views gives back focal length, axis and distortion."""
    rng = np.random.default_rng(15)
    views = [looking(*rng.uniform((-40, -30, -20, 450), (40, 30, 20, 700))) for _ in range(10)]
    seen = [LENS.pixels(view.seen(BOARD)).reshape(-1, 2).astype(np.float32) for view in views]
    board = BOARD.reshape(-1, 3).astype(np.float32)
    flags = cv2.CALIB_FIX_ASPECT_RATIO
    start = matrix(Lens(900.0, (640.0, 360.0)))
    error, found, distortion, *_ = cv2.calibrateCamera(
        [board] * len(seen),
        seen,
        (1280, 720),
        start,
        None,
        flags=flags | cv2.CALIB_USE_INTRINSIC_GUESS,
    )
    assert error < 0.01
    assert found == pytest.approx(matrix(LENS), rel=1e-3, abs=0.5)
    assert distortion.ravel()[:4] == pytest.approx(LENS.distortion[:4], abs=0.01)


def test_rays_lead_back_to_the_wall() -> None:
    camera = looking(-35, 12, 8, 800)
    assert camera.on_wall(LENS.rays(LENS.pixels(camera.seen(BOARD)))) == pytest.approx(
        BOARD[..., :2], abs=1e-3
    )


def test_the_camera_stands_on_the_side_that_is_named() -> None:
    """Right of the wall, the wall's right edge is nearer and so taller; above it, the upper one."""
    lens = Lens(1000.0, (0.0, 0.0))
    edges = np.array([[[x, y, 0.0] for y in (-100, 100)] for x in (-100, 100)], float)
    tall = np.diff(lens.pixels(looking(30, 0, 0, 900).seen(edges))[..., 1], axis=1).ravel()
    assert tall[1] > tall[0] > 0
    wide = np.diff(lens.pixels(looking(0, 30, 0, 900).seen(edges))[..., 0], axis=0).ravel()
    assert wide[0] > wide[1] > 0


def test_the_shutter_integrates_pulse_width_and_pictures() -> None:
    """Against a sum over 20,000 moments: three cells of other duty over a change of pictures."""
    pictures = np.array(
        [[[[0.2] * 3, [0.9] * 3, [0.0] * 3]], [[[0.7] * 3, [0.0] * 3, [0.5] * 3]]], np.float32
    )
    show = Played(np.array([-np.inf, 0.104]), pictures)
    pwm = Pwm(np.array([[430.0, 1100.0, 2000.0]]), np.array([[0.1, 0.6, 0.9]]))
    begin_s = np.array([[0.1, 0.101, 0.102]])
    moments_s = begin_s[..., None] + (np.arange(20_000) + 0.5) / 20_000 * 0.007
    phase = (moments_s * pwm.hertz[..., None] + pwm.phase[..., None]) % 1
    duty = np.where(moments_s < 0.104, pictures[0, ..., :1], pictures[1, ..., :1])
    expected = (phase < duty).mean(axis=-1)
    assert mean_light(show, pwm, begin_s, 0.007)[..., 0] == pytest.approx(expected, abs=2e-3)


def test_the_tone_curve_is_that_of_srgb() -> None:
    """The way back of IEC 61966-2-1: light of 0.4 codes more or less than a code gives it."""
    code = np.arange(256)
    value = np.clip((code + np.array([[-0.4], [0.4]])) / 255, 0, 1)
    light = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    # A full pixel is 40,000 steps of the table.
    assert (tone_curve(1.0, 0.0)[np.round(40_000 * light).astype(int)] == code).all()
    assert tone_curve(2.0, 0.0)[20_000:].min() == 255


def still_setting(**place: float) -> Setting:
    """A bare wall in the dark, a small picture, nothing that blurs or moves."""
    return Setting(
        Front("bare", glued_mm=0.0, spread=0.0, leak=0.0),
        Room(lux=0.001, flicker=0.0, lamps=0),
        Camera(width=480, height=270, distortion=(-0.2, 0.05, 0.001, -0.001, 0.0), blur_px=0.7),
        Place(sway=0.0, **place),
        pwm_hz=1e6,
    )


def test_a_lit_cell_is_filmed_where_opencv_projects_it() -> None:
    """The light's centroid in the mosaic against cv2.projectPoints, within a tenth of a px."""
    display = load_display("sign")
    setting = still_setting(azimuth_deg=-35, elevation_deg=15, roll_deg=4, pitch_px=14)
    shot = shot_of(display, setting)
    assert pitch_of(shot) == pytest.approx(14, abs=0.01)
    scene = Scene(display, setting, shot, 1.0, np.random.default_rng(1))
    turn, _ = cv2.Rodrigues(shot.pose.turn)
    shift = -shot.pose.turn @ shot.pose.place_mm
    for row, column in ((0, 0), (3, 9), (7, 15)):
        light = np.zeros((1, *display.picture_shape), np.float32)
        light[0, row, column] = 0.5
        seen = scene.frame(Played(np.array([-np.inf]), light), 0.0, 0.01)
        green = seen.fine[1:3]
        # Green px are right of red ones in even lines, and left of blue ones in odd lines.
        down, across = np.mgrid[: green.shape[1], : green.shape[2]] * 2.0
        down, across = down + ROUGH * seen.box[1], across + ROUGH * seen.box[0]
        green = np.where(green > 0.05 * green.max(), green, 0)
        total = green.sum()
        x = (green[0] * (across + 1) + green[1] * across).sum() / total
        y = (green[0] * down + green[1] * (down + 1)).sum() / total
        point = np.array([[(column - 7.5) * 6.944, (row - 3.5) * 6.944, 0.0]])
        expected, _ = cv2.projectPoints(
            point, turn, shift, matrix(shot.lens), np.array(shot.lens.distortion)
        )
        assert (x, y) == pytest.approx(expected.ravel(), abs=0.1)


@pytest.mark.parametrize("degrees", [90, 180, 270])
def test_players_turn_the_film_as_its_flag_says(tmp_path: Path, degrees: int) -> None:
    """FFmpeg, through PyAV, reads the display matrix; it counts anticlockwise."""
    setting = Setting(clip=Clip(rotation_deg=degrees))
    frames = ((tick / 30, np.full((64, 96, 3), 100, np.uint8)) for tick in range(3))
    assert write_film(tmp_path / "film.mp4", frames, setting) == 3
    with av.open(str(tmp_path / "film.mp4")) as film:
        read = list(film.decode(video=0))
    assert (read[0].rotation + degrees) % 360 == 0
    assert [float(frame.time) for frame in read] == pytest.approx([0, 1 / 30, 2 / 30], abs=1e-4)


def test_leds_lit_alone_are_where_the_plan_and_its_faults_put_them(tmp_path: Path) -> None:
    """Against the plan's own map, on chips with a common intensity and on others."""
    for name in ("sign", "bar"):
        wiring = (display := walls.wall(name, tmp_path)).wiring
        truth = true_places(display)
        numbers = np.arange(len(truth))
        assert truth.sum() == len(truth)
        assert truth[numbers, wiring.row[wiring.placed], wiring.column[wiring.placed]].all()
    dark = true_places(walls.wall("sign", tmp_path), ["led-dark led=5"])
    assert np.flatnonzero(~dark.any(axis=(1, 2))).tolist() == [5]
    lit = true_places(walls.wall("sign", tmp_path), ["channel-on led=3 channel=blue"])
    assert (lit == true_places(walls.wall("sign", tmp_path))).all()
