"""`foreglow light`, and the looks of `foreglow render`."""

from __future__ import annotations

import dataclasses
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.text import Text
from PIL import Image
from rich.console import Console

from emulator import load_display
from emulator.light.front import with_cover
from harness.light.assessment import assess_light
from harness.report.light.plot import light_figure, light_plot
from harness.report.light.terminal import print_light
from tests.tables import telling


def pixels(path: str) -> np.ndarray:
    with Image.open(path) as image:
        return np.asarray(image.convert("RGB")).astype(int)


def left_behind() -> list[str]:
    return sorted(str(p) for p in Path().rglob("*") if p.is_file())


@pytest.mark.charts
def test_the_report_names_every_figure_and_leaves_a_chart(foreglow):
    status, out, err = foreglow("light", "foyer", "--distance", "6m", "--ambient", "200lx")
    assert (status, err) == (0, "")
    for word in ("cd/m²", "contrast", "min/mean", "min/max", "as seen", "2 mm off centre",
                 "off centre at most", "cross-talk", "167 mm", "fuse", "no CCT", "D65", "knee",
                 "[cover]"):  # fmt: skip
        assert word in out
    lines = out.splitlines()
    assert max(map(len, lines)) <= 80
    first, last = (
        next(n for n, line in enumerate(lines) if word in line)
        for word in ("luminance, brightest", "depth for min/mean")
    )
    assert all(line[:2].strip() for line in lines[first:last]), "no row wraps"
    assert pixels("foreglow-out/foyer-light.png").shape[1] > 800


@pytest.mark.slow
@pytest.mark.charts
def test_json_has_the_same_figures(foreglow):
    status, out, _ = foreglow("light", "sign", "--json", "--plot", "c.svg", "--distance", "250cm")
    found = json.loads(out)
    assert status == 0
    assert set(found) == {
        "display", "figures", "fed", "white", "depths", "gluing", "reads_from_m",
        "camera",
    }  # fmt: skip
    assert found["figures"]["distance_m"] == 2.5
    assert found["white"]["temperature_k"] is None
    assert len(found["depths"]["depth_mm"]) == len(found["depths"]["crosstalk"])
    assert left_behind() == ["c.svg"]
    assert "Cross-talk" in Path("c.svg").read_text()


def write_wall(chip: str, more: str = "") -> None:
    Path("wall.toml").write_text(
        f"[grid]\ncolumns=20\nrows=1\npitch_mm=10\n[chip]\n{chip}\n[wiring]\n{more}"
    )


def test_the_gains_for_d65_can_be_pasted_into_the_display_file(foreglow):
    write_wall("part='WS2812B'")
    _, out, _ = foreglow("light", "wall")
    (line,) = (line for line in out.splitlines() if "[canvas]" in line)
    white = line.split(":")[1].strip()
    write_wall("part='WS2812B'", f"[canvas]\n{white}\n")
    assert foreglow("light", "wall")[0] == 0


def test_channels_that_cannot_make_d65_give_no_gains(capsys):
    display = load_display("sign")
    # Three oranges: the spectral locus bends away from D65 between them (ISO/CIE 11664-1).
    chip = dataclasses.replace(display.chip, wavelength_nm=(622.0, 600.0, 610.0))
    report = assess_light(dataclasses.replace(display, chip=chip))
    assert report.white.d65_gains is None
    print_light(display, report, Console())
    assert "No gains make white D65" in capsys.readouterr().out


