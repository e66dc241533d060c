"""Colours and levels that are wrong in ways that once passed, each named with its figures."""

from __future__ import annotations

import dataclasses
import re
import tomllib

import numpy as np
import pytest

from emulator import load_display, shorthand
from emulator.description.canvas import CanvasSection
from emulator.description.chips import chip
from harness.checks.check import run_checks
from harness.measure.pictures import measuring_pictures
from harness.mistakes import FAULTS, as_seen
from harness.subject.subject import Subject, own_code
from harness.subject.trial import Trial
from tests.harness.measure.wrong_colours import Wrong, curve_of, full, own_cells, send, srgb
from tests.tables import telling

SIGN = load_display("sign")
BANNER = load_display("banner")


def wall(columns, rows, like, lines=1):
    display = load_display(like)
    return dataclasses.replace(
        display,
        grid=display.grid.model_copy(update={"columns": columns, "rows": rows, "gaps": []}),
        wiring=shorthand(np.zeros((rows, columns), dtype=bool), lines=lines),
        power=display.power.model_copy(update={"limit_a": None}),
    )


WALL = wall(20, 10, "foyer", lines=2)
IN_17 = np.arange(200)[:, None] == 17


def findings(display, to_wire, *only):
    report = run_checks(Trial(display, Subject("test", to_wire)), only or ("colour", "levels"))
    return report.findings


def said(display, **changes):
    found = findings(display, Wrong("test", (), **changes).to_wire(display))
    return [f.what for f in found if f.severity != "note"]


