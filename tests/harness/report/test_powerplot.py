from __future__ import annotations

import io
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from emulator import load_display, parse_display
from emulator.power.wire import CAUTION
from harness.power import assess, follow
from harness.report.power.plot import COLOURS, power_figure, power_plot
from tests.power.walls import wall
from tests.tables import telling


@pytest.fixture(scope="module")
def foyer():
    return load_display("foyer")


def blinking(display):
    white = np.full(display.picture_shape, 255, dtype=np.uint8)
    return lambda time_s: white if int(time_s) % 2 else white * 0


def words(axes):
    return [text.get_text() for text in axes.texts]


def named(axes):
    """The names in the legend."""
    return [text.get_text() for text in axes.get_legend().texts]


def curves(axes):
    """Curves of data, not lines across or marks."""
    return [line for line in axes.lines if len(line.get_xdata()) > 2]


def test_every_run_is_a_curve_of_its_voltages_in_the_colour_of_its_line(foyer):
    found = assess(foyer)
    along, _ = power_figure(foyer, found, []).axes
    drawn = curves(along)
    runs = foyer.wiring.runs
    assert len(drawn) == len(runs)
    for line, run, volts in zip(drawn, runs, found.run_volts, strict=True):
        assert line.get_xdata().tolist() == list(range(run.first, run.last + 1))
        assert np.array_equal(line.get_ydata(), volts)
        assert line.get_color() == COLOURS[run.line]
    assert named(along) == ["line 0", "line 1"]


def test_the_lowest_led_is_marked_where_it_is(foyer):
    found = assess(foyer)
    along, _ = power_figure(foyer, found, []).axes
    (mark,) = [line for line in along.lines if line.get_marker() == "o"]
    assert mark.get_xydata().tolist() == [[found.lowest.led, found.lowest.volts]]
    assert f"lowest: {found.lowest.volts:.2f} V, LED {found.lowest.led} of line 1" in words(along)
    assert along.get_ylim()[0] < found.lowest.volts


def test_where_colours_begin_to_shift_is_drawn_only_when_near(foyer):
    along, _ = power_figure(foyer, assess(foyer), []).axes
    assert not any("colours shift" in word for word in words(along))
    starved = wall(60, 1, "[power]\nfeed=[{led=0}]\njumper={awg=18}\nrail_ohm_per_m=0.5\n")
    along, _ = power_figure(starved, assess(starved), []).axes
    assert "below 3.60 V colours shift" in words(along)


def test_current_is_drawn_against_time_with_limit_rating_and_full_white():
    display = wall(10, 1, "[power]\nlimit_a=0.4\nsupply=[{amps=2}]\n")
    course = follow(display, "blinking", blinking(display), 6, 10)
    _, over_time = power_figure(display, assess(display, [course]), [course]).axes
    asked, sent = curves(over_time)
    assert np.array_equal(asked.get_ydata(), course.asked_a)
    assert np.array_equal(sent.get_ydata(), course.sent_a)
    assert asked.get_xdata()[-1] == pytest.approx(5.9)
    across = [line.get_ydata()[0] for line in over_time.lines if line not in (asked, sent)]
    assert sorted(across) == pytest.approx([0.4, 0.61, 2.0])
    assert {"limit 0.4 A", "supplies rated 2 A", "full white 0.6 A"} <= set(named(over_time))
    assert over_time.get_ylim()[1] > 2


def test_without_a_limit_none_is_drawn():
    display = wall(10, 1)
    course = follow(display, "blinking", blinking(display), 4, 10)
    _, over_time = power_figure(display, assess(display), [course]).axes
    assert len(curves(over_time)) == 1
    assert not any("limit" in word for word in named(over_time))


def test_many_lines_differ_by_stroke_where_colours_repeat():
    text = "[grid]\ncolumns=4\nrows=8\n[chip]\npart='WS2812B'\n[wiring]\nlines=8\n"
    display = parse_display(text, Path("eight.toml"))
    along, _ = power_figure(display, assess(display), []).axes
    looks = {(line.get_color(), line.get_linestyle()) for line in curves(along)}
    assert len(looks) == 8


def test_a_legend_covers_neither_curves_nor_titles():
    text = "[grid]\ncolumns=4\nrows=12\n[chip]\npart='WS2812B'\n[wiring]\nlines=12\n"
    display = parse_display(text, Path("twelve.toml"))
    figure = power_figure(display, assess(display), [follow(display, "a", blinking(display), 2)])
    FigureCanvasAgg(figure).draw()
    for axes in figure.axes:
        legend = axes.get_legend().get_window_extent()
        assert not legend.overlaps(axes.get_window_extent())
        assert not legend.overlaps(axes._left_title.get_window_extent())
        assert legend.x1 <= figure.bbox.x1


@pytest.mark.parametrize("columns", telling([1, 2], lambda columns: columns == 1))
def test_the_smallest_walls_can_be_drawn(columns):
    display = wall(columns, 1)
    course = follow(display, "one frame", blinking(display), 1 / 30)
    data = power_plot(display, assess(display), [course])
    assert data.startswith(b"\x89PNG")


@pytest.mark.slow
def test_a_png_is_whole_and_repeats_byte_for_byte():
    small = wall(6, 4)
    found = assess(small)
    png = power_plot(small, found, [])
    with Image.open(io.BytesIO(png)) as image:
        assert image.size == (1200, 960)
        assert len(np.unique(np.asarray(image.convert("RGB")) @ (1 << 16, 1 << 8, 1))) > 50
    assert power_plot(small, found, []) == png


@pytest.mark.slow
def test_an_svg_is_whole_carries_the_caution_and_repeats_byte_for_byte():
    small = wall(6, 4)
    found = assess(small)
    svg = power_plot(small, found, [], "svg")
    said = "".join("".join(e.itertext()) for e in ET.fromstring(svg).iter())
    assert CAUTION.split(";")[0] in said
    assert f"{small.name}: power" in said
    assert power_plot(small, found, [], "svg") == svg
