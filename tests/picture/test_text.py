from __future__ import annotations

import itertools
import unicodedata

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

from emulator.errors import OutOfRangeError, SourceError
from emulator.picture.source import light_of
from emulator.picture.text import SPACE, Text, letters, place, small_letters, stacked
from tests.picture.media import FONT, wall

WHITE = (255, 255, 255)


def drawn(text, font, mode):
    """What Pillow draws, cut to its ink: 0…1."""
    image = Image.new(mode, (400, 80))
    full = 255 if mode == "L" else 1
    ImageDraw.Draw(image).text((20, 20), text, fill=full, font=font)
    ink = np.asarray(image, dtype=np.float64) / full
    rows, columns = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
    return ink[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]


def inside(coverage):
    columns = np.flatnonzero(coverage.any(axis=0))
    return coverage[:, columns[0] : columns[-1] + 1]


@pytest.mark.parametrize("text", ["3:20", "é"])
def test_the_bitmap_font_is_drawn_as_pillow_draws_it(text):
    expected = drawn(text, ImageFont.load_default_imagefont(), "1")
    assert (inside(letters(text)) == expected).all()
    assert set(np.unique(letters(text))) <= {0, 1}


@pytest.mark.parametrize("draw", [letters, small_letters])
def test_a_dark_column_stands_between_letters(draw):
    for pair in itertools.product("ENTWMim10AQ&@#", repeat=2):
        both = draw("".join(pair))
        one, other = (int(draw(c).any(axis=0).sum()) for c in pair)
        # fewer columns with ink than both letters have would mean that they touch
        runs = np.diff(np.flatnonzero(np.diff(np.pad(both.any(axis=0), 1).astype(int))))[::2]
        assert runs.max() <= max(one, other), pair


def test_text_that_does_not_fit_takes_the_small_font_or_says_what_it_needs():
    assert len(np.flatnonzero(Text("OPEN TODAY")(0, wall(80, 9)).any(axis=(1, 2)))) == 6
    shown = Text("OPEN TODAY")(0, wall(40, 9))
    assert shown.any(axis=2).sum() == small_letters("OPEN TODAY").sum()
    with pytest.raises(SourceError, match="takes 39 × 5 cells, and the wall has 24 × 9"):
        Text("OPEN TODAY")(0, wall(24, 9))
    with pytest.raises(SourceError, match="takes 3 × 5 cells, and the wall has 8 × 4"):
        Text("A", cells_per_s=3)(0, wall(8, 4))
    with pytest.raises(SourceError, match="and the wall has 24 × 9"):
        Text("OPEN", font=FONT, size_cells=12)(0, wall(24, 9))
    assert Text("OPEN\nTODAY")(0, wall(24, 24)).any()


def test_text_moves_in_small_letters_through_a_narrow_wall():
    # 24 columns show six small letters at once, and four of the others
    assert Text("Hi", cells_per_s=4)(3, wall(24, 9)).any(axis=2).sum() == small_letters("Hi").sum()
    assert Text("Hi", cells_per_s=4)(5, wall(36, 9)).any(axis=2).sum() == letters("Hi").sum()


def test_small_letters_have_no_accents_and_name_what_they_lack():
    assert (small_letters("Größe") == small_letters("GROSSE")).all()
    with pytest.raises(SourceError, match="the small font has no 日"):
        small_letters("日")


def test_a_font_file_is_drawn_as_pillow_draws_it_with_soft_edges():
    expected = drawn("Foyer", ImageFont.truetype(str(FONT), 18), "L")
    assert inside(letters("Foyer", FONT, 18)) == pytest.approx(expected, abs=1e-6)
    assert ((expected > 0.2) & (expected < 0.8)).any()


def test_type_is_as_high_as_the_font_says():
    # DejaVu Sans: capitals are 1493 of 2048 units high (its OS/2 table, sCapHeight)
    assert len(letters("H", FONT, 64)) == pytest.approx(64 * 1493 / 2048, abs=1)
    assert len(letters("H", None, 40)) > len(letters("H", None, 20)) > len(letters("H"))


def test_what_a_font_has_not_or_cannot_be_is_told(tmp_path):
    with pytest.raises(SourceError, match="no – "):
        Text("19–20")
    assert letters("–", FONT, 12).any()
    (tmp_path / "a.ttf").write_bytes(b"no font")
    for path in (tmp_path / "a.ttf", tmp_path / "none.ttf"):
        with pytest.raises(SourceError, match="font"):
            letters("a", path, 12)
    for size in (3, 0, -1, 5000):
        with pytest.raises(OutOfRangeError, match="size"):
            letters("a", FONT, size)


