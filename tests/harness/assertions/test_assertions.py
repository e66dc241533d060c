"""Every assertion passes when it should, and fails when it should, with a message that says why."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

import harness.assertions
from emulator import Bench, ForeglowError, PictureError, load_display, parse_display
from emulator.picture.srgb import srgb_to_linear
from harness.assertions import (
    assert_brightness,
    assert_cell,
    assert_current_at_most,
    assert_dark,
    assert_frame_rate,
    assert_latched_within,
    assert_lit,
    assert_motion,
    assert_no_flash_hazard,
    assert_not_torn,
    assert_picture,
    assert_sequence,
    assert_shows,
    assert_volts_at_least,
    assert_wires_carry,
)
from harness.assertions.failure import PictureFailure
from harness.assertions.runningtest import RunningTest
from harness.simulated.watched import WatchedBench
from tests.strategies import displays

SECOND_NS = 1_000_000_000


def wall(columns, rows, part="WS2812B", more=""):
    text = f"[grid]\ncolumns={columns}\nrows={rows}\n[chip]\npart='{part}'\n[wiring]\n{more}"
    return parse_display(text, Path("wall.toml"))


def failing(text, assertion, *arguments, **named):
    """Runs an assertion that must fail with a text in its message."""
    with pytest.raises(AssertionError, match=text) as raised:
        assertion(*arguments, **named)
    return raised.value


@pytest.fixture
def watched():
    return WatchedBench(wall(8, 3))


# What is shown ---------------------------------------------------------------------------


@given(displays(), st.integers(0, 2**32 - 1))
def test_a_picture_that_was_sent_is_shown(display, seed):
    bench = Bench(display)
    picture = np.random.default_rng(seed).integers(0, 256, display.picture_shape, np.uint8)
    bench.send(picture)
    assert_shows(bench, picture)


def test_levels_of_seven_bits_are_rounded_twice_and_no_fault():
    text = "[grid]\ncolumns=1\nrows=1\n[chip]\npart='LPD8806'\n[wiring]\n"
    bench = Bench(parse_display(text, Path("one.toml")))
    picture = np.full((1, 1, 3), 15, np.uint8)  # 1.2 drive steps: rounded to 1, then to 0
    bench.send(picture)
    assert not bench.drives.any()
    assert_shows(bench, picture)


@given(displays(), st.data())
def test_one_cell_clearly_off_fails(display, data):
    bench = Bench(display)
    picture = np.full(display.picture_shape, 128, np.uint8)
    bench.send(picture)
    row = data.draw(st.integers(0, display.grid.rows - 1))
    column = data.draw(st.integers(0, display.grid.columns - 1))
    picture[row, column, data.draw(st.integers(0, 2))] += 10
    with pytest.raises(AssertionError, match=f"1 of .* column {column}, row {row} "):
        assert_shows(bench, picture)


def test_gap_cells_are_not_compared():
    display = load_display("foyer")
    picture = np.zeros(display.picture_shape, np.uint8)
    bench = Bench(display)
    bench.send(picture)
    picture[9, 17] = 255
    assert_shows(bench, picture)


def test_wide_displays_are_printed_one_below_the_other():
    bench = Bench(wall(60, 2))
    bench.send(np.zeros((2, 60, 3), np.uint8))
    with pytest.raises(AssertionError, match=r"expected\nw{60}\nw{60}\nshown\n\.{60}"):
        assert_shows(bench, np.full((2, 60, 3), 180, np.uint8))


def test_a_picture_of_another_shape_is_no_comparison():
    with pytest.raises(PictureError):
        assert_shows(Bench(load_display("foyer")), np.zeros((2, 2, 3), np.uint8))


def test_a_display_is_held_to_its_own_canvas():
    # Worked by hand: a gain of 0.5 on red halves its linear light; 255 becomes drive 128, and
    # 188, which is 0.503 of the light by IEC 61966-2-1, becomes drive 64.
    bench = Bench(wall(2, 1, more="[canvas]\nwhite=[0.5, 1, 1]\n"))
    picture = np.array([[[255, 255, 255], [188, 0, 0]]], np.uint8)
    bench.send(picture)
    assert bench.drives[:, 0].tolist() == [128, 64]
    assert_shows(bench, picture)
    assert_cell(bench, 0, 0, "white")
    bench.send_frame(np.full(6, 255, np.uint8))
    failing("2 of 2 cells differ; .*: expected #bcffff, shown #ffffff",
            assert_shows, bench, np.full((1, 2, 3), 255, np.uint8))  # fmt: skip


def test_dithered_drives_are_a_step_off_at_most():
    bench = Bench(wall(4, 4, more="[canvas]\ndither=true\n"))
    picture = np.full((4, 4, 3), 30, np.uint8)  # a drive of 3.3, so 3 and 4
    for _ in range(4):
        bench.send(picture)
        assert_shows(bench, picture)
    assert set(np.unique(bench.frames)) == {3, 4}


def test_a_stack_is_no_picture(watched):
    with pytest.raises(PictureError, match="not a stack"):
        assert_shows(watched, np.zeros((2, 3, 8, 3), np.uint8))


def test_a_failure_carries_its_pictures(watched):
    picture = np.zeros((3, 8, 3), np.uint8)
    picture[1, 2] = 255, 0, 0
    watched.send(picture)
    picture[1, 2] = 0
    picture[0, 7] = 0, 255, 0
    error = failing("2 of 24 cells differ", assert_shows, watched, picture)
    assert isinstance(error, PictureFailure)
    (_, expected), (_, shown), (_, difference) = error.pictures
    assert [label for label, _ in error.pictures] == ["expected", "shown", "different"]
    assert expected[0, 7].tolist() == [0, 1, 0]
    assert shown[1, 2].tolist() == [1, 0, 0]
    assert difference[1, 2].tolist() == [1, 0, 0]
    assert difference[0, 7].tolist() == [0, 1, 0]
    assert np.count_nonzero(difference) == 2
    picture[1, 6] = 12  # within the tolerance: no part of the difference
    error = failing("2 of 24 cells differ", assert_shows, watched, picture, tolerance=20)
    assert np.count_nonzero(error.pictures[2][1]) == 2


@pytest.mark.parametrize(
    ("colour", "codes"),
    # CSS Color Module Level 4, section 6.1: orange is #ffa500, teal #008080.
    [("orange", (255, 165, 0)), ("#008080", (0, 128, 128)), ((1, 2, 3), (1, 2, 3))],
)
def test_a_cell_has_a_colour(watched, colour, codes):
    picture = np.zeros((3, 8, 3), np.uint8)
    picture[2, 5] = codes
    watched.send(picture)
    assert_cell(watched, 5, 2, colour)
    failing(r"column 4, row 2 \(line 0, LED \d+\): expected #\w+, shown #000000",
            assert_cell, watched, 4, 2, "orange")  # fmt: skip


def test_a_cell_is_held_against_its_tolerance(watched):
    picture = np.full((3, 8, 3), 200, np.uint8)
    watched.send(picture)
    assert_cell(watched, 0, 0, (205, 200, 200), tolerance=6)
    failing("expected #cdc8c8, shown #c8c8c8", assert_cell, watched, 0, 0, (205, 200, 200))


@pytest.mark.parametrize("place", [(36, 0), (0, 20), (-1, 0), (17, 9)])
def test_a_cell_without_an_led_is_an_error(place):
    with pytest.raises(PictureError, match="no LED in column"):
        assert_cell(Bench(load_display("foyer")), place[0], place[1], "red")


@pytest.mark.parametrize("colour", ["no colour", (1, 2), (0, 0, 256), (0, 0, 0.5), None])
def test_what_is_no_colour_is_an_error(watched, colour):
    with pytest.raises(PictureError, match="is not a valid colour"):
        assert_cell(watched, 0, 0, colour)


def test_what_is_lit_is_counted_and_named(watched):
    picture = np.zeros((3, 8, 3), np.uint8)
    picture[0, 1] = picture[2, 7] = 255
    watched.send(picture)
    mask = np.zeros((3, 8), bool)
    mask[0, 1] = mask[2, 7] = True
    assert_lit(watched, 2)
    assert_lit(watched, [(1, 0), (7, 2)])
    assert_lit(watched, mask)
    failing("2 cells lit; expected 3", assert_lit, watched, 3)
    failing("1 cell dark that should be lit, 0 lit that should be dark; the first is column 0"
            ", row 0 .*: dark, and should be lit",
            assert_lit, watched, [(0, 0), (1, 0), (7, 2)])  # fmt: skip
    failing("0 cells dark .*, 1 lit .* column 7, row 2 .*: lit, and should be dark",
            assert_lit, watched, [(1, 0)])  # fmt: skip
    failing("0 cells dark .*, 2 lit", assert_lit, watched, np.zeros((3, 8), bool))


def test_a_background_counts_as_dark_below_what_is_given(watched):
    picture = np.full((3, 8, 3), 0.1)
    picture[1, 4] = 0.8
    watched.send(picture)
    assert_lit(watched, [(4, 1)], above=0.2)
    failing("23 lit that should be dark", assert_lit, watched, [(4, 1)])


@pytest.mark.parametrize("cells", [[(8, 0)], [(0, -1)], np.zeros((8, 3), bool)])
def test_cells_that_are_not_there_are_an_error(watched, cells):
    watched.send(np.zeros((3, 8, 3), np.uint8))
    with pytest.raises(PictureError):
        assert_lit(watched, cells)


def test_dark_is_dark(watched):
    picture = np.zeros((3, 8, 3))
    watched.send(picture)
    assert_dark(watched)
    picture[1, 4, 2] = 1 / 255
    watched.send(picture)
    failing("1 cell still lit; the first is column 4, row 1", assert_dark, watched)


def test_brightness_is_a_share_of_full_white(watched):
    # Relative luminance of IEC 61966-2-1: 0.2126 R + 0.7152 G + 0.0722 B. A third of the wall
    # in green, so 0.2384.
    picture = np.zeros((3, 8, 3), np.uint8)
    watched.send(picture)
    picture[1, :, 1] = 255
    watched.send(picture)
    assert_brightness(watched, at_most=0.2385, at_least=0)
    failing(r"1 of 2 frames are brighter than 0\.238; the brightest is 0\.238, frame 1",
            assert_brightness, watched, at_most=0.238)  # fmt: skip
    failing(r"1 of 2 frames are darker than 0\.1; the darkest is 0\.000, frame 0 at",
            assert_brightness, watched, at_least=0.1)  # fmt: skip


def test_full_white_of_four_channels_is_1():
    bench = Bench(wall(4, 1, "SK6812-RGBW"))
    bench.send_frame(np.full(16, 255, np.uint8))
    assert_brightness(bench, at_least=0.9999, at_most=1.0001)


# Each asks for what an unused wall would give.
NOTHING_ASKED = {
    "assert_brightness": lambda bench: assert_brightness(bench, at_most=1),
    "assert_cell": lambda bench: assert_cell(bench, 0, 0, "black"),
    "assert_current_at_most": lambda bench: assert_current_at_most(bench, 100),
    "assert_dark": assert_dark,
    "assert_frame_rate": lambda bench: assert_frame_rate(bench, 0),
    "assert_latched_within": lambda bench: assert_latched_within(bench, 1000),
    "assert_lit": lambda bench: assert_lit(bench, []),
    "assert_motion": assert_motion,
    "assert_no_flash_hazard": assert_no_flash_hazard,
    "assert_not_torn": assert_not_torn,
    "assert_picture": lambda bench: assert_picture(bench, "it"),
    "assert_sequence": lambda bench: assert_sequence(bench, "it"),
    "assert_shows": lambda bench: assert_shows(bench, np.zeros((3, 8, 3), np.uint8)),
    "assert_volts_at_least": lambda bench: assert_volts_at_least(bench, 0),
    "assert_wires_carry": assert_wires_carry,
}


ASKING = {"assert_map", "assert_right"}  # these send by themselves


@pytest.mark.parametrize("name", sorted({*harness.assertions.__all__} - ASKING))
def test_where_nothing_was_sent_every_assertion_fails(watched, running, name):
    said = "no frame has been (latched|sent) yet|frames? ?(\\(s\\))? latched so far"
    failing(said, NOTHING_ASKED[name], watched)
    watched.send_frame(np.zeros(72, np.uint8), hold_ns=0)  # sent, and not shown yet
    if name not in ("assert_latched_within", "assert_not_torn"):
        failing(said, NOTHING_ASKED[name], watched)


def test_of_a_wall_to_which_nothing_was_sent_no_picture_is_stored(watched, running):
    running.update = True
    failing("no frame has been latched yet", assert_picture, watched, "it")
    failing("no frame has been latched yet", assert_sequence, watched, "it")
    assert not running.written


# Stored beside the test ------------------------------------------------------------------


@pytest.fixture
def running(tmp_path, monkeypatch):
    """A test whose stored files are in its own folder."""
    folder = tmp_path / "pictures" / "test_it"
    test = RunningTest(folder, tmp_path, "pytest test_it.py::test_x --foreglow-update")
    monkeypatch.setattr(RunningTest, "now", lambda: test)
    return test


def half_red(watched):
    picture = np.zeros((3, 8, 3), np.uint8)
    picture[:, :4, 0] = 200
    watched.send(picture)
    return picture


def test_a_stored_picture_is_missing_then_made_then_held_to(watched, running):
    picture = half_red(watched)
    failing(r"pictures/test_it/bar\.png does not exist yet\n  To store what is shown: pytest"
            r" test_it\.py::test_x --foreglow-update", assert_picture, watched, "bar")  # fmt: skip
    running.update = True
    assert_picture(watched, "bar")
    running.update = False
    assert running.written == [running.folder / "bar.png"]
    with Image.open(running.written[0]) as image:  # against Pillow and the picture that was sent
        assert np.abs(np.asarray(image).astype(int) - picture).max() <= 2
    assert_picture(watched, "bar")
    picture[2, 3, 0] = 190
    watched.send(picture)
    failing(r"not the picture pictures/test_it/bar\.png\n.*\n1 of 24 cells differ; the first is"
            " column 3, row 2", assert_picture, watched, "bar")  # fmt: skip
    assert_picture(watched, "bar", tolerance=12)


def test_a_stored_picture_of_another_hand_is_taken_as_it_is(watched, running):
    half_red(watched)
    running.folder.mkdir(parents=True)
    image = Image.new("RGB", (8, 3))
    image.paste((200, 0, 0), (0, 0, 4, 3))
    image.save(running.folder / "drawn.png")
    assert_picture(watched, "drawn")


def test_an_update_that_changes_nothing_writes_nothing(watched, running):
    half_red(watched)
    running.update = True
    for assertion in (assert_picture, assert_sequence):
        assertion(watched, "bar")
        assertion(watched, "bar")
    assert len(running.written) == 2


def test_a_stored_picture_that_is_broken_or_of_another_size_says_so(watched, running):
    watched.send(np.zeros((3, 8, 3), np.uint8))
    running.folder.mkdir(parents=True)
    (running.folder / "bar.png").write_bytes(b"no picture")
    failing("cannot be read", assert_picture, watched, "bar")
    Image.new("RGB", (3, 8)).save(running.folder / "bar.png")
    failing("has 3 × 8 cells, 'wall' has 8 × 3", assert_picture, watched, "bar")


@pytest.mark.parametrize("name", ["", "../up", "a/b", ".hidden", "a b"])
def test_a_name_must_make_a_file_name(watched, running, name):
    with pytest.raises(ForeglowError, match="not a valid name for a stored file"):
        assert_picture(watched, name)


def test_nothing_is_stored_outside_a_test(watched, monkeypatch):
    with monkeypatch.context() as outside:
        outside.setattr(RunningTest, "current", None)
        with pytest.raises(ForeglowError, match="only inside a test"):
            assert_picture(watched, "bar")


def chase(bench, frames=6, step=1, period_ns=SECOND_NS // 20):
    """A white cell that moves right on row 1."""
    for number in range(frames):
        picture = np.zeros(bench.display.picture_shape, np.uint8)
        picture[1, number * step % bench.display.grid.columns] = 255
        bench.clock.wait_until(number * period_ns)
        bench.send(picture)


def test_a_stored_sequence_is_missing_then_made_then_held_to(running):
    bench = WatchedBench(wall(8, 3))
    chase(bench)
    failing(r"chase\.npz does not exist yet\n  To store", assert_sequence, bench, "chase")
    running.update = True
    assert_sequence(bench, "chase")
    running.update = False
    with np.load(running.folder / "chase.npz") as stored:  # against numpy, and the chase
        assert stored["drives"].shape == (6, 24, 3)
        assert stored["times_ns"].tolist() == [n * SECOND_NS // 20 for n in range(6)]
        lit = stored["drives"].max(axis=2).argmax(axis=1)
        assert stored["cell"][lit].tolist() == [8, 9, 10, 11, 12, 13]
    assert_sequence(bench, "chase", within_ms=0)

    other = WatchedBench(wall(8, 3))
    other.clock.wait_until(7 * SECOND_NS)  # times count from the first frame
    with pytest.raises(AssertionError):
        assert_sequence(other, "chase")
    chase(other, step=2)
    failing(r"5 of 6 frames differ; the first is frame 1, .*: 2 LEDs; the first is column 1, row 1"
            r" \(line 0, LED \d+\): expected RGB 255 255 255, shown 0 0 0",
            assert_sequence, other, "chase")  # fmt: skip


def test_a_sequence_that_ends_early_or_runs_late_is_told(running):
    bench, short, slow = (WatchedBench(wall(8, 3)) for _ in range(3))
    chase(bench)
    running.update = True
    assert_sequence(bench, "chase")
    running.update = False
    chase(short, frames=5)
    failing("5 frames are shown, .* has 6", assert_sequence, short, "chase")
    chase(slow, period_ns=SECOND_NS // 20 + 1_000_000)
    assert_sequence(slow, "chase")
    assert_sequence(slow, "chase", within_ms=5.001)
    failing(r"frame 3, at 0\.153 s instead of 0\.150 s .*; the largest difference is 5\.00 ms",
            assert_sequence, slow, "chase", within_ms=2.5)  # fmt: skip


def test_a_drive_may_be_off_by_the_tolerance(running):
    bench, other = WatchedBench(wall(8, 3)), WatchedBench(wall(8, 3))
    bench.send_frame(np.full(72, 100, np.uint8))
    other.send_frame(np.full(72, 103, np.uint8))
    running.update = True
    assert_sequence(bench, "grey")
    running.update = False
    assert_sequence(other, "grey", tolerance=3)
    failing("1 of 1 frames differ", assert_sequence, other, "grey")


def test_a_stored_sequence_that_is_broken_or_of_another_wall_says_so(running):
    bench, other = WatchedBench(wall(8, 3)), WatchedBench(wall(3, 8))
    chase(bench)
    chase(other, frames=1)
    running.update = True
    assert_sequence(bench, "chase")
    running.update = False
    failing("another wiring or chip", assert_sequence, other, "chase")
    path = running.folder / "chase.npz"
    whole = path.read_bytes()
    for broken in (b"", b"no archive", whole[: len(whole) // 2]):
        path.write_bytes(broken)
        failing("cannot be read", assert_sequence, bench, "chase")
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("times_ns.npy", b"")
    failing("cannot be read", assert_sequence, bench, "chase")


# Motion ----------------------------------------------------------------------------------


def moving(right, down, *, frames=6, columns=12, rows=9, each=1, gaps="", seed=3):
    """A bench that was shown two random blobs on a dark wall, moved in every `each`-th frame."""
    bench = WatchedBench(wall(columns, rows, more=gaps))
    blob = np.random.default_rng(seed).integers(60, 256, (3, 3, 3))
    for number in range(frames):
        picture = np.zeros((rows, columns, 3), np.uint8)
        steps = number // each
        for top, left in ((2, 2), (5, 8)):
            for r, c in np.ndindex(3, 3):
                y, x = top + r + steps * down, left + c + steps * right
                if 0 <= y < rows and 0 <= x < columns:
                    picture[y, x] = blob[r, c]
        bench.send(picture)
    return bench


@given(st.integers(-2, 2), st.integers(-2, 2), st.integers(0, 99))
def test_a_motion_is_the_one_it_is_and_no_other(right, down, seed):
    bench = moving(right, down, frames=3, seed=seed)
    assert_motion(bench, right=right, down=down)
    for other in ((right + 1, down), (right, down - 1), (-right or 1, -down)):
        with pytest.raises(AssertionError):
            assert_motion(bench, right=other[0], down=other[1])


def test_a_motion_is_told_in_words():
    failing(r"expected to move right 1; from frame 0 \(0\.\d+ s\) to frame 1 \(0\.\d+ s\) it moves"
            " left 2, down 1", assert_motion, moving(-2, 1), right=1)  # fmt: skip
    failing("it does not move", assert_motion, moving(0, 0), right=1)
    failing("expected to move not at all; .* it moves up 1", assert_motion, moving(0, -1))


def test_a_motion_far_off_is_told_and_so_is_what_is_none():
    failing("it moves right 7, up 2", assert_motion, moving(7, -2, columns=24), right=1)
    bench, noise = WatchedBench(wall(16, 16)), np.random.default_rng(1)
    for _ in range(2):
        bench.send((noise.random((16, 16, 3)) > 0.7).astype(np.uint8) * 255)
    failing("it does not move as one", assert_motion, bench, right=1)


def test_a_motion_of_every_third_frame():
    bench = moving(1, 0, frames=10, each=3)
    assert_motion(bench, right=1, frames=3)
    bench.send(np.zeros((9, 12, 3), np.uint8))
    assert_motion(bench, right=1, frames=3)  # a dark frame has no motion
    bench.send(moving(4, 0, frames=2).picture)
    failing("frame 8 .* to frame 11 .* moves right 2", assert_motion, bench, right=1, frames=3)
    failing("frame 0 .* to frame 1 .* does not move", assert_motion, bench, right=1)


def test_a_chase_around_the_wall_moves_right_all_the_time():
    bench = WatchedBench(wall(8, 3))
    chase(bench, frames=40)
    assert_motion(bench, right=1)
    failing("moves right 1", assert_motion, bench, right=-1)


def test_one_step_that_stumbles_is_found():
    bench = WatchedBench(wall(8, 3))
    chase(bench, frames=4)
    picture = np.zeros((3, 8, 3), np.uint8)
    picture[1, 5] = 255
    bench.send(picture)
    failing("from frame 3 .* to frame 4 .* moves right 2", assert_motion, bench, right=1)


def test_a_pattern_that_looks_the_same_moved_proves_nothing():
    bench = WatchedBench(wall(8, 3))
    for _ in range(3):
        bench.send(np.full((3, 8, 3), 90, np.uint8))
    failing(r"it does not move\n", assert_motion, bench, right=1)
    assert_motion(bench)
    failing("no motion can be seen: nothing lit in two of the 0 frames",
            assert_motion, WatchedBench(wall(8, 3)), right=1)  # fmt: skip


def test_a_motion_wider_than_the_wall_is_an_error(watched):
    for asked in ({"right": 8}, {"down": -3}, {"right": 1, "frames": 0}):
        with pytest.raises(PictureError, match="cannot be seen on 8 × 3 cells"):
            assert_motion(watched, **asked)


def test_a_show_that_begins_and_ends_dark_moves_in_between():
    bench = WatchedBench(wall(8, 3))
    bench.send(np.zeros((3, 8, 3), np.uint8))
    chase(bench, frames=5)
    bench.send(np.zeros((3, 8, 3), np.uint8))
    assert_motion(bench, right=1)


def test_what_moves_behind_a_gap_is_not_missed():
    # A bright cell goes behind the gap; without it, the dim line fits its own way up nearly as
    # well, and better than the motion asked for if the cell counted as gone.
    bench = WatchedBench(wall(10, 9, more="[[grid.gaps]]\ncolumn=5\nrow=0\n"))
    for step in range(2):
        picture = np.zeros((9, 10, 3))
        picture[2:8, 2 + step] = 0.3
        picture[0, 4 + step] = 1
        bench.send(picture)
    assert_motion(bench, right=1)
    assert_motion(moving(1, 0, gaps="[[grid.gaps]]\ncolumn=5\nrow=3\nrows=2\n"), right=1)


# Pace ------------------------------------------------------------------------------------


def test_a_frame_rate_with_its_jitter():
    bench = WatchedBench(wall(8, 3))
    chase(bench, frames=21)  # 20 frames a second
    assert_frame_rate(bench, 20, jitter_ms=0.001)
    failing(r"20\.00 frames/s in 21 frames; expected at least 21", assert_frame_rate, bench, 21)
    bench.clock.wait_until(bench.clock.now_ns() + SECOND_NS)
    bench.send(np.zeros((3, 8, 3), np.uint8))
    # The last frame begins 1 s after frame 20 was latched, not 50 ms after it began: 21 waits
    # in 1 s + 1 s + the time of one frame.
    sent = bench.sent[-1]
    mean_s = (1 + 1 + (sent.latched_ns - sent.starts_ns) / 1e9) / 21
    assert_frame_rate(bench, 1 / mean_s - 1e-6)
    failing("the longest wait is 1000", assert_frame_rate, bench, 1 / mean_s + 1e-3)
    failing(r"of 21 waits between frames .* the worst is 1000\.\d\d ms, at 1\.00",
            assert_frame_rate, bench, 5, jitter_ms=500)  # fmt: skip


@pytest.mark.parametrize("frames", [0, 1])
def test_a_rate_takes_two_frames(watched, frames):
    for _ in range(frames):
        watched.send(np.zeros((3, 8, 3), np.uint8))
    failing(rf"{frames} frame\(s\) latched so far", assert_frame_rate, watched, 1)


def test_a_frame_is_shown_after_its_wire_and_reset_time(watched):
    # WS2812B datasheet: 1.25 µs a bit, so 24 LEDs take 0.72 ms; its reset time of 50 µs; and each
    # LED passes data on after 0.3 µs.
    watched.send(np.zeros((3, 8, 3), np.uint8))
    assert_latched_within(watched, 0.72 + 0.05 + 23 * 0.0003)
    failing(r"1 of 1 frames took longer than 0\.76 ms .* frame 0, sent at 0\.000 s: 0\.78 ms, of"
            r" which 0\.72 ms on the wire", assert_latched_within, watched, 0.76)  # fmt: skip


def test_frames_sent_as_a_stack_are_watched_too(watched):
    other = WatchedBench(wall(8, 3))
    data = np.arange(3 * 72, dtype=np.uint8).reshape(3, 72)
    watched.send_frames(data, 2_000_000)
    for number, frame in enumerate(data):
        other.clock.wait_until(number * 2_000_000)
        other.send_frame(frame)
    told = [[(s.starts_ns, s.wire_ns, s.latched_ns) for s in b.sent] for b in (watched, other)]
    assert told[0] == told[1]
    assert_not_torn(watched)


def test_whole_frames_are_not_torn(watched):
    for _ in range(3):
        watched.send(np.zeros((3, 8, 3), np.uint8))
    assert_not_torn(watched)


@pytest.mark.parametrize(
    ("sizes", "hold_ns", "text"),
    [
        ([72, 60], None, "frame 1, .*: 4 LEDs got no data"),
        ([72, 75], None, "frame 1, .*: 3 bytes too many went past the last LED"),
        ([72, 72], 10_000, "frame 1, .*: it came before the reset time had passed"),
    ],
)
def test_torn_frames_are_named(watched, sizes, hold_ns, text):
    for size in sizes:
        watched.send_frame(bytes(size), hold_ns)
    failing("1 of 2 frames are torn; the first is " + text, assert_not_torn, watched)


@pytest.mark.parametrize("assertion", [assert_not_torn, lambda b: assert_latched_within(b, 1)])
def test_a_bench_that_kept_nothing_is_an_error_and_an_unused_one_a_failure(watched, assertion):
    with pytest.raises(ForeglowError, match="WatchedBench"):
        assertion(Bench(watched.display))
    failing("no frame has been sent yet", assertion, watched)


# Power and flashes -----------------------------------------------------------------------


def white_wall(power):
    bench = Bench(wall(24, 1, more="[power]\n" + power))
    bench.send(np.zeros((1, 24, 3), np.uint8))
    bench.send(np.full((1, 24, 3), 255, np.uint8))
    return bench


def test_current_is_held_against_every_frame_so_far():
    # Common practice, no source: 24 LEDs of 60 mA and 1 mA more in the dark are 1.464 A.
    bench = white_wall("")
    assert_current_at_most(bench, 1.4641)
    bench.send(np.zeros((1, 24, 3), np.uint8))
    failing(r"1 of 3 frames .* the most is 1\.46 A at 0\.00", assert_current_at_most, bench, 1.46)


def test_the_led_with_the_least_volts_is_named():
    bench = white_wall("feed=[{led=0}]")
    least = float(bench.rail_volts().min())
    assert_volts_at_least(bench, least - 1e-6)
    failing(r"line 0, LED 23 \(column 23, row 0\) gets", assert_volts_at_least, bench, least + 0.01)


def test_a_wire_too_thin_is_named_with_the_caution():
    assert_wires_carry(white_wall("feed=[{led=0, awg=18}]"))
    failing(r"guidance 0\.\d A\nGuidance only", assert_wires_carry,
            white_wall("feed=[{led=0, awg=30}]"))  # fmt: skip


def test_a_supply_that_trips_gives_no_volts_to_rely_on():
    bench = white_wall("supply=[{amps=1, overload='trip'}]")
    failing(r"gets -?0\.000 V", assert_volts_at_least, bench, 3.4)


def test_five_flashes_a_second_of_a_whole_wall_are_a_hazard_and_one_is_none():
    # WCAG 2.2, SC 2.3.1: no more than three general flashes in any one second period.
    for per_second, hazard in ((1, False), (5, True)):
        bench = Bench(load_display("foyer"))
        for number in range(4 * per_second):
            bench.clock.wait_until(number * SECOND_NS // (2 * per_second))
            bench.send(np.full(bench.display.picture_shape, 120 * (number % 2), np.uint8))
        if hazard:
            failing("above the flash thresholds, seen from 6 m", assert_no_flash_hazard, bench)
        else:
            assert_no_flash_hazard(bench)


def test_letters_and_light_agree(watched):
    """The letters of a failure are those of the picture: capital R at full red, r at a dim one."""
    picture = np.zeros((3, 8, 3))
    picture[0, 0, 0], picture[0, 1, 0] = 1, float(srgb_to_linear(0.5))
    watched.send(picture)
    assert re.search(r"^Rr\.{6}$", str(failing("still lit", assert_dark, watched)), re.M)