# By hand: 0.214 is the sRGB light of level 128 (IEC 61966-2-1); 255 · 0.0865 = 22, the drive of 84.
@pytest.mark.parametrize(
    ("changes", "what"),
    telling([
        ({"light": lambda d: d * np.array([1, 0.1, 1])}, r"green shows at 10% of red and blue: "),
        ({"light": lambda d: d * np.array([0.5, 1, 1])}, r"red shows at 50% of green and blue: "),
        (
            {"light": lambda d: np.minimum(d @ (0.8 * np.eye(3) + 0.2), 255)},
            r"20% of each channel leaks into the others$",
        ),
        (
            {"values": lambda v: np.where((v > 0) & (v < 15), 255, v)},
            r"levels 1 to 14 show full light$",
        ),
        ({"values": lambda v: np.where(v < 80, 0, v)}, r"levels below 80 are dark"),
        (
            {"values": lambda v: np.where((v >= 97) & (v <= 104), 0, v)},
            r"levels 97 to 104 are dark$",
        ),
        ({"light": lambda d: np.where(d < 24, 0, d)}, r"levels below 86 are dark"),
        ({"values": lambda v: 255 * srgb(v / 255)}, r"levels go through the curve twice"),
        ({"light": lambda d: 1.5 * d}, r"levels from 213 on all show full light: .* 1.50"),
        ({"values": lambda v: v // 32 * 32}, r"3 bits are left of 8: 8 different levels"),
        ({"light": lambda d: d // 32 * 32}, r"3 bits are left of 8: 8 different levels"),
        ({"light": lambda d: 0.21 * d}, r"full white shows 21% of full light$"),
        ({"light": lambda d: np.maximum(d, 3)}, r"black shows drive 3: 1.2% of full$"),
        ({"light": lambda d: np.minimum(d + 3, 255)}, r"black shows drive 3: 1.2% of full$"),
        ({"light": lambda d: np.where(IN_17, 0.6 * d, d)}, r"LED 17 of line 0 shows 60% of"),
        (
            {"light": lambda d: np.where(np.arange(200)[:, None] >= 100, 0.6 * d, d)},
            r"line 1 shows 60% of the light of the rest$",
        ),
    ], lambda case: re.match("green|levels (97|from)|3 bits|LED", case[1])),
)  # fmt: skip
def test_each_is_named_with_its_figures_and_nothing_else_is_said(changes, what):
    (only,) = said(WALL, **changes)
    assert re.match(what, only), only


def test_white_that_lights_with_pure_red_is_named():
    def with_red(drives):
        white = drives.min(axis=1)
        pure = (drives[:, 0] > 0) & (drives[:, 1:] == 0).all(axis=1)
        rest = drives - white[:, None]
        return np.hstack([rest, np.where(pure, 255, white)[:, None]])

    assert said(BANNER, drives=with_red) == ["W lights with pure red, at 100% of full"]


def test_figures_stay_right_behind_a_wrong_map_and_swapped_channels():
    other = dataclasses.replace(WALL, wiring=shorthand(WALL.gap, path="progressive", lines=2))
    wrong = Wrong("test", (), light=lambda d: (d * np.array([1, 0.4, 1]))[:, [1, 0, 2]])
    found = findings(WALL, wrong.to_wire(other), "map", "colour", "levels")
    told = [f.what for f in found]
    assert "progressive" in told[0]
    assert told[1] == "red and green swapped"
    assert told[2].startswith("green shows at 40% of red and blue")
    assert len(told) == 3


def test_a_limit_that_dims_whole_pictures_hides_nothing_and_makes_nothing_up():
    def code(gain):
        def to_wire(picture):
            drives = np.round(255 * srgb(own_cells(picture, WALL) / 255)) * gain
            dimmed = drives * min(1, 0.1 * 255 / max(drives.mean(), 1e-9))
            return send(np.floor(dimmed), WALL)

        return to_wire

    found = findings(WALL, code(np.ones(3)))
    assert [f.severity for f in found] == ["note"]
    assert "dimmed to 10%" in found[0].what
    found = findings(WALL, code(np.array([1, 1, 0.5])))
    assert found[0].what.startswith("blue shows at 50% of red and green")
    assert len(found) == 2


@pytest.mark.parametrize(
    ("gains", "exponent"),
    telling(
        [((1, 0.8, 0.6), 2.2), ((0.21, 0.21, 0.21), 2.2), ((1, 1, 1), 1.0), ((0.5, 0.4, 0.3), 2.8)],
        lambda case: case[1] == 2.8,
    ),
)
def test_the_lines_that_are_printed_load_and_make_the_check_pass(gains, exponent):
    def to_wire(picture):
        light = (own_cells(picture, SIGN) / 255) ** exponent * np.array(gains)
        return send(255 * light, SIGN)

    found = findings(SIGN, to_wire)
    found = [f for f in found if f.severity != "note"]  # 2.2 is nearly sRGB
    assert {f.severity for f in found} == {"warning"}
    for finding in found:
        lines = finding.remedy[finding.remedy.rindex("[canvas]") :]
        canvas = CanvasSection(**tomllib.loads(lines)["canvas"])
        left = findings(dataclasses.replace(SIGN, canvas=canvas), to_wire)
        assert {f.severity for f in left} <= {"note"}


@pytest.mark.parametrize("cells", [1, 5, 9, 40, 64, 128, 576, 716])
def test_the_pictures_hold_every_level_of_every_channel_and_every_cell_at_several(cells):
    pictures = measuring_pictures(cells)
    assert len(pictures.values) <= 32 or cells < 70
    measured = ~pictures.references & pictures.single[:, None]
    values = pictures.values.astype(int)
    for channel in range(3):
        alone = measured & (np.delete(values, channel, axis=2) == 0).all(axis=-1)
        levels = values[..., channel][alone]
        assert np.array_equal(np.unique(levels[levels > 0]), np.arange(1, 256))
        of_each = (alone & (values[..., channel] > 0)).sum(axis=0)
        assert of_each.min() >= (2 if cells > 8 else 1)
    grey = (~pictures.references & pictures.grey[:, None]).sum(axis=0)
    assert grey.min() >= 3


def test_a_chip_of_seven_bits_is_not_blamed_for_them():
    sign = wall(16, 12, "sign")
    seven = dataclasses.replace(sign, chip=chip("LPD8806"))
    assert findings(seven, own_code(seven).to_wire) == ()


def with_cells(display, cells):
    """Right colours at the cells (N,) that the LEDs show, dark below 0."""

    def to_wire(picture):
        shown = curve_of(display)(picture.reshape(-1, 3)[np.maximum(cells, 0)] / 255.0)
        return send(full(display) * shown * (cells >= 0)[:, None], display)

    return to_wire


@pytest.mark.parametrize("dark", [0.25, 0.5, 0.9])
@pytest.mark.parametrize(
    ("columns", "rows"), telling([(8, 4), (5, 3), (12, 9)], lambda size: size == (8, 4))
)
def test_a_wrong_map_with_dark_leds_draws_no_fault_of_colours_or_levels(columns, rows, dark):
    display = wall(columns, rows, "foyer")
    wiring = display.wiring
    for number, name in enumerate(("late", "range reversed", "other width")):
        rng = np.random.default_rng([number, columns])
        fault = FAULTS[name].example(wiring, rng)
        cells = as_seen(wiring.cell if fault is None else fault.apply(wiring.cell, wiring), wiring)
        cells = np.where(rng.random(len(cells)) < dark, -1, cells)
        said = findings(display, with_cells(display, cells))
        assert not [f.what for f in said if f.severity != "note"], (name, cells)