def test_white_as_fed_is_dimmer_by_the_droop_and_by_canvas(foreglow):
    def found(more: str) -> dict[str, Any]:
        write_wall("part='WS2812B'", more)
        return json.loads(foreglow("light", "wall", "--json")[1])

    free = found("")
    assert free["fed"]["mean_cdm2"] == pytest.approx(free["figures"]["mean_cdm2"], rel=1e-3)
    half = found("[canvas]\nbrightness=0.5\n")
    # 0.5 of 255 levels is 128 after rounding.
    assert half["fed"]["mean_cdm2"] == pytest.approx(128 / 255 * free["fed"]["mean_cdm2"], rel=1e-3)
    weak = found("[power]\nsupply=[{amps=0.5}]\n")  # 20 LEDs of 60 mA want 1.2 A
    assert weak["fed"]["dimmest_cdm2"] < 0.6 * free["fed"]["mean_cdm2"]
    printed = foreglow("light", "wall")[1]
    assert weak["figures"] == free["figures"]
    for report in (free, half, weak):
        dark = report["figures"]["ambient_cdm2"]
        ratio = (report["fed"]["mean_cdm2"] + dark) / dark
        assert report["fed"]["contrast"] == pytest.approx(ratio)
    assert f"{ratio:.1f} : 1" in printed  # of the last, the weak one
    assert weak["fed"]["contrast"] < half["fed"]["contrast"] < free["fed"]["contrast"]
    assert found("[view]\nambient_lx=0\n")["fed"]["contrast"] is None


def test_an_rgbw_wall_tells_what_all_four_channels_give(foreglow):
    write_wall("part='SK6812-RGBW'")
    _, out, _ = foreglow("light", "wall")
    assert "all four channels" in out
    figures = json.loads(foreglow("light", "wall", "--json")[1])["figures"]
    # mcd: W 1900 (chip catalogue), R, G, B 405 + 690 + 190 (WS2812B datasheet).
    ratio = (1900 + 1285) / 1900
    assert figures["all_channels_cdm2"] == pytest.approx(ratio * figures["peak_cdm2"], rel=1e-6)
    write_wall("part='WS2812B'")
    assert "all four channels" not in foreglow("light", "wall")[1]


def test_a_wall_as_even_at_every_depth_has_no_knee(foreglow):
    # Without walls a front that scatters by more than a pitch is even at any depth.
    write_wall("part='WS2812B'", "[cover]\nwalls='none'\nscatter_mm=15\n")
    _, out, _ = foreglow("light", "wall")
    assert "none the same at every depth" in " ".join(out.split())
    assert json.loads(foreglow("light", "wall", "--json")[1])["depths"]["knee_mm"] is None
    display = load_display("wall")
    words = [text.get_text() for text in light_figure(display, assess_light(display)).axes[0].texts]
    assert not [text for text in words if "knee" in text]


@pytest.mark.parametrize(
    ("wanted", "walls"),
    telling(
        [(wanted, walls) for wanted in (None, 0.4) for walls in ("none", "black", "white")],
        lambda case: case in ((None, "black"), (0.4, "none")),
    ),
)
def test_no_line_strikes_through_the_label_of_the_knee(wanted, walls):
    display = with_cover(load_display("foyer"), walls=walls, least_min_to_mean=wanted)
    report = assess_light(display)
    figure = light_figure(display, report)
    figure.canvas.draw()
    axes = figure.axes[0]
    (label,) = (text for text in axes.texts if "knee" in text.get_text())
    (even,) = (text for text in axes.texts if f"{wanted or 0.8:g} from" in text.get_text())
    box = Text.get_window_extent(label)  # without its arrow
    ground = label.get_bbox_patch()
    assert ground.get_facecolor() == (1, 1, 1, 1)
    assert all(
        label.get_zorder() > line.get_zorder() for line in axes.lines if line.get_ls() != "None"
    )
    assert box.y1 < axes.transData.transform((0, wanted or 0.8))[1]
    assert not box.overlaps(even.get_window_extent())
    assert box.x1 <= axes.bbox.x1


@pytest.mark.slow
@pytest.mark.charts
def test_the_chart_is_the_same_each_time():
    display = load_display("sign")
    report = assess_light(display)
    assert light_plot(display, report) == light_plot(display, report)


