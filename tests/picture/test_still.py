from __future__ import annotations

import contextlib
import warnings

import numpy as np
import pytest
from PIL import Image

from emulator.errors import OutOfRangeError, SourceError
from emulator.picture.fit import fit
from emulator.picture.srgb import srgb_to_linear
from emulator.picture.still import Pan, Still, StillFolder, read_picture
from tests.picture.media import PHOTO, photo, wall


def one_colour(path, *colour):
    Image.new("RGB", (8, 8), colour).save(path)
    return path


def code(value):
    """Linear light of a code value, by IEC 61966-2-1."""
    return pytest.approx(float(srgb_to_linear(value / 255)), abs=1e-6)


def test_a_picture_file_is_read_as_pillow_reads_it():
    with Image.open(PHOTO) as image:
        assert (read_picture(PHOTO) == np.asarray(image)).all()


def test_a_photograph_taken_upright_is_shown_upright(tmp_path):
    upright = photo(30, 40)
    lying = Image.fromarray(np.rot90(upright))
    exif = lying.getexif()
    exif[0x0112] = 6  # Exif 2.3, Orientation: the first row of the file is the right-hand side
    lying.save(tmp_path / "a.png", exif=exif)
    assert (read_picture(tmp_path / "a.png") == upright).all()


def test_what_is_transparent_is_dark(tmp_path):
    coated = Image.new("RGBA", (2, 1), (255, 255, 255, 255))
    coated.putpixel((1, 0), (255, 255, 255, 0))
    coated.save(tmp_path / "a.png")
    assert read_picture(tmp_path / "a.png")[0].tolist() == [[255] * 3, [0] * 3]


def test_sixteen_bits_of_grey_keep_their_level(tmp_path):
    Image.fromarray(np.array([[0, 32896, 65535]], dtype=np.uint16)).save(tmp_path / "a.png")
    # 65535 is white and 257 steps of it one of 255, in PNG as in sRGB
    assert read_picture(tmp_path / "a.png")[0, :, 0].tolist() == [0, 128, 255]


@pytest.mark.parametrize("content", [b"", b"no picture", b"\x89PNG\r\n\x1a\n" + bytes(40)])
def test_a_file_that_is_no_picture_is_told(tmp_path, content):
    (tmp_path / "a.png").write_bytes(content)
    with pytest.raises(SourceError, match=r"a\.png cannot be read(.|\n)*Fix"):
        Still(tmp_path / "a.png")


def test_a_cut_off_file_is_told(tmp_path):
    (tmp_path / "a.jpg").write_bytes(PHOTO.read_bytes()[:20_000])
    with pytest.raises(SourceError, match="cannot be read"):
        read_picture(tmp_path / "a.jpg")


def test_a_missing_file_is_told(tmp_path):
    with pytest.raises(SourceError, match="there is no picture"):
        Still(tmp_path / "a.png")


def test_a_still_is_fitted_in_the_walls_own_proportions():
    tall_cells = wall(6, 4, row_pitch_mm=20.0)
    picture = Still(photo(), how="whole")(0, tall_cells)
    assert (picture == fit(photo(), (4, 6), "whole", aspect=2.0)).all()


def test_a_caller_may_write_to_a_picture():
    still, display = Still(photo()), wall(6, 4)
    still(0, display)[:] = 0
    assert still(0, display).any()


@pytest.mark.parametrize(("size", "wide"), [((96, 24), 0.25), ((24, 96), 1.0)])
def test_a_pan_goes_from_edge_to_edge_and_back(size, wide):
    image = photo(*size)
    display = wall(8, 8)
    pan = Pan(image, period_s=20)
    high = 1.0 if wide < 1 else 0.25
    begin = fit(image, (8, 8), region=(0, 0, wide, high))
    end = fit(image, (8, 8), region=(1 - wide, 1 - high, wide, high))
    assert pan(0, display) == pytest.approx(begin, abs=1e-6)
    assert pan(10, display) == pytest.approx(end, abs=1e-6)
    assert pan(20, display) == pytest.approx(begin, abs=1e-6)
    assert pan(5, display) == pytest.approx(pan(15, display), abs=1e-6)


def test_a_pan_moves_by_parts_of_a_cell_and_starts_without_a_jolt():
    ramp = np.linspace(0, 1, 400)[None, :].repeat(50, axis=0)  # light that grows to the right
    display = wall(8, 8)
    pan = Pan(ramp, period_s=60)
    middle = np.array([pan(t, display)[4, 4, 0] for t in np.arange(0, 30, 0.1)])
    steps = np.diff(middle)
    cell = (middle[-1] - middle[0]) / (400 / 50 * 8 - 8)  # of its whole travel, in cells
    assert (steps >= -1e-6).all()
    assert steps.max() < cell / 2
    assert steps[0] < steps.max() / 20


def test_a_pan_shows_what_lies_between_the_ends_exactly_enough():
    image, display = photo(800, 200), wall(8, 8)
    pan = Pan(image, period_s=60)
    for time_s in (3.0, 9.7, 14.2, 21.1):
        left = 0.75 * (1 - np.cos(2 * np.pi * time_s / 60)) / 2
        exact = fit(image, (8, 8), region=(left, 0, 0.25, 1))
        assert np.abs(pan(time_s, display) - exact).max() < 0.01  # of full light


