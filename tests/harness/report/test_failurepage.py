"""What the page of failed tests draws: walls with numbers and a mark, and courses over time."""

from __future__ import annotations

import io

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from emulator import Bench, SimulatedClock, load_display
from harness.assertions import (
    assert_brightness,
    assert_cell,
    assert_current_at_most,
    assert_dark,
    assert_frame_rate,
    assert_no_flash_hazard,
    assert_shows,
    assert_volts_at_least,
)
from harness.assertions.failure import CourseFailure, PictureFailure
from harness.patterns.pattern import PATTERNS
from harness.report.check.cellpicture import LEFT, TOP, cell_picture
from harness.report.check.coursechart import course_chart, course_figure
from harness.report.check.sheet import sheet_pictures
from harness.result.course import Course
from harness.subject.subject import own_code
from harness.subject.trial import Trial
from tests.power.walls import wall


def pixels(cells, gap, asked=None):
    return np.asarray(cell_picture(cells, gap, asked)).astype(int)


def test_the_asked_cell_alone_is_framed():
    cells, gap = np.zeros((4, 6, 3), np.float32), np.zeros((4, 6), bool)
    plain, marked = pixels(cells, gap), pixels(cells, gap, (5, 2))
    down, across = np.nonzero((plain != marked).any(axis=-1))
    side = (plain.shape[1] - LEFT) // 6
    assert LEFT + 5 * side - 2 == across.min()
    assert (down.min(), down.max()) == (TOP + 2 * side - 2, TOP + 3 * side + 2)
    middle = marked[TOP + 2 * side + side // 2, LEFT + 5 * side + side // 2]
    assert middle.tolist() == [0, 0, 0]  # the frame leaves the colour of the cell to be seen


@pytest.mark.parametrize(("columns", "rows"), [(1, 1), (16, 8), (100, 100), (1200, 2)])
def test_columns_and_rows_have_numbers_that_do_not_touch(columns, rows):
    cells, gap = np.zeros((rows, columns, 3), np.float32), np.zeros((rows, columns), bool)
    image = pixels(cells, gap)
    paper = image[0, 0]
    ink = np.abs(image - paper).sum(axis=-1) > 60
    above, beside = ink[: TOP - 1, LEFT:].any(axis=0), ink[TOP:, : LEFT - 2].any(axis=1)
    assert above.any()
    assert beside.any()
    starts = np.flatnonzero(np.diff(above.astype(int)) == 1)
    if columns == 16:  # one number each, those from 10 on of two digits
        assert 16 <= len(starts) <= 22


@pytest.fixture
def blinking():
    """A bench after 2 s, 20 frames/s: two frames white, two frames dark, by turns."""
    bench = Bench(load_display("sign"), SimulatedClock())
    for number in range(40):
        bench.clock.wait_until(50_000_000 * number)
        bench.send(np.full(bench.display.picture_shape, 255 * (number % 4 > 1), np.uint8))
    return bench


@pytest.mark.parametrize(
    ("judge", "what", "unit", "limits", "worst"),
    [
        (lambda b: assert_frame_rate(b, 30), "wait for the next frame", "ms", [1000 / 30, 50], 50),
        (lambda b: assert_current_at_most(b, 0.5), "current asked for", "A", [0.5], None),
        (lambda b: assert_volts_at_least(b, 5.5), "voltage of the lowest LED", "V", [5.5], None),
        (
            lambda b: assert_no_flash_hazard(b, 0.5),
            "general flashes in the last second",
            "flashes",
            [3],
            5,
        ),
        (lambda b: assert_brightness(b, at_most=0.5), "brightness", "share of full", [0.5], None),
    ],
)  # fmt: skip
def test_a_failure_over_time_has_its_course(blinking, judge, what, unit, limits, worst):
    with pytest.raises(CourseFailure) as failed:
        judge(blinking)
    course = failed.value.course
    assert (course.what, course.unit) == (what, unit)
    assert [value for value, _ in course.limits] == pytest.approx(limits, rel=0.02)
    assert course.times_s.shape == course.values.shape
    assert len(course.values) >= 39
    extreme = course.values.min() if unit == "V" else course.values.max()
    assert course.values[course.worst] == extreme
    if worst is not None:
        assert extreme == pytest.approx(worst, rel=0.02)


def test_jitter_is_drawn_with_both_limits(blinking):
    blinking.clock.wait_until(2_100_000_000)
    blinking.send(np.zeros(blinking.display.picture_shape, np.uint8))
    with pytest.raises(CourseFailure) as failed:
        assert_frame_rate(blinking, 10, jitter_ms=20)
    low, high = sorted(value for value, _ in failed.value.course.limits)
    assert high - low == pytest.approx(40)
    assert failed.value.course.values[failed.value.course.worst] > high


def test_the_lowest_led_and_the_asked_cells_are_named(blinking):
    with pytest.raises(CourseFailure) as volts:
        assert_volts_at_least(blinking, 5.5)
    column, row = volts.value.cell
    assert f"column {column}, row {row}" in str(volts.value)
    white = np.full(blinking.display.picture_shape, 255, np.uint8)
    dark = white * 0
    blinking.send(white)
    for judge, cell in (
        (lambda: assert_cell(blinking, 5, 3, "red"), (5, 3)),
        (lambda: assert_shows(blinking, dark), (0, 0)),
        (lambda: assert_dark(blinking), (0, 0)),
    ):
        with pytest.raises(PictureFailure) as failed:
            judge()
        assert failed.value.cell == cell


COURSE = Course(
    "current", "A", np.arange(50) / 10, np.sin(np.arange(50)), ((0.5, "at most 0.5 A"),), 8
)


def test_a_course_is_drawn_with_its_limits_and_its_worst_moment():
    with Image.open(io.BytesIO(course_chart(COURSE))) as image:
        assert image.format == "PNG"
    figure = course_figure(COURSE)
    FigureCanvasAgg(figure).draw()
    (axes,) = figure.axes
    drawn, limit, worst = axes.lines
    assert np.array_equal(drawn.get_ydata(), COURSE.values)
    assert limit.get_ydata()[0] == 0.5
    assert worst.get_xydata().tolist() == [[0.8, COURSE.values[8]]]
    assert not axes.get_legend().get_window_extent().overlaps(axes.get_window_extent())


@pytest.mark.parametrize("rows", [1, 20])
def test_a_contact_sheet_names_only_what_the_wall_has(rows):
    """Letters need rows; a pattern's steps are those it has on this wall."""
    display = wall(24, rows)
    labels = [label for label, _ in sheet_pictures(Trial(display, own_code(display)))]
    assert len(set(labels)) == len(labels)
    assert ("letters (scene programme)" in labels) == (rows > 1)
    for label in labels:
        name, _, step = label.partition(", step ")
        if name in PATTERNS:
            assert int(step or 0) < PATTERNS[name].steps(display)
        else:
            assert name == "letters (scene programme)"