# DejaVu Sans has no Chinese (from memory). Of its sans Pillow says: 'Aileron Regular … with a more
# limited character set' (ImageFont.load_default).
@pytest.mark.parametrize(
    ("text", "font", "size", "said"),
    [
        ("日本 Café", FONT, 12, "DejaVuSans.ttf has no 日 本 \\(in"),
        ("日本", None, 12, "Pillow's sans has no 日 本 "),
        ("Café Zoë", None, 5, "Pillow's sans has no é ë "),
        ("Ōsaka", None, None, "the bitmap font has no Ō "),
        ("a\x90", None, None, r"the bitmap font has no U\+0090 "),
    ],
)
def test_letters_that_a_font_has_not_are_named_and_not_drawn_as_boxes(text, font, size, said):
    with pytest.raises(SourceError, match=said) as caught:
        Text(text, font=font, size_cells=size)
    assert "Fix: name a font file" in str(caught.value)


def test_accents_are_drawn_however_they_are_written():
    for text in ("Café", "Ünïcødé ßñçåœŵ Łódź 12 €"):
        expected = drawn(text, ImageFont.truetype(str(FONT), 18), "L")
        for form in ("NFC", "NFD"):  # a letter with its accent; a letter and then its accent
            coverage = letters(unicodedata.normalize(form, text), FONT, 18)
            assert inside(coverage) == pytest.approx(expected, abs=1e-6)
    assert (letters("é") == letters("e\u0301")).all()


@pytest.mark.parametrize("size", [4, 5, 6, 8, 12])
def test_no_letter_of_small_type_is_taken_for_a_box(size):
    assert letters("".join(map(chr, range(33, 127))), None, size).any()
    assert letters("ÀÉÎÕÜßØ DIOQ0 □▯", FONT, size).any()


def test_text_without_ink_is_dark():
    for text in ("", " ", "\n"):
        assert not Text(text)(0, wall(8, 8)).any()


def test_standing_text_is_in_the_middle_and_has_its_colour():
    display = wall(61, 31)
    picture = Text("H", colour=(255, 170, 90), ground=(0, 0, 40))(3.0, display)
    ink = letters("H")
    rows, columns = np.nonzero(picture[..., 0] == 1)
    assert (rows.min() + rows.max()) / 2 == pytest.approx(15, abs=0.5)
    assert (columns.min() + columns.max()) / 2 == pytest.approx(30, abs=1)
    assert len(rows) == ink.sum()
    assert picture[0, 0] == pytest.approx(light_of(np.array([0, 0, 40], np.uint8)))


def test_lines_stand_on_each_other():
    one, two = letters("10"), letters("8")
    both = stacked([one, two])
    assert both.shape == (len(one) + SPACE + len(two), one.shape[1])
    assert (both[: len(one)] == one).all()
    assert not both[len(one) : len(one) + SPACE].any()
    assert both[len(one) + SPACE :].sum() == two.sum()


def test_moving_text_comes_in_at_the_right_and_starts_again_when_it_has_left():
    display = wall(40, 10)
    text = Text("Hi", cells_per_s=4, colour=WHITE)
    width = letters("Hi").shape[1]
    assert not text(0, display).any()
    assert text(0.25, display)[:, :39].sum() == 0
    assert text(3.25, display)[..., 0].sum() == letters("Hi").sum()  # 13 cells in: all of it
    assert (text(0.3, display) == text(0.25, display)).all()  # cell by cell
    assert (text(0.49, display) == text(0.25, display)).all()
    for time_s in (1, 1.5, 9, 11.25):
        later = text(time_s + 0.25, display)
        assert (later[:, :-1] == text(time_s, display)[:, 1:]).all()
    around_s = (width + 40) / 4
    assert not text(around_s, display).any()
    assert (text(around_s + 3.25, display) == text(3.25, display)).all()


def test_smooth_motion_shares_the_light_between_neighbours():
    display = wall(30, 10)
    crisp = Text("Hi", cells_per_s=4, colour=WHITE)
    smooth = Text("Hi", cells_per_s=4, colour=WHITE, smooth=True)
    assert smooth(4, display) == pytest.approx(crisp(4, display), abs=1e-6)
    half = (crisp(4, display) + crisp(4.25, display)) / 2
    assert smooth(4.125, display) == pytest.approx(half, abs=1e-6)


@pytest.mark.parametrize("left", [-3.0, -2.25, -0.5, 0.0, 1.75, 4.0, 4.5, 9.0])
def test_what_is_placed_is_cut_off_at_the_edges(left):
    ones = np.ones((2, 3), dtype=np.float32)
    lit = place(ones, 4, 6, 1, left)
    # the overlap of [left, left + 3] with each cell, by hand
    cells = np.arange(6)
    expected = np.clip(np.minimum(cells + 1, left + 3) - np.maximum(cells, left), 0, 1)
    assert lit[1] == pytest.approx(expected)
    assert not lit[0].any()
    assert place(ones, 4, 6, 3, 0).sum() == 3


def test_text_stands_over_another_source_and_closes_it():
    class Ground:
        closed = False

        def __call__(self, time_s, display):
            return np.full(display.picture_shape, time_s, dtype=np.float32)

        def close(self):
            self.closed = True

    ground = Ground()
    text = Text(" ", ground=ground)
    assert (text(0.25, wall(4, 4)) == 0.25).all()
    text.close()
    assert ground.closed