def test_a_pan_zooms_between_parts_of_unlike_sizes():
    display = wall(8, 8)
    part = (0.5, 0.25, 0.25, 0.25)
    pan = Pan(photo(64, 64), period_s=20, start=(0, 0, 1, 1), end=part)
    assert pan(0, display) == pytest.approx(fit(photo(64, 64), (8, 8)), abs=1e-6)
    # The picture is reduced to 8 pixels a cell of the finest part, which here is all it has.
    assert pan(10, display) == pytest.approx(fit(photo(64, 64), (8, 8), region=part), abs=1e-6)


def test_a_pan_without_a_period_is_refused():
    with pytest.raises(OutOfRangeError, match="period"):
        Pan(photo(), period_s=0)


def test_a_folder_shows_each_picture_in_turn_and_fades(tmp_path):
    one_colour(tmp_path / "a.png", 100, 0, 0)
    one_colour(tmp_path / "b.png", 200, 0, 0)
    display = wall(2, 2)
    folder = StillFolder(tmp_path, seconds=10, fade_s=2)

    def red(time_s):
        return folder(time_s, display)[0, 0, 0]

    assert red(0) == red(9.9) == code(100)
    assert red(11) == pytest.approx((code(100).expected + code(200).expected) / 2, abs=1e-6)
    assert red(12) == red(19) == code(200)
    assert red(23) == code(100)
    assert red(5) == code(100)  # the show's time may go back


def test_a_folder_takes_up_new_pictures_and_passes_over_broken_ones(tmp_path, caplog):
    one_colour(tmp_path / "a.png", 100, 0, 0)
    (tmp_path / "b.png").write_bytes(b"half a pict")
    (tmp_path / ".hidden.png").write_bytes(b"")
    display = wall(2, 2)
    folder = StillFolder(tmp_path, seconds=10, fade_s=0)
    reds = [folder(t, display)[0, 0, 0] for t in (0, 10, 20, 30)]
    assert reds == [code(100)] * 4
    assert [record.levelname for record in caplog.records] == ["WARNING"]
    assert "b.png" in caplog.text
    one_colour(tmp_path / "c.png", 200, 0, 0)
    assert {round(float(folder(t, display)[0, 0, 0]), 3) for t in (40, 50, 60)} == {
        round(code(v).expected, 3) for v in (100, 200)
    }


def test_a_folder_without_pictures_says_so_until_there_is_one(tmp_path):
    folder, display = StillFolder(tmp_path), wall(2, 2)
    with pytest.raises(SourceError, match="no picture that can be read"):
        folder(0, display)
    one_colour(tmp_path / "a.png", 255, 255, 255)
    assert (folder(0, display) == 1).all()
    with pytest.raises(SourceError, match="cannot be read"):
        StillFolder(tmp_path / "none")(0, display)


@pytest.mark.slow
def test_a_picture_of_a_hundred_million_pixels_is_shown_without_a_word(tmp_path):
    path = tmp_path / "panorama.png"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Image, "MAX_IMAGE_PIXELS", None)
        Image.new("1", (1_000_000, 100), 1).save(path)
    assert Pan(path)(3, wall(12, 8)).min() == pytest.approx(1)  # warnings are errors here


@pytest.mark.slow
@pytest.mark.parametrize("side", [12_000, 20_000])  # we refuse the one, Pillow the other
def test_a_picture_that_would_fill_the_memory_is_refused(tmp_path, side):
    path = tmp_path / "bomb.png"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Image, "MAX_IMAGE_PIXELS", None)
        Image.new("1", (side, side)).save(path)
    with pytest.raises(SourceError, match="make it smaller"):
        read_picture(path)


def test_floats_without_a_known_white_are_refused(tmp_path):
    path = tmp_path / "scene.tif"
    Image.fromarray(np.ones((2, 2), np.float32)).save(path)
    with pytest.raises(SourceError, match="which value is white"):
        read_picture(path)


# The formats of Pillow, CMYK as printers use it: ink takes light away.
def test_ink_is_read_as_the_light_it_leaves(tmp_path):
    path = tmp_path / "print.tif"
    Image.fromarray(
        np.array([[[0, 0, 0, 0], [0, 255, 255, 0], [0, 0, 0, 255]]], np.uint8), "CMYK"
    ).save(path)
    assert read_picture(path).tolist() == [[[255, 255, 255], [255, 0, 0], [0, 0, 0]]]


@pytest.mark.parametrize("form", ["PNG", "JPEG", "GIF", "TIFF", "WEBP", "DDS", "BMP"])
def test_a_spoilt_file_is_read_or_told(tmp_path, form):
    path, chance = tmp_path / "picture", np.random.default_rng(7)
    image = Image.fromarray(chance.integers(0, 256, (9, 11, 3), np.uint8))
    image.save(path, format=form)
    whole = path.read_bytes()
    for _ in range(60):
        spoilt = bytearray(whole[: chance.integers(1, len(whole) + 1)])
        for place in chance.integers(0, len(spoilt), 3):
            spoilt[place] = chance.integers(256)
        path.write_bytes(spoilt)
        with contextlib.suppress(SourceError), warnings.catch_warnings():
            warnings.simplefilter("ignore")  # Pillow warns of some that it reads
            assert read_picture(path).shape[2] == 3
