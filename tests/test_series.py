"""Several LEDs in series on one chip, as three on most 12 V strips."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from emulator import Bench, Display, DisplayFileError, parse_display
from emulator.canvas import current_a, to_drives
from emulator.description.cutlist import cut_list
from emulator.light.cover import Spot, axes, illuminance_lx
from emulator.light.front import over_opening
from emulator.light.look import Look
from emulator.light.primaries import chip_primaries
from emulator.light.wall import WallView
from emulator.power.load import headroom
from harness.checks.check import run_checks
from harness.cli import app
from harness.subject.subject import own_code
from harness.subject.trial import Trial

# 60 LEDs/m are 20 groups/m, 50 mm apart.
STRIP = """
[grid]
columns = {columns}
rows = {rows}
pitch_mm = 50
[chip]
part = "WS2811-LOW"
volts = 12
in_series = {series}
emitter_mm = {emitter}
[wiring]
along = "{along}"
[cover]
walls = "{walls}"
depth_mm = {depth}
scatter_mm = 0
"""


def strip(
    series: int = 3, *, columns: int = 20, rows: int = 1, along: str = "rows", walls: str = "none",
    depth: float = 10, emitter: float = 0,
) -> Display:  # fmt: skip
    text = STRIP.format(
        series=series, columns=columns, rows=rows, along=along, walls=walls, depth=depth,
        emitter=emitter,
    )  # fmt: skip
    return parse_display(text, Path("strip.toml"))


def test_a_metre_of_12_v_strip_takes_14_4_w_at_full_white():
    # 60 LEDs/m at 12 V are sold as 14.4 W/m: common practice, no source.
    display = strip()
    white = to_drives(np.ones(display.picture_shape), display)
    lit_a = current_a(white, display.chip) - display.leds * display.chip.dark_ma / 1000
    assert 12 * lit_a == pytest.approx(14.4)


def test_the_group_needs_the_forward_voltages_of_all_its_leds():
    # Of one LED 2.1, 3.2 and 3.2 V (WS2812B datasheet); its sink needs 0.4 V more (assumed).
    chip = strip().chip
    assert chip.channel_forward_v == pytest.approx((6.3, 9.6, 9.6))
    assert headroom(np.array(10.0), chip) == pytest.approx([1, 1, 1])
    red, green, blue = headroom(np.array(9.8), chip)
    assert red == 1
    assert green == blue == pytest.approx(0.5)  # half of the dropout: x²(3 − 2x) at 1/2
    assert headroom(np.array(9.6), chip)[1] == 0


def test_one_chip_takes_one_chip_of_the_wire():
    one, three = strip(1), strip(3)
    dark = np.zeros(one.picture_shape)
    assert Bench(one).send(dark).wire_ns == Bench(three).send(dark).wire_ns
    assert cut_list(three).pieces[0].leds == 20
    assert cut_list(three).pieces[0].length_mm == pytest.approx(1000)
    assert three.leds_in_words == "20 groups of 3 LEDs WS2811-LOW"


def test_every_check_passes_on_a_wall_of_groups():
    display = strip(columns=8, rows=6, depth=30, walls="white")
    report = run_checks(Trial(display, own_code(display)))
    assert (report.verdict, report.findings) == ("pass", ())


@pytest.mark.parametrize(
    ("series", "volts", "key"), [(3, 5, "in_series"), (4, 12, "in_series"), (1, 3, "volts")]
)
def test_a_supply_too_low_for_the_group_is_refused(series, volts, key):
    text = STRIP.format(series=series, columns=4, rows=1, along="rows", walls="none", depth=10,
                        emitter=0)  # fmt: skip
    with pytest.raises(DisplayFileError, match="never lights") as caught:
        parse_display(text.replace("volts = 12", f"volts = {volts}"), Path("strip.toml"))
    assert caught.value.problems[0].key == key


def test_the_light_is_that_of_as_many_sources_along_the_strip():
    """The cos⁴ law of each source alone, summed: none of the model's own code."""
    display = strip()
    across, down = axes(display)
    assert across.leds_mm == pytest.approx([-50 / 3, 0, 50 / 3])
    assert down.leds_mm == pytest.approx([0])
    spot = Spot.before(display)
    x = np.linspace(-60, 60, 49)
    found = spot.profiles(x, across) @ (spot.weight * spot.profiles(4.0, down))
    wanted = np.mean([illuminance_lx(np.hypot(x - led, 4.0), 10) for led in across.leds_mm], axis=0)
    assert found == pytest.approx(wanted, rel=1e-3)
    candela = chip_primaries(display.chip).intensity_cd
    assert candela == pytest.approx(3 * chip_primaries(strip(1).chip).intensity_cd)


@pytest.mark.parametrize(("along", "axis"), [("rows", 1), ("columns", 0)])
def test_the_wall_shows_the_spots_of_each_group(along, axis):
    display = strip(columns=3, rows=3, along=along, walls="black", depth=4, emitter=3.5)
    view = WallView(display, 300, Look(distance_m=0.3))
    cells = np.zeros((3, 3, 3), np.float32)
    cells[1, 1] = 1
    light = view.luminance(cells).sum(axis=1 - axis)
    inner = light[1:-1]
    peaks = np.flatnonzero(
        (inner > light[:-2]) & (inner >= light[2:]) & (inner > 0.3 * light.max())
    )
    assert (peaks + 1.5) / 100 == pytest.approx([1 + 1 / 6, 1.5, 1 + 5 / 6], abs=0.03)
    across = view.luminance(cells).sum(axis=axis)
    assert np.argmax(across) == pytest.approx(150, abs=2)


def test_a_group_lights_its_cell_more_evenly_than_one_led():
    one, three = (over_opening(strip(n, walls="black", emitter=3.5)) for n in (1, 3))
    assert three.min_to_mean > one.min_to_mean


def test_an_led_beneath_a_wall_gives_no_light():
    text = STRIP.format(series=3, columns=4, rows=1, along="rows", walls="black", depth=10,
                        emitter=0)  # fmt: skip
    narrow = parse_display(text + "opening_mm = 20\n", Path("strip.toml"))
    (across, _), spot = axes(narrow), Spot.before(narrow)
    # The two outer ones sit 16.7 mm off the middle of an opening of 20 mm.
    assert spot.profiles(0.0, across) == pytest.approx(np.full(len(spot.weight), 1 / 3))


def test_a_measured_strip_counts_groups(tmp_path):
    # 60 LEDs of such a strip are 20 groups: 1.2 A, as above, and 20 mA for the chips themselves.
    path = tmp_path / "strip.toml"
    path.write_text(
        STRIP.format(series=3, columns=20, rows=1, along="rows", walls="none", depth=10, emitter=0)
    )
    told = CliRunner().invoke(app, ["power", str(path), "--measured", "20 LEDs 1.22 A"])
    assert told.exit_code == 0, told.output
    said = told.output
    assert "an LED of the measurement is a group of 3 in series" in " ".join(said.split())
    channel_ma = float(re.search(r"channel_ma = ([0-9.]+)", said)[1])
    assert channel_ma == pytest.approx(20, rel=0.01)
