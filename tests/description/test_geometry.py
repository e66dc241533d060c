"""Places on the board, ways of wires, holes, the strips' lattice, against cases worked by hand."""

import math
from itertools import combinations, pairwise
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from emulator.description.fitting import _holes_apart_mm, remarks
from emulator.description.load import parse_display
from emulator.description.route import Rectangle, length_mm, route
from emulator.errors import DisplayFileError
from emulator.power.network import build_network


def display(more="", columns=4, rows=2, pitch=20, tmp="wall.toml", wiring="[wiring]\n", gaps="[]"):
    text = f"[grid]\ncolumns={columns}\nrows={rows}\npitch_mm={pitch}\ngaps={gaps}\n"
    return parse_display(f"{text}[chip]\npart='WS2812B'\n{wiring}{more}", Path(tmp))


def test_leds_strip_ends_and_holes_of_a_small_wall():
    # A margin of 60 mm, cells of 20 mm: the first LED at 60 + 10 mm, the strip's end 10 mm beyond
    # it, the hole 8 mm beyond that.
    geometry = display().geometry
    assert geometry.led_mm[[0, 3, 4]].tolist() == [[70, 70], [130, 70], [130, 90]]
    assert geometry.strips[0][:2] == ((60, 70), (140, 70))
    assert geometry.strips[1].heading == (-1, 0)
    assert [(h.x_mm, h.y_mm) for h in geometry.holes[:3]] == [(148, 70), (148, 90), (52, 70)]
    assert geometry.display.placement.size_mm == (200, 160)
    # Cells at the board's edge leave the margin on the other side only.
    assert display("[board]\nleft_mm=0\ntop_mm=20\n").placement.size_mm == (140, 120)


def test_a_jumper_is_as_long_as_its_way_through_the_holes_with_its_loop():
    # 8 + 8 mm to the holes, twice 10 mm through the board, 20 mm from row to row, 50 mm of loop:
    # 106 mm, cut to 110; in front 20 + 50 mm, cut to 70.
    assert display().geometry.jumpers[0].length_mm == 110
    assert display("[board]\nwires='front'\n").geometry.jumpers[0].length_mm == 70


@pytest.mark.parametrize("jumper", ["", "length_m=0.3"])
def test_power_calculates_with_the_lengths_of_the_board(jumper):
    wall = display(f"[power]\nfeed=[{{led=0}}, {{led=2}}]\nbus=[{{}}]\njumper={{{jumper}}}\n")
    lengths = {wire.name: wire.length_m for wire in build_network(wall).wires}
    assert lengths["run 0 to 1"] == (0.3 if jumper else 0.11)
    # From the bus 40 mm outside the LEDs, 10 mm through the board, 50 mm of loop; LED 2 of four
    # columns is nearest to the top of two rows, as far from its bus.
    assert lengths["feed 0, line 0 LED 0"] == pytest.approx(0.1)
    assert lengths["feed 1, line 0 LED 2"] == pytest.approx(0.1)


def test_wires_go_from_supplies_where_the_board_says_these_are():
    # The bus begins 40 mm left of LED 0 at (70, 70): from (30, 270) 200 mm up, and 50 mm of loop.
    wall = display("[power]\nbus=[{}]\n[board]\nsupplies_mm=[[30, 270]]\n")
    assert wall.whole_power.bus[0].to_first_m == pytest.approx(0.25)


def test_a_controller_on_the_board_says_how_long_its_data_wire_is():
    # The hole of the first LED is at (52, 70): 1000 mm across, 200 mm down; 8 mm from the hole to
    # the strip, 10 mm of board, 50 mm of loop: 1268 mm, cut to 1270.
    wall = display("[board]\ncontroller_mm=[-948, 270]\n[controller]\ndata_wire_m=9\n")
    assert wall.geometry.data_in(0)[1] == 1270
    assert display("[controller]\ndata_wire_m=9\n").geometry.data_in(0) == ((), 9000)


def test_a_way_goes_round_what_is_between():
    # 100 mm straight, and 30 mm above the edge at 20 with 5 mm of clearance: 25 up and 25 down.
    block = Rectangle(40, -20, 60, 40)
    way = route((0, 0), (100, 0), [block])
    assert length_mm(way) == 100 + 2 * 25
    assert all(not block.cuts(a, b) for a, b in pairwise(way))
    assert length_mm(route((0, 0), (100, 50))) == 150


