"""The drawn wall, against a direct sum over all LEDs in float64."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import Display, load_display, parse_display
from emulator.description.wiring import shorthand
from emulator.light.look import Look
from emulator.light.primaries import chip_primaries
from emulator.light.screen import into_gamut, screen_from_drive
from emulator.light.wall import WallView
from tests.light.direct import direct_lux, srgb_codes
from tests.tables import telling


def wall(
    columns: int,
    rows: int,
    depth_mm: float = 15,
    row_pitch_mm: float = 20,
    cover: str = "",
    emitter_mm: float = 0.0,
) -> Display:
    made = parse_display(
        f"[grid]\ncolumns = {columns}\nrows = {rows}\n"
        f"pitch_mm = 20\nrow_pitch_mm = {row_pitch_mm}\n"
        '[chip]\npart = "WS2812B-V5"\n[wiring]\nlines = 1\n'
        f"[cover]\ndepth_mm = {depth_mm}\n{cover}\n",
        Path("wall.toml"),
    )
    return replace(made, chip=replace(made.chip, emitter_mm=emitter_mm))


class Direct:
    """Codes of the direct sum, exposed so that a wall lit all over is just white."""

    def __init__(self, display: Display, view: WallView) -> None:
        self.display, self.size = display, (view.width, view.height)
        self.most = self.lux(np.ones(display.picture_shape)).max()

    def lux(self, cells: np.ndarray) -> np.ndarray:
        return direct_lux(self.display, cells, *self.size)

    def __call__(self, cells: np.ndarray) -> np.ndarray:
        return srgb_codes(self.lux(cells) / self.most)


def pictures(rows: int, columns: int) -> list[np.ndarray]:
    """By chance; half lit and half dark, where far light would show most; a lone LED."""
    rng = np.random.default_rng(3)
    half, lone = np.zeros((2, rows, columns, 3))
    half[: rows // 2] = 1
    lone[rows // 2, columns // 3] = 1
    return [a.astype(np.float32) for a in (rng.random((rows, columns, 3)) ** 3, half, lone)]


@pytest.mark.parametrize(
    ("walls", "depth_mm", "row_pitch_mm"),
    telling(
        [
            (walls, *sizes)
            for sizes in [(3, 20), (8, 31.7), (15, 20), (60, 31.7)]
            for walls in ["none", "black", "white"]
        ],
        lambda case: case in {("none", 15, 20), ("black", 8, 31.7), ("white", 60, 31.7)},
    ),
)
def test_a_wall_is_within_one_code_value_of_the_direct_sum(walls, depth_mm, row_pitch_mm):
    display = wall(9, 7, depth_mm, row_pitch_mm, f"walls = '{walls}'\nscatter_mm = 1.5")
    view = WallView(display, 230)
    direct = Direct(display, view)
    for cells in pictures(7, 9):
        drawn = view.draw(cells).astype(int)
        assert np.abs(drawn - direct(cells)).max() <= 1


@pytest.mark.parametrize(
    ("walls", "depth_mm", "emitter_mm", "along"),
    telling(
        [
            ("none", 6, 6.0, "rows"),
            ("black", 4, 8.0, "rows"),
            ("black", 15, 5.0, "columns"),
            ("white", 20, 4.0, "columns"),
        ],
        lambda case: case[0] == "black",
    ),
)
def test_square_sources_off_centre_are_within_one_code_value_too(
    walls, depth_mm, emitter_mm, along
):
    cover = f"walls = '{walls}'\noff_centre_mm = 2.3\nscatter_mm = 0.8"
    display = wall(5, 4, depth_mm, cover=cover, emitter_mm=emitter_mm)
    if along == "columns":
        display = replace(display, wiring=shorthand(display.grid.gap_mask(), along="columns"))
    view = WallView(display, 200)
    direct = Direct(display, view)
    for cells in pictures(4, 5):
        drawn = view.draw(cells).astype(int)
        assert np.abs(drawn - direct(cells)).max() <= 1


def test_openings_smaller_than_the_pitch_leave_dark_bars():
    display = wall(5, 4, 12, cover="walls = 'black'\nopening_mm = 12\nscatter_mm = 0.7")
    view = WallView(display, 200)
    cells = np.ones(display.picture_shape, np.float32)
    drawn = view.draw(cells).astype(int)
    assert np.abs(drawn - Direct(display, view)(cells)).max() <= 1
    assert drawn[20, 40].max() < 10, "between two openings"
    assert drawn[20, 20].min() > 250, "before an LED"


@pytest.mark.slow
def test_a_large_wall_without_walls_is_within_one_code_value_too():
    # 60 cells of 20 mm: most of the light of the far ones by way of samples.
    display = wall(60, 4, 5, cover="walls = 'none'")
    view = WallView(display, 300)
    cells = np.ones(display.picture_shape, np.float32)
    cells[:, 20:] = 0
    assert np.abs(view.draw(cells).astype(int) - Direct(display, view)(cells)).max() <= 1


def dimmed(light: np.ndarray) -> np.ndarray:
    """Each colour above white as bright as its strongest channel can be, in the same ratios."""
    return light / np.maximum(light.max(axis=-1, keepdims=True), 1)


def test_light_above_full_drive_keeps_its_hue():
    display = wall(5, 5)
    view = WallView(display, 200)
    cells = np.random.default_rng(4).random((5, 5, 3)).astype(np.float32) * 2  # RGBW: W adds
    drawn = view.draw(cells).astype(int)
    size = view.width, view.height
    most = direct_lux(display, np.ones(display.picture_shape), *size).max()
    wanted = srgb_codes(dimmed(direct_lux(display, cells, *size) / most))
    assert np.abs(drawn - wanted).max() <= 1
    assert drawn.max() == 255


def test_orange_overexposed_is_orange_and_not_yellow():
    view = WallView(wall(1, 1, depth_mm=5), 201)
    view.expose(0, view.peak_cdm2 / 3)
    orange = np.array([1, 0.4, 0.1], np.float32).reshape(1, 1, 3)
    middle = view.draw(orange)[100, 100].astype(int)
    assert np.abs(middle - srgb_codes(np.array([1, 0.4, 0.1]))).max() <= 1


@pytest.mark.parametrize("walls", ["none", "black", "white"])
def test_black_is_black_and_a_wall_lit_all_over_just_white(walls):
    view = WallView(wall(31, 31, 25, cover=f"walls = '{walls}'"), 31 * 9)
    assert view.draw(np.zeros((31, 31, 3), np.float32)).max() == 0
    middle = view.draw(np.ones((31, 31, 3), np.float32))[15 * 9 + 4, 15 * 9 + 4]
    assert middle.tolist() == [255, 255, 255]


def test_the_tone_curve_is_within_one_code_value_at_every_level():
    # One cell whose brightest pixel is its middle: that shows the light of the LED itself.
    display = wall(1, 1, depth_mm=5)
    view = WallView(display, 201)
    levels = np.concatenate([np.arange(256) / 255, np.linspace(0, 0.02, 400)])
    spot = [view.draw(np.full((1, 1, 3), v, np.float32))[100, 100, 0] for v in levels]
    assert np.abs(np.array(spot, int) - srgb_codes(levels)).max() <= 1
    assert spot[0] == 0
    assert spot[255] == 255


def test_ambient_light_lifts_the_dark_and_leaves_white_white():
    display = wall(6, 5, cover="transmission = 0.4")
    view = WallView(display, 240, Look(ambient_lx=500))
    glare = 500 * 0.6 / np.pi  # what does not pass is thrown back; a matt face: L = E·ρ/π
    dark = view.draw(np.zeros(display.picture_shape, np.float32)).astype(int)
    assert np.ptp(dark) == 0
    assert abs(dark[0, 0, 0] - srgb_codes(np.array(glare / (glare + view.peak_cdm2)))) <= 1
    assert view.draw(np.ones(display.picture_shape, np.float32)).max() == 255
    view.expose(0)
    assert view.draw(np.zeros(display.picture_shape, np.float32)).max() == 0


def test_exposed_for_twice_the_light_a_wall_shows_half():
    display = wall(1, 1, depth_mm=5)
    view = WallView(display, 201)
    view.expose(0, 2 * view.peak_cdm2)
    shown = view.draw(np.ones((1, 1, 3), np.float32))[100, 100]
    assert abs(int(shown[0]) - srgb_codes(np.array(0.5))) <= 1
    view.expose(0, view.peak_cdm2 / 4)
    assert view.draw(np.full((1, 1, 3), 0.5, np.float32)).max() == 255


@pytest.mark.parametrize(
    "walls", telling(["none", "black", "white"], lambda walls: walls == "black")
)
def test_overexposed_ten_times_what_is_left_is_within_one_code_value(walls):
    display = wall(9, 7, 8, cover=f"walls = '{walls}'\nscatter_mm = 1.5")
    view = WallView(display, 230)
    direct = Direct(display, view)
    view.expose(0, view.peak_cdm2 / 10)
    for cells in pictures(7, 9):
        drawn = view.draw(cells).astype(int)
        wanted = srgb_codes(dimmed(10 * direct.lux(cells) / direct.most))
        assert np.abs(drawn - wanted).max() <= 1
        assert drawn.max() == 255


def test_luminance_is_that_of_a_matt_front_over_the_direct_sum():
    display = wall(4, 3, cover="transmission = 0.4")
    view = WallView(display, 120)
    cells = pictures(3, 4)[0]
    # Share of each channel in the candela of full white: WS2812B datasheet, 405, 690, 190 mcd.
    candela = cells.astype(float) @ np.array([0.405, 0.690, 0.190])
    lux = direct_lux(display, np.repeat(candela[..., None], 3, axis=-1), 120, view.height)[..., 0]
    found = view.luminance(cells)
    assert found == pytest.approx(lux * 0.4 / np.pi, rel=2e-3, abs=1e-3 * float(found.max()))
    ones = np.ones(display.picture_shape, np.float32)
    assert view.luminance(ones).max() == pytest.approx(view.peak_cdm2, rel=1e-4)
    before = view.draw(cells).copy()
    view.luminance(cells)
    assert (view.draw(cells) == before).all(), "the exposure is as it was"


def test_the_light_of_a_white_channel_is_its_own():
    text = "[grid]\ncolumns=1\nrows=1\n[chip]\npart='SK6812-RGBW'\n[wiring]\n"
    cover = "[cover]\ndepth_mm=200\nwalls='none'\ntransmission=0.4\n"
    display = parse_display(text + cover, Path("one.toml"))
    view = WallView(display, 33, Look(led_colours=True))

    def cells(*light: float) -> np.ndarray:
        return np.array(light, np.float32).reshape(1, 1, -1)

    def middle(*light: float) -> float:
        return float(view.luminance(cells(*light))[16, 16])

    # E = I/h² straight ahead, L = E·τ/π; candela: W 1.9, else as the WS2812B datasheet has them.
    unit = 0.4 / np.pi / 0.2**2
    assert middle(1, 1, 1) == pytest.approx(1.9 * unit, rel=2e-3)
    assert middle(0, 0, 0, 1) == middle(1, 1, 1)
    assert middle(1, 1, 1, 0) == pytest.approx(1.285 * unit, rel=2e-3)
    assert middle(1, 0.25, 0.25) == pytest.approx((0.75 * 0.405 + 0.25 * 1.9) * unit, rel=2e-3)
    # An eye used to W sees it as white, and R, G and B together as blue.
    white, three = view.draw(cells(0, 0, 0, 1)).copy(), view.draw(cells(1, 1, 1, 0))
    assert white[16, 16].tolist() == [255, 255, 255]
    assert three[16, 16, 2] > three[16, 16, 0] + 60
    plain = WallView(display, 33)
    assert (plain.draw(cells(0, 0, 0, 1))[16, 16] == 255).all(), "white as the picture means it"


def test_led_colours_are_those_of_the_primaries_in_the_screen_s_gamut():
    display = wall(1, 1, depth_mm=200, cover="walls = 'none'")
    view = WallView(display, 33, Look(led_colours=True))
    matrix = screen_from_drive(chip_primaries(display.chip))
    for drive in ([1, 1, 1], [1, 0, 0], [0, 1, 0], [0, 0, 1], [0.2, 0.7, 0.1]):
        cells = np.array(drive, np.float32).reshape(1, 1, 3)
        wanted = srgb_codes(into_gamut(cells @ matrix)[0, 0])
        assert np.abs(view.draw(cells)[16, 16].astype(int) - wanted).max() <= 1


def test_frames_after_the_first_take_no_memory_to_speak_of():
    view = WallView(load_display("foyer"), 960)
    cells = np.random.default_rng(2).random((20, 36, 3)).astype(np.float32)
    view.draw(cells)
    tracemalloc.start()
    for _ in range(3):
        view.draw(cells)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most < 64_000, "a row of floats is 11 kB, the picture 1.5 MB"


@pytest.mark.parametrize("flip", [np.fliplr, np.flipud], ids=["left-right", "top-bottom"])
def test_a_mirrored_wall_is_drawn_mirrored(flip):
    view = WallView(wall(10, 6), 333)
    cells = np.random.default_rng(5).random((6, 10, 3)).astype(np.float32)
    plain = view.draw(cells).astype(int).copy()
    mirrored = view.draw(np.ascontiguousarray(flip(cells))).astype(int)
    # One code value where a sum in another order rounds the other way.
    assert np.abs(mirrored - flip(plain)).max() <= 1


def test_a_view_draws_onto_any_memory_it_is_given():
    view = WallView(wall(6, 5), 230)
    cells = np.random.default_rng(6).random((5, 6, 3)).astype(np.float32)
    plain = view.draw(cells).copy()
    memory = np.full((view.width, view.height, 4), 7, np.uint8)  # as a screen has it: x, y, BGRX
    onto = memory[:, :, 2::-1].swapaxes(0, 1)
    assert view.draw(cells, onto=onto) is onto
    assert (onto == plain).all()
    assert (memory[:, :, 3] == 7).all()


@given(
    st.integers(1, 12), st.integers(1, 12), st.integers(1, 150), st.sampled_from([7.0, 20.0, 55.0])
)
def test_cell_at_finds_the_cell_of_each_led_and_nothing_beside_the_wall(
    columns, rows, pixels_wide, row_pitch_mm
):
    view = WallView(wall(columns, rows, row_pitch_mm=row_pitch_mm), pixels_wide)
    assert view.width >= columns
    assert view.height >= rows
    for column in range(columns):
        for row in range(rows):
            x = int((column + 0.5) * view.width / columns)
            y = int((row + 0.5) * view.height / rows)
            assert view.cell_at(x, y) == (column, row)
    for x, y in ((-1, 0), (0, -1), (view.width, 0), (0, view.height)):
        assert view.cell_at(x, y) is None


def test_the_picture_keeps_the_wall_s_proportions():
    assert WallView(wall(30, 10, row_pitch_mm=40), 600).height == 400


def test_a_wall_on_end_is_drawn_narrower_rather_than_without_bounds():
    text = "[grid]\ncolumns=1\nrows=300\n[chip]\npart='SK6812'\n[wiring]\n"
    view = WallView(parse_display(text, Path("wall.toml")), 960)
    assert view.height <= 8192
    assert view.width == 27  # 8192 / 300


def test_a_frame_in_the_leds_colours_needs_no_arrays_as_large_as_the_wall():
    display = parse_display(
        "[grid]\ncolumns = 128\nrows = 128\n[chip]\npart = 'WS2812B'\n[wiring]\n",
        Path("wall.toml"),
    )
    view = WallView(display, 256, Look(white_cdm2=100.0, led_colours=True))
    cells = np.random.default_rng(9).random(display.picture_shape, dtype=np.float32)
    view.draw(cells)
    tracemalloc.start()
    view.draw(cells)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most < cells.nbytes
