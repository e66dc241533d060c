"""The bench pack: lengths measured from the PDF's own coordinates, the same bytes, what it says."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from emulator.description.cutlist import cut_list
from emulator.description.display import Display
from emulator.description.load import load_display, parse_display
from emulator.power.network import build_network
from harness.report.sheet.flow import Flow
from harness.report.sheet.pack import bench_pack
from harness.report.sheet.pads import pad_names
from harness.report.sheet.page import EDGE_MM, PAPERS, Line, Words, width_of, words_bounds, wrapped
from harness.report.sheet.parts import Shopping
from harness.report.sheet.pdf import pdf
from harness.report.sheet.pieces import joint_ticks, letters, named_pieces
from harness.report.sheet.steps import run_steps
from harness.report.sheet.svg import svg
from harness.report.sheet.template import template_pages
from harness.report.sheet.volts import Expected
from harness.report.sheet.wires import cut_wires
from tests.harness.report.sheet.measured import read_pdf

pytest.importorskip("reportlab")


def wall(columns=6, rows=3, more="", wiring="[wiring]\n", pitch=20, part="WS2812B") -> Display:
    text = f"[grid]\ncolumns={columns}\nrows={rows}\npitch_mm={pitch}\n[chip]\npart='{part}'\n"
    return parse_display(f"{text}{wiring}{more}", Path("wall.toml"))


def template_of(display: Display, paper: str):
    flow = Flow(PAPERS[paper], "wall")
    template_pages(flow, display, display.geometry)
    return read_pdf(pdf(flow.pages, "wall"))


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_template_is_true_to_size(paper):
    # ISO 216: A4 is 210 × 297 mm. ANSI Y14.1: Letter is 8.5 × 11 in, 215.9 × 279.4 mm.
    pages = template_of(wall(), paper)
    assert pages[0].size_mm == pytest.approx(PAPERS[paper], abs=0.05)
    for page in pages:
        x0, y0, x1, y1 = page.lines.T
        level = (np.abs(y1 - y0) < 1e-3) & (np.abs(x0 - EDGE_MM) < 0.01)
        assert np.isclose(x1[level] - x0[level], 100, atol=0.05).any(), "the control line"
    x0, y0, x1, y1 = pages[0].lines.T
    cross = (np.abs(y1 - y0) < 1e-3) & np.isclose(x1 - x0, 4, atol=1e-3)
    middle = (x0 + x1)[cross] / 2
    first_row = np.sort(middle[np.isclose(y0[cross], y0[cross].min())])
    assert len(first_row) == 6
    assert np.diff(first_row) == pytest.approx(np.full(5, 20), abs=0.05)


def test_tiles_show_every_led_and_overlap():
    # 30 × 20 mm = 600 mm and twice 60 mm: more than one A4 page across.
    display = wall(columns=30, rows=2)
    seen = set()
    for page in template_of(display, "A4"):
        x0, y0, x1, y1 = page.lines.T
        cross = (np.abs(y1 - y0) < 1e-3) & np.isclose(x1 - x0, 4, atol=1e-3)
        column = ord(page.text.split("Template 1")[1][0]) - ord("A")
        step = 210 - 2 * EDGE_MM - 10
        inside = ((x0 + x1) / 2 >= EDGE_MM) & ((x0 + x1) / 2 <= 210 - EDGE_MM)
        seen |= {
            round(float(x), 1) for x in (x0 + x1)[cross & inside] / 2 - EDGE_MM + column * step
        }
    leds = {round(float(x), 1) for x in display.geometry.led_mm[:, 0]}
    assert leds == seen


def test_the_same_wall_gives_the_same_bytes_and_embeds_its_fonts():
    display = wall()
    once, twice = (pdf(bench_pack(display, template=False), "wall") for _ in range(2))
    assert once == twice
    assert once.count(b"/FontFile2") == 2  # ISO 32000-1, 9.9: an embedded TrueType font
    assert b"Helvetica" not in once


WALLS = {
    "gap": wall(more="[board]\ncontroller_mm=[-60, 20]\nsupplies_mm=[[-60, 90]]\n"),
    "lines": wall(rows=6, wiring="[wiring]\nlines=3\n", more="[power]\njumper={awg=18}\n"),
    "columns": wall(wiring="[wiring]\nalong='columns'\nstart='bottom-right'\n", part="APA102"),
    "one run": wall(rows=1, wiring="[wiring]\nhidden_last=2\n", more="[board]\nwires='front'\n"),
    "one cell": wall(columns=1, rows=1),
}


@pytest.mark.parametrize(
    ("name", "paper"),
    [
        ("gap", "A4"),
        ("columns", "Letter"),
        ("one cell", "A4"),
        *(
            pytest.param(name, paper, marks=pytest.mark.slow)
            for name in (*WALLS, "foyer", "sign", "banner")
            for paper in PAPERS
        ),
    ],
)
def test_no_text_is_cut_off_or_too_small_to_read(name, paper):
    display = WALLS[name] if name in WALLS else load_display(name)
    for page in bench_pack(display, paper):
        width, height = page.size
        for shape in page.shapes:
            if isinstance(shape, Words):
                left, top, right, bottom = words_bounds(shape)
                assert left >= EDGE_MM - 0.1, shape
                assert right <= width - EDGE_MM + 0.1, shape
                assert EDGE_MM - 1 <= top <= bottom <= height - EDGE_MM + 2, shape
                assert shape.size >= 2.0, shape
        for (x, y, wide, tall), shapes in page.clips:
            assert x >= EDGE_MM - 0.01
            assert x + wide <= width - EDGE_MM + 0.01
            assert y + tall <= height - EDGE_MM
            texts = [s for s in shapes if isinstance(s, Words)]
            assert all(s.size >= 1.2 for s in texts)
            for left, top, right, bottom in map(words_bounds, texts):  # a search finds no other
                assert left <= x + wide
                assert right >= x
                assert top <= y + tall
                assert bottom >= y


def test_no_wire_crosses_an_opening():
    display = load_display("foyer")
    geometry = display.geometry
    (opening,) = display.placement.obstacles
    ways = [wire.way for wire in cut_wires(display, geometry)]
    ways += [way for bus in geometry.bus_ways for way in bus]
    for way in ways:
        for a, b in pairwise(way):
            assert not opening.cuts(a, b)


@pytest.mark.parametrize("name", ["foyer", "banner", "lines", "gap"])
def test_the_wire_list_and_the_power_model_have_the_same_wires(name):
    display = WALLS[name] if name in WALLS else load_display(name)
    listed = sorted(
        (round(wire.length_mm), round(wire.area_mm2, 6))
        for wire in cut_wires(display, display.geometry)
        if wire.use == "+"
    )
    solved = sorted(
        (round(wire.length_m * 1000), round(wire.area_mm2, 6))
        for wire in build_network(display).wires
        if wire.kind != "rail"
    )
    assert listed == solved


def test_wires_and_joints_of_a_small_wall_by_hand():
    # Two runs of four LEDs, one feed to each from a bus, as without [power]. Data: D0 with its
    # ground, J1. Feeds F0, F1 and bus B0.0, B0.1 are pairs.
    display = wall(columns=4, rows=2)
    geometry = display.geometry
    wires = {wire.label: wire for wire in cut_wires(display, geometry)}
    assert set(wires) == {
        "D0 data", "D0 GND", "J1 data", "F0 +", "F0 GND", "F1 +", "F1 GND",
        "B0.0 +", "B0.0 GND", "B0.1 +", "B0.1 GND",
    }  # fmt: skip
    # 8 + 8 mm to the holes, 2 × 10 mm through the board, 20 mm to the next row, 50 mm of loop.
    assert wires["J1 data"].length_mm == 110
    assert wires["F0 +"].length_mm == pytest.approx(40 + 10 + 50)
    assert wires["B0.1 +"].length_mm == pytest.approx(20)
    shopping = Shopping(display, geometry, Expected(display))
    assert sum(shopping.joints().values()) == 2 + 2 * 1 + 4 + 4 + 0


def test_a_run_longer_than_a_reel_is_pieces_with_names_and_marked_joints():
    # 12 LEDs from reels of 5: 5 + 5 + 2, joined before LEDs 5 and 10, 20 mm apart from x = 60.
    display = wall(columns=12, rows=1, wiring="[wiring]\nreel_leds=5\n")
    pieces = named_pieces(cut_list(display))
    assert [(p.name, p.piece.leds) for p in pieces] == [("0a", 5), ("0b", 5), ("0c", 2)]
    ticks = joint_ticks(display, display.geometry, cut_list(display))
    assert [(name, tick[0][0]) for name, tick in ticks] == [("0b", 160), ("0c", 260)]
    shopping = Shopping(display, display.geometry, Expected(display))
    assert shopping.joints()["pieces of strip joined in a run"] == 2 * 3  # + DATA GND
    assert [letters(n) for n in (0, 25, 26, 701, 702)] == ["A", "Z", "AA", "ZZ", "AAA"]


def test_each_step_says_where_the_chase_ends():
    steps = run_steps(load_display("foyer"), load_display("foyer").geometry)
    # Three rows of 36 end at LED 107 on the right (serpentine from the left), four at 143, left.
    assert "After run 2: chase ends at LED 107, row 2, right" in steps[2].seen
    assert "After run 3: chase ends at LED 143, row 3, left" in steps[3].seen


def test_pads_have_the_names_printed_on_strips():
    # As printed on strips of one-wire and of clocked chips: from memory.
    assert pad_names(("+", "DATA", "GND"), end=True) == ["+", "DOUT", "GND"]
    assert pad_names(("+", "CLOCK", "DATA", "GND"), end=False) == ["+", "CI", "DI", "GND"]


def test_svg_pages_have_the_shapes_of_the_pdf():
    page = bench_pack(wall(), template=False)[1]
    text = svg(page, "wall")
    shapes = [*page.shapes, *(s for _, shapes in page.clips for s in shapes)]
    assert text.count("<text ") == sum(isinstance(s, Words) for s in shapes)
    assert text.count("<poly") == sum(isinstance(s, Line) for s in shapes)


def test_texts_wrap_within_their_width():
    lines = wrapped("a few words and onelongwordthatdoesnotfit at all", 3.0, 20)
    assert "".join(lines).replace(" ", "") == "afewwordsandonelongwordthatdoesnotfitatall"
    assert all(width_of(line, 3.0) <= 20 for line in lines)


def texts_of(display: Display, title: str) -> list[str]:
    (page,) = (
        page for page in bench_pack(display, template=False)
        if any(isinstance(s, Words) and s.text.startswith(title) for s in page.shapes)
    )  # fmt: skip
    return [s.text for _, shapes in page.clips for s in shapes if isinstance(s, Words)]


def test_every_led_is_numbered_where_there_is_room_hidden_ones_in_brackets():
    hidden = wall(wiring="[wiring]\nhidden_first=1\n", pitch=40)
    for title in ("Seen from the front", "Seen from the back"):
        texts = texts_of(hidden, title)
        assert {"(0)", *map(str, range(1, 19))} <= set(texts)
        assert {"run 0", "run 1", "run 2", "J1", "J2", "D0", "F0 1 A"[:2]} <= {
            text[:5].split(" ")[0] if text[0] == "F" else text for text in texts
        }


@pytest.mark.slow
def test_a_large_wall_stays_readable():
    display = wall(columns=60, rows=60, pitch=33.333)
    for page in bench_pack(display, template=False):
        for _, shapes in page.clips:
            names = [s for s in shapes if isinstance(s, Words)]
            assert min(s.size for s in names) >= 1.2
    assert len(template_of(wall(columns=60, rows=2, pitch=33.333), "A4")) > 10


@pytest.mark.parametrize("name", ["foyer", "sign", "banner"])
def test_fuses_are_those_that_power_names(name):
    display = load_display(name)
    expected = Expected(display)
    named = {w.name: w.fuse_a for w in expected.assessment.wires if w.kind == "feed" and w.fuse_a}
    assert named
    assert {f"feed {number}": amps for number, amps in expected.fuses.items()} == {
        wire.split(",")[0]: amps for wire, amps in named.items()
    }
