"""Flash counts of hand-made traces against the definition.

Source of every answer: WCAG 2.2 (W3C Recommendation), success criterion 2.3.1 and its definition
'general flash and red flash thresholds' with notes, its wording quoted from memory.
What the definition leaves open is named beside the check as ours.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import parse_display
from harness.flash.changes import (
    chromaticity_uv,
    flashes_by_second,
    general_changes,
    red_changes,
    relative_luminance,
)
from harness.flash.field import FIELD_SR, Fields
from harness.flash.judge import judge_light
from tests.tables import telling

STEP_NS = 10_000_000  # 100 samples a second
BLACK, WHITE, RED = (0.0, 0.0, 0.0), (1.0, 1.0, 1.0), (1.0, 0.0, 0.0)
GREEN, BLUE = (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


def times(seconds: float) -> np.ndarray:
    return np.arange(round(seconds * 100)) * STEP_NS


def wave(hertz: float, seconds: float, low: object, high: object) -> np.ndarray:
    """A square wave that begins low; low and high are numbers or colours."""
    half = (times(seconds) * 2 * hertz / 1e9 + 1e-9).astype(int) % 2 == 1
    return np.stack([np.asarray(high if lit else low, dtype=float) for lit in half])


def count(luminances: list[float]) -> int:
    """Flashes of a place that shows these luminances within a second."""
    trace = np.array(luminances)[:, None]
    return int(flashes_by_second(general_changes(trace), np.arange(len(trace)))[-1, 0])


def most_general(trace: np.ndarray) -> int:
    flashes = flashes_by_second(general_changes(trace[:, None]), np.arange(len(trace)) * STEP_NS)
    return int(flashes.max())


def most_red(trace: np.ndarray) -> int:
    flashes = flashes_by_second(red_changes(trace[:, None, :]), np.arange(len(trace)) * STEP_NS)
    return int(flashes.max())


# "a pair of opposing changes in relative luminance of 10% or more of the maximum relative
# luminance (1.0) where the relative luminance of the darker image is below 0.80", and "a pair of
# opposing changes is an increase followed by a decrease, or a decrease followed by an increase".
@pytest.mark.parametrize(
    ("trace", "flashes"),
    [
        ([0.0, 1.0, 0.0], 1),  # an increase followed by a decrease
        ([1.0, 0.0, 1.0], 1),  # a decrease followed by an increase
        ([0.0, 1.0], 0),  # one change is not a pair
        ([0.0, 1.0, 0.0, 1.0], 1),  # three changes: one pair
        ([0.0, 1.0, 0.0, 1.0, 0.0], 2),
        ([0.5, 0.6, 0.5], 1),  # exactly 10 %
        ([0.5, 0.599, 0.5], 0),
        ([0.5, 0.6, 0.501], 0),  # the way back is less than 10 %
        ([0.79, 0.9, 0.79], 1),  # the darker image below 0.80
        ([0.80, 0.9, 0.80], 0),  # it is not below
        ([0.85, 1.0, 0.85], 0),
        ([0.0, 0.5, 1.0, 0.5, 0.0], 1),  # in steps, one rise and one fall
        ([0.0, 0.04, 0.08, 0.12, 0.08, 0.04, 0.0], 1),  # gradual: no single step is 10 %
        ([0.0, 0.5, 0.45, 0.9, 0.85, 0.0], 1),  # small dips in between do not count
        ([1.0, 0.85, 0.79, 0.85, 1.0], 1),  # counts where the darker end falls below 0.80
        ([0.3] * 20, 0),
    ],
)
def test_what_is_one_general_flash(trace, flashes):
    assert count(trace) == flashes


def most_changes(trace: list[float]) -> int:
    """The longest chain of opposing changes that a trace holds, by trying every turning point."""
    # longest[sign][k]: changes of the longest chain that ends with a change of that sign at k.
    longest = {1: [0] * len(trace), -1: [0] * len(trace)}
    for k, now in enumerate(trace):
        for before in range(k):
            change = now - trace[before]
            if abs(change) >= 0.1 - 1e-9 and min(now, trace[before]) < 0.8 - 1e-9:
                sign = 1 if change > 0 else -1
                longest[sign][k] = max(longest[sign][k], longest[-sign][before] + 1)
    return max(max(longest[1]), max(longest[-1]))


@given(st.lists(st.lists(st.integers(0, 20), min_size=14, max_size=14), min_size=1, max_size=4))
def test_changes_are_the_most_that_oppose_each_other(traces):
    # It misses no flash and invents none: compared with every choice of turning points.
    luminance = np.array(traces).T / 20
    changes = general_changes(luminance)
    for place, trace in enumerate(traces):
        assert np.abs(changes[:, place]).sum() == most_changes([v / 20 for v in trace])
        signs = changes[changes[:, place] != 0, place]
        assert (np.diff(signs) != 0).all(), "rises and falls alternate"


# "no more than three general flashes … within any one-second period".
@pytest.mark.parametrize(("hertz", "most"), [(1, 1), (2, 2), (3, 3), (4, 4), (5, 5), (10, 10)])
def test_flashes_in_the_worst_second_of_a_square_wave(hertz, most):
    assert most_general(wave(hertz, 4, 0.0, 1.0)) == most


def test_any_second_counts_not_only_whole_ones():
    # Eight changes from 0.6 s to 1.3 s: two flashes fall in the first clock second, two in the
    # next, but four within one second.
    trace = np.zeros(300)
    for at in (60, 80, 100, 120):
        trace[at : at + 10] = 1.0
    assert most_general(trace) == 4
    trace = np.zeros(300)
    for at in (60, 100, 140, 180):  # the eighth change lies 1.3 s after the first
        trace[at : at + 10] = 1.0
    assert most_general(trace) == 3


def test_relative_luminance_is_that_of_srgb():
    # WCAG 2.2, 'relative luminance': L = 0.2126 R + 0.7152 G + 0.0722 B of linear R, G, B.
    light = np.array([RED, GREEN, BLUE, WHITE, BLACK])
    assert relative_luminance(light) == pytest.approx([0.2126, 0.7152, 0.0722, 1.0, 0.0])


def test_chromaticities_are_those_of_the_cie_1976_diagram():
    # u', v' of the sRGB primaries and D65: computed by hand from their x, y (IEC 61966-2-1) with
    # u' = 4x/(-2x+12y+3), v' = 9y/(-2x+12y+3) (CIE 15, CIE 1976 UCS diagram).
    xy = np.array([(0.64, 0.33), (0.30, 0.60), (0.15, 0.06), (0.3127, 0.3290)])
    below = -2 * xy[:, 0] + 12 * xy[:, 1] + 3
    wanted = np.stack([4 * xy[:, 0] / below, 9 * xy[:, 1] / below], axis=-1)
    found = chromaticity_uv(np.array([RED, GREEN, BLUE, WHITE]))
    assert found == pytest.approx(wanted, abs=2e-4)


# Note 2 (2.2): "a pair of opposing transitions where one transition is either to or from a state
# with a value R/(R + G + B) that is greater than or equal to 0.8, and the difference between
# states is more than 0.2 (unitless) in the CIE 1976 UCS chromaticity diagram".
@pytest.mark.parametrize(
    ("one", "other", "flashes"),
    [
        (RED, WHITE, True),  # 0.259 apart
        (RED, GREEN, True),
        (RED, BLUE, True),
        ((0.8, 0.1, 0.1), GREEN, True),  # R/(R+G+B) of exactly 0.8
        ((0.78, 0.11, 0.11), GREEN, False),  # 0.78: as far apart, but not saturated
        (GREEN, BLUE, False),
        # 0.8 of red in 1.0, from 0.2 of green and blue more: apart by less than 0.2
        (RED, (0.7, 0.15, 0.15), False),
        (RED, (0.3, 0.0, 0.0), False),  # the same colour, dimmer
        # Darkness has no colour in the definition; that it counts as white is ours.
        (RED, BLACK, True),
        ((0.3, 0.0, 0.0), BLACK, True),  # a change of luminance of 6 %: no general flash
        (WHITE, BLACK, False),
    ],
)
def test_what_is_a_red_flash(one, other, flashes):
    assert most_red(wave(4, 2, one, other)) == (4 if flashes else 0)
    assert most_red(wave(4, 2, other, one)) == (4 if flashes else 0)


def test_a_gradual_way_to_red_and_back_is_one_flash():
    share = np.concatenate([np.linspace(0, 1, 30), np.linspace(1, 0, 30)])[:, None]
    assert most_red(share * RED + (1 - share) * WHITE) == 1


def wall(columns=40, rows=40, pitch_mm=20.0, distance_m=2.0):
    return parse_display(
        f"[grid]\ncolumns={columns}\nrows={rows}\npitch_mm={pitch_mm}\n[chip]\npart='WS2812B'\n"
        f"[wiring]\n[view]\ndistance_m={distance_m}\n",
        Path("wall.toml"),
    )


def flashing(display, lit: np.ndarray, hertz=5.0, seconds=2.0):
    """The judgement of cells `lit` (rows, columns) that blink white, all others dark."""
    on = wave(hertz, seconds, 0.0, 1.0)[:, None, None]
    leds = lit.ravel()[display.wiring.cell]
    light = (on * leds[None, :, None] * np.ones(3)).astype(np.float32)
    return judge_light(light, times(seconds), display)


def test_the_field_is_10_degrees_and_a_quarter_of_it_is_0_006_sr():
    # "a total of .006 steradians within any 10 degree visual field … (25% of any 10 degree
    # visual field …)": the disc of 10° is 2π(1 − cos 5°) sr.
    disc_sr = 2 * math.pi * (1 - math.cos(math.radians(5)))
    assert pytest.approx(disc_sr) == FIELD_SR
    assert disc_sr / 4 == pytest.approx(0.006, abs=5e-5)


# A cell of 20 mm at 2 m is 1e-4 sr: 60 of them are 0.006 sr. The field is 35 cells wide.
@pytest.mark.parametrize(("cells", "below"), [(60, True), (61, False)])
def test_the_area_of_flashes_on_both_sides(cells, below):
    display = wall()
    lit = np.zeros((40, 40), dtype=bool)
    lit[15:25, 15:21] = True
    lit[25, 15 : 15 + cells - 60] = True
    judged = flashing(display, lit)
    assert judged.general.area_sr == pytest.approx(cells * 1e-4)
    assert judged.below is below
    assert judged.red.area_sr == 0


@pytest.mark.parametrize(("hertz", "below"), [(3.0, True), (4.0, False)])
def test_the_number_of_flashes_on_both_sides(hertz, below):
    assert flashing(wall(), np.ones((40, 40), bool), hertz).below is below


@pytest.mark.parametrize(("metres", "below"), [(2.0, False), (2.5, True)])
def test_from_afar_the_same_flashes_are_smaller(metres, below):
    # 90 cells of 20 mm: 0.009 sr at 2 m, 0.00576 sr at 2.5 m.
    lit = np.zeros((40, 40), dtype=bool)
    lit[15:25, 15:24] = True
    assert flashing(wall(distance_m=metres), lit).below is below


def test_areas_that_no_field_holds_together_do_not_add_up():
    # The field is 2 · 2 m · tan 5° = 350 mm across. Two patches of 40 cells, 0.004 sr each.
    apart, close = np.zeros((2, 40, 40), dtype=bool)
    apart[0:8, 0:5] = apart[32:40, 35:40] = True
    close[10:18, 10:15] = close[10:18, 16:21] = True
    assert flashing(wall(), apart).general.area_sr == pytest.approx(0.004)
    assert flashing(wall(), apart).below
    assert flashing(wall(), close).general.area_sr == pytest.approx(0.008)
    assert not flashing(wall(), close).below


def test_flashes_out_of_step_add_up_in_area():
    # Ours, to be on the safe side: "concurrently" is within the same second.
    display = wall()
    phase = (np.arange(display.leds) % 7) * 3
    trace = wave(5, 3, 0.0, 1.0)
    light = np.stack([np.roll(trace, shift) for shift in phase], axis=1)[..., None]
    judged = judge_light((light * np.ones(3)).astype(np.float32), times(3), display)
    assert not judged.below
    assert judged.general.area_share > 0.9


@pytest.mark.parametrize(("hertz", "below"), [(1.5, True), (2.0, False)])
def test_flashes_of_a_field_count_even_if_different_places_take_turns(hertz, below):
    # Upper and lower half flash by turns, each `hertz` times a second: the content has twice as
    # many flashes, each on half of the field.
    display = wall(columns=16, rows=16)
    upper = display.wiring.row < 8
    slot = (times(4) * 4 * hertz / 1e9 + 1e-9).astype(int) % 4
    light = np.zeros((len(slot), display.leds, 3), np.float32)
    light[np.ix_(slot == 0, upper)] = 1
    light[np.ix_(slot == 2, ~upper)] = 1
    judged = judge_light(light, times(4), display)
    assert judged.general.most <= 2
    assert judged.general.in_step == 2 * hertz
    assert judged.below is below


def test_a_bright_bar_that_moves_is_no_flash_of_the_field():
    # Ten steps a second; each cell is lit once in 3 s, and as much of the field rises as falls.
    display = wall(columns=30, rows=30)
    step = (times(3) // 100_000_000)[:, None]
    inside = (display.wiring.column >= step) & (display.wiring.column < step + 8)
    light = np.repeat(inside[..., None], 3, axis=2).astype(np.float32)
    judged = judge_light(light, times(3), display)
    assert (judged.general.most, judged.general.in_step) == (1, 0)


# "Exception: Flashing that is a fine, balanced, pattern such as white noise or an alternating
# checkerboard pattern with "squares" smaller than 0.1 degree (of visual field at typical viewing
# distance) on a side does not violate the thresholds". 0.1° of 8 m is 13.96 mm.
@pytest.mark.slow
@pytest.mark.parametrize(
    ("pitch_mm", "balanced", "below"),
    [(13.9, True, True), (14.1, True, False), (13.9, False, False)],
)
def test_a_fine_balanced_pattern_on_both_sides(pitch_mm, balanced, below):
    display = wall(columns=120, rows=120, pitch_mm=pitch_mm, distance_m=8.0)
    odd = (display.wiring.column + display.wiring.row) % 2 == 1
    first = wave(5, 1.2, 0.0, 1.0)[::5] > 0.5
    lit = first[:, None] ^ (odd & balanced)[None, :]
    light = np.repeat(lit[..., None], 3, axis=2).astype(np.float32)
    assert judge_light(light, times(1.2)[::5], display).below is below


@pytest.mark.slow
@pytest.mark.parametrize(
    ("cells", "below"),
    telling([(1, True), (2, True), (3, False), (4, False)], lambda case: case[0] in (2, 3)),
)
def test_squares_of_several_cells_are_fine_up_to_0_1_degree(cells, below):
    # At 8 m: 2 cells of 6.5 mm are 13 mm, below 13.96 mm; 3 are 19.5 mm.
    display = wall(columns=96, rows=144, pitch_mm=6.5, distance_m=8.0)
    odd = (display.wiring.column // cells + display.wiring.row // cells) % 2 == 1
    lit = (wave(5, 1.2, 0.0, 1.0)[::5] > 0.5)[:, None] ^ odd[None, :]
    light = np.repeat(lit[..., None], 3, axis=2).astype(np.float32)
    judged = judge_light(light, times(1.2)[::5], display)
    assert judged.below is below
    # Of all cells where it counts; at the edge where it does not, since half a square is lit.
    whole = 96 * 144 * (0.0065 / 8) ** 2
    assert (judged.general.area_sr == pytest.approx(whole)) is not below


def test_seconds_do_not_reach_back_before_the_first_frame():
    # Four flashes in the first 0.7 s: the worst second ends there, and began with the first frame.
    display = wall()
    begin_ns = 7_000_000_000
    light = (np.arange(9) % 2)[:, None, None] * np.ones((display.leds, 3), np.float32)
    times_ns = begin_ns + np.arange(9) * 90_000_000
    worst = judge_light(light.astype(np.float32), times_ns, display).worst
    assert (worst.most, worst.from_ns, worst.to_ns) == (4, begin_ns, begin_ns + 8 * 90_000_000)
    later = judge_light(
        np.concatenate([light[:1].repeat(20, axis=0), light]).astype(np.float32),
        np.concatenate([begin_ns - np.arange(20)[::-1] * 90_000_000 - 1, times_ns]),
        display,
    ).worst
    assert later.to_ns - later.from_ns == 1_000_000_000


def test_no_area_is_larger_than_the_field_itself():
    # Seen from 0.3 m, each cell of 20 mm is 0.0044 sr; those in a field add up to a little more
    # than the field's 2π(1 − cos 5°) sr, from 0.1 m a single cell would be more.
    for distance_m in (0.1, 0.3, 0.5):
        display = wall(columns=12, rows=12, distance_m=distance_m)
        assert flashing(display, np.ones((12, 12), bool)).general.area_sr <= FIELD_SR
    assert flashing(
        wall(columns=3, rows=3, distance_m=0.1), np.ones((3, 3), bool)
    ).general.area_sr == (FIELD_SR)


# Squares twice as wide as the largest below 0.1° decide balance: here 2 cells of 6.5 mm at 8 m
# (13 of 13.96 mm), so 4 cells. Stripes of 2 are even over them, and of 3 are not.
@pytest.mark.parametrize(("cells", "even"), [(2, True), (3, False)])
def test_light_is_evened_over_squares_twice_the_largest_fine_one(cells, even):
    display = wall(columns=24, rows=24, pitch_mm=6.5, distance_m=8.0)
    fields = Fields(display, 8.0)
    assert (fields.fine_squares, fields.even_side) == (2, 4)
    striped = ((display.wiring.column // cells) % 2).astype(np.float32)
    light = np.repeat(striped[None, :, None], 3, axis=2)
    inside = (display.wiring.column > 4) & (display.wiring.column < 19)
    level = fields.evened(light, fields.even_side)[0, inside, 0]
    assert bool(np.ptp(level) < 1e-6) is even
