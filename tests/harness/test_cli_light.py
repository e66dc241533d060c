"""`foreglow light`, and the looks of `foreglow render`."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image


def pixels(path: str) -> np.ndarray:
    with Image.open(path) as image:
        return np.asarray(image.convert("RGB")).astype(int)


def left_behind() -> list[str]:
    return sorted(str(p) for p in Path().rglob("*") if p.is_file())


def test_the_report_names_every_figure_and_leaves_a_chart(foreglow):
    status, out, err = foreglow("light", "foyer", "--distance", "6m", "--ambient", "200lx")
    assert (status, err) == (0, "")
    for word in ("cd/m²", "contrast", "min/mean", "min/max", "cross-talk", "167 mm", "fuse",
                 "no CCT", "D65", "knee", "[cover]"):  # fmt: skip
        assert word in out
    assert max(map(len, out.splitlines())) <= 80
    assert pixels("foreglow-out/foyer-light.png").shape[1] > 800


def test_json_has_the_same_figures(foreglow):
    status, out, _ = foreglow("light", "sign", "--json", "--plot", "c.svg", "--distance", "250cm")
    found = json.loads(out)
    assert status == 0
    assert set(found) == {"display", "figures", "white", "depths", "reads_from_m"}
    assert found["figures"]["distance_m"] == 2.5
    assert found["white"]["temperature_k"] is None
    assert len(found["depths"]["depth_mm"]) == len(found["depths"]["crosstalk"])
    assert left_behind() == ["c.svg"]
    assert "Cross-talk" in Path("c.svg").read_text()


def test_the_chart_is_the_same_each_time(foreglow):
    for name in ("a.png", "b.png"):
        foreglow("light", "sign", "--plot", name)
    assert Path("a.png").read_bytes() == Path("b.png").read_bytes()


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
    foreglow("render", "foyer", "--pattern", "dark", "-o", "night.png", "--width", 180)
    foreglow(
        "render", "foyer", "--pattern", "dark", "-o", "day.png", "--width", 180,
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
            "render", "wall", "--pattern", "full-load", "--at", "7s", "--distance", f"{metres}m",
            "-o", "w.png", "--width", 180,
        )  # fmt: skip
        spread.append(np.ptp(pixels("w.png")[80:100, 80:100]))
    assert spread[0] > 150
    assert spread[1] < 30


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
    status, _, _ = foreglow("render", "sign", "--compare", "walls=none,black,white", "-o", "w.png")
    assert status == 0


def test_a_photo_brings_out_a_dim_picture(foreglow):
    foreglow("render", "foyer", "--scene", "aurora", "-o", "eye.png", "--width", 180)
    foreglow("render", "foyer", "--scene", "aurora", "-o", "photo.png", "--width", 180, "--photo")
    assert pixels("photo.png").mean() > 1.2 * pixels("eye.png").mean()