@pytest.mark.parametrize(
    "words",
    [
        ("light", "foyer", "--distance", "0m"),
        ("light", "foyer", "--distance", "six"),
        ("light", "foyer", "--ambient", "200m"),
        ("light", "foyer", "--ambient", "1e9klx"),
        ("light", "foyer", "--plot", "chart.doc"),
        ("render", "foyer", "--distance", "-1m"),
        ("render", "foyer", "--ambient", "bright"),
        ("render", "foyer", "--compare", "depth"),
        ("render", "foyer", "--compare", "depth=0,5"),
        ("render", "foyer", "--compare", "depth=a"),
        ("render", "foyer", "--compare", "depth=nan"),
        ("render", "foyer", "--compare", "opening=40"),
        ("render", "foyer", "--compare", "walls=red"),
        ("render", "foyer", "--compare", "colour=3"),
        ("render", "foyer", "--compare", "depth=5", "--photo"),
    ],
)
def test_bad_input_is_a_usage_error_and_leaves_nothing(foreglow, words):
    status, _, err = foreglow(*words)
    assert status == 2
    assert "Traceback" not in err
    assert left_behind() == []


def test_ambient_light_takes_the_black_out_of_the_picture(foreglow):
    foreglow("render", "foyer", "dark", "-o", "night.png", "--width", 180)
    foreglow(
        "render", "foyer", "dark", "-o", "day.png", "--width", 180,
        "--distance", "6m", "--ambient", "200lx",
    )  # fmt: skip
    assert pixels("night.png").max() == 0
    day = pixels("day.png")
    assert 20 < day.min() == day.max() < 128


def test_from_afar_a_shallow_cover_loses_its_spots(foreglow):
    Path("wall.toml").write_text(
        "[grid]\ncolumns=9\nrows=9\npitch_mm=10\n[chip]\npart='WS2812B'\n[wiring]\n"
        "[cover]\ndepth_mm=2\n"
    )
    spread = []
    for metres in (1, 60):
        foreglow(
            "render", "wall", "full-load", "--at", "7s", "--distance", f"{metres}m",
            "-o", "w.png", "--width", 180,
        )  # fmt: skip
        spread.append(np.ptp(pixels("w.png")[80:100, 80:100]))
    assert spread[0] > 150
    assert spread[1] < 30


@pytest.mark.slow
def test_covers_side_by_side_each_with_its_label(foreglow):
    status, _, _ = foreglow("render", "foyer", "--compare", "depth=5,10,20", "-o", "c.png")
    assert status == 0
    page = pixels("c.png")
    assert 940 <= page.shape[1] <= 960
    # Deeper is more even: pixels differ less from one to the next.
    third = page.shape[1] // 3
    tiles = [page[60:90, start : start + third].sum(axis=2) for start in (0, third, 2 * third)]
    rough = [np.abs(np.diff(tile, axis=1)).mean() for tile in tiles]
    assert rough[0] > rough[2]
    # Full white and, below it, a text: it is mostly dark.
    upper, lower = np.array_split(page[50:], 2)
    assert upper[:, : third - 20].mean() > 2 * lower[:, : third - 20].mean()
    for asked in ("off_centre=-2,0,2", "walls=none,black,white"):
        words = ("--compare", asked, "--width", 240, "-o", "o.png")
        assert foreglow("render", "sign", "ramp", *words)[0] == 0


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        ("depth=5mm", "without the unit"),
        ("depth=5000", "less than or equal to 1000"),
        ("walls=red", "'none', 'black' or 'white'"),
        ("opening=40", "an opening of 40 mm does not fit cells 33.333 mm apart"),
        ("off_centre=0,17", "strips 17 mm off the middle"),
    ],
)
def test_a_cover_that_cannot_be_says_why(foreglow, asked, why):
    status, _, err = foreglow("render", "foyer", "--compare", asked)
    assert status == 2
    assert re.search(why, " ".join(err.replace("│", " ").split()))


def test_covers_are_drawn_in_one_exposure(foreglow):
    foreglow(
        "render", "foyer", "dark", "--compare", "depth=5,25", "--ambient", "500lx", "-o", "c.png"
    )  # fmt: skip
    page = pixels("c.png")
    one, other = page[150, 240], page[150, 720]
    assert tuple(one) == tuple(other)
    assert one[0] > 60


def test_a_photo_brings_out_a_dim_picture(foreglow):
    foreglow("render", "foyer", "aurora", "-o", "eye.png", "--width", 180)
    foreglow("render", "foyer", "aurora", "-o", "photo.png", "--width", 180, "--photo")
    assert pixels("photo.png").mean() > 1.2 * pixels("eye.png").mean()