def test_a_jumper_past_a_gap_goes_round_it():
    gap = "[{column=1, row=0, columns=2, rows=2}]"
    geometry = display(gaps=gap, rows=3).geometry
    (opening,) = geometry.display.placement.obstacles
    assert opening[:4] == (80, 60, 120, 100)
    for jumper in geometry.jumpers:
        assert not any(opening.holds(*hole) for hole in jumper.holes)
        pairs = pairwise(jumper.way)
        assert not any(opening.cuts(a, b) for a, b in pairs)


def test_the_lattice_of_the_strip_adds_up_against_that_of_the_grid():
    # 30 LEDs/m are 33.333 mm apart; cells of 33 mm: 39 × 0.333 mm = 13 mm over 40 LEDs. Reels of
    # 20 LEDs need one joint, 0.5 mm. Half of both at each end.
    wall = display(columns=40, pitch=33, wiring="[wiring]\nreel_leds=20\n")
    found = wall.geometry.lattice
    assert found.over_mm == pytest.approx(39 * (1000 / 30 - 33))
    assert (found.joints, found.joints_mm) == (1, 0.5)
    assert found.most_mm == pytest.approx((13 + 0.5) / 2)
    assert any("33.33 mm" in remark for remark in remarks(wall.geometry))
    assert remarks(display(columns=40, pitch=33.333).geometry) == ()


@pytest.mark.parametrize("rows", [4, 300])
def test_what_is_left_between_two_holes_is_found_on_a_high_wall_too(rows):
    # A jumper's hole 8 mm beyond the strip's end, a feed's at the end and 0.4 · 20 mm beside its
    # middle: 8 · √2 mm apart, so 0.3 mm are left between holes of 11 mm.
    wall = display("[board]\nhole_mm=11\n", columns=2, rows=rows)
    assert any("Between two holes 0.3 mm" in remark for remark in remarks(wall.geometry))


def test_hidden_leds_go_on_beyond_the_end_of_their_strip():
    wall = display(wiring="[wiring]\nhidden_first=2\n")
    assert wall.geometry.led_mm[:3, 0].tolist() == [30, 50, 70]


@pytest.mark.parametrize(
    ("board", "key", "words"),
    [
        ("width_mm=50", "width_mm", "on a board 50 mm wide"),
        ("width_mm=100\nleft_mm=40", "left_mm", "reach from 40 to 120 mm"),
        ("frame_mm=200", "frame_mm", "covers the board"),
        ("pads=['+', 'GND']", "", "+, GND and DATA"),
        ("pads=['+', 'GND', 'DATA', 'CLOCK']", "pads", "no clock line"),
        ("supplies_mm=[[0, 0], [1, 1]]", "supplies_mm", "2 places for 1 supplies"),
        (
            "opening=[{x_mm=900, y_mm=0, width_mm=5, height_mm=5}]",
            "x_mm",
            "outside the board of 200 × 160",
        ),
    ],
)
def test_a_board_that_cannot_be_is_refused_with_place_and_fix(board, key, words):
    with pytest.raises(DisplayFileError) as caught:
        display(f"[board]\n{board}\n")
    (problem,) = caught.value.problems
    assert words in problem.message
    assert problem.fix
    assert problem.line
    assert not key or problem.key == key


@pytest.mark.parametrize("open_", ["false", "true"])
@pytest.mark.parametrize("pitch", [16, 20, 33, 40])
def test_the_two_holes_of_a_jumper_across_a_narrow_gap_are_two(pitch, open_):
    board = f"[board]\ngaps_are_open={open_}\n"
    wall = display(board, columns=5, rows=1, pitch=pitch, gaps="[{column=2, row=0}]")
    (jumper,) = wall.geometry.jumpers
    assert math.dist(*jumper.holes) >= wall.placement.hole_mm + 1
    assert not [remark for remark in remarks(wall.geometry) if "holes" in remark]


@pytest.mark.parametrize("seed", range(4))
def test_the_nearest_holes_are_the_nearest_of_all_pairs(seed):
    places = np.random.default_rng(seed).uniform(0, (90, 60), (30, 2)).tolist()
    holes = [SimpleNamespace(x_mm=x, y_mm=y) for x, y in places]
    display = SimpleNamespace(placement=SimpleNamespace(hole_mm=2.0))
    nearest = min(math.dist(*pair) for pair in combinations(places, 2))
    found = _holes_apart_mm(SimpleNamespace(holes=holes, display=display))
    assert found == pytest.approx(nearest - 2)
