"""The drawing: facts on its coordinates, read from the SVG as any XML reader would."""

from __future__ import annotations

import dataclasses
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator.description.chips import CHIPS
from emulator.description.display import Display
from emulator.description.load import parse_display
from emulator.description.sections import Grid
from emulator.description.wiring import Wiring
from harness.report.build.drawing import map_svg
from harness.report.build.svg import COLOURS

SVG = "{http://www.w3.org/2000/svg}"
FOYER = "gaps = [{ column = 5, row = 9, columns = 2, rows = 2 }]"


def wall(wiring: str, columns: int, rows: int, grid: str = "") -> Display:
    text = (
        f'[grid]\ncolumns = {columns}\nrows = {rows}\n{grid}\n[chip]\npart = "SK6812"\n'
        f"[wiring]\n{wiring}\n"
    )
    return parse_display(text, Path("wall.toml"))


def view(drawing: ET.Element, name: str) -> ET.Element:
    found = drawing.find(f"{SVG}g[@id='{name}']")
    assert found is not None
    return found


def of_class(element: ET.Element, kind: str) -> list[ET.Element]:
    return [e for e in element.iter() if e.get("class") == kind]


def place(element: ET.Element) -> tuple[float, float]:
    return float(element.get("x", "")), float(element.get("y", ""))


def numbers(element: ET.Element) -> list[tuple[str | None, tuple[float, float]]]:
    return [(e.text, place(e)) for e in of_class(element, "led")]


def points(element: ET.Element) -> list[tuple[float, float]]:
    pairs = (pair.split(",") for pair in element.get("points", "").split())
    return [(float(x), float(y)) for x, y in pairs]


def test_numbers_stand_in_the_middle_of_their_cells_in_the_order_of_the_data() -> None:
    front = view(ET.fromstring(map_svg(wall("", 3, 2))), "front")
    # By hand: cells of 30 units; row 1 of a serpentine wall comes back from the right.
    assert numbers(front) == [
        ("0", (15, 15)), ("1", (45, 15)), ("2", (75, 15)),
        ("3", (75, 45)), ("4", (45, 45)), ("5", (15, 45)),
    ]  # fmt: skip


def test_cells_keep_the_proportion_of_the_pitches() -> None:
    display = wall("", 2, 2, "pitch_mm = 20\nrow_pitch_mm = 50")
    (_, first), (_, second), (_, third), _ = numbers(view(ET.fromstring(map_svg(display)), "front"))
    assert (third[1] - first[1]) / (second[0] - first[0]) == pytest.approx(50 / 20)


def mirrored_facts(drawing: ET.Element, width: float) -> None:
    """Everything in the front view is in the back view, in the same order, at width - x."""
    front, back = view(drawing, "front"), view(drawing, "back")
    assert numbers(back) == [(n, (width - x, y)) for n, (x, y) in numbers(front)]
    for kind in ("run", "gap"):
        for one, other in zip(of_class(front, kind), of_class(back, kind), strict=True):
            assert one.get("width") == other.get("width")
            right = place(one)[0] + float(one.get("width", ""))
            assert place(other) == pytest.approx((width - right, place(one)[1]))
    for one, other in zip(of_class(front, "jumper"), of_class(back, "jumper"), strict=True):
        for (x, y), at in zip(points(one), points(other), strict=True):
            assert at == pytest.approx((width - x, y))
    for one, other in zip(of_class(front, "arrow"), of_class(back, "arrow"), strict=True):
        tip = points(one)[0]
        assert points(other)[0] == pytest.approx((width - tip[0], tip[1]))


@pytest.mark.parametrize("wiring", ["lines = 2", 'along = "columns"\npath = "progressive"'])
def test_back_is_the_front_mirrored_left_to_right(wiring: str) -> None:
    drawing = ET.fromstring(map_svg(wall(wiring, 36, 20, FOYER)))
    front = view(drawing, "front")
    assert len(numbers(front)) == 716
    wires = len(of_class(front, "run")) - len(of_class(front, "data-in"))
    assert len(of_class(front, "jumper")) == wires
    mirrored_facts(drawing, 36 * 30)


@given(st.data(), st.integers(1, 6), st.integers(1, 6))
def test_back_mirrors_the_front_of_any_map_however_tangled(
    data: st.DataObject, columns: int, rows: int
) -> None:
    cells = np.array(data.draw(st.permutations(range(columns * rows))))
    cells = cells[: data.draw(st.integers(1, len(cells)))]  # the rest stays dark
    lines = data.draw(st.integers(1, min(3, len(cells))))
    line = np.arange(len(cells)) * lines // len(cells)
    display = Display(
        "tangle",
        Grid.model_validate({"columns": columns, "rows": rows}),
        CHIPS["SK6812"],
        Wiring.from_cells(columns, rows, line, cells % columns, cells // columns),
    )
    mirrored_facts(ET.fromstring(map_svg(display)), columns * 30)


def test_edge_numbers_count_from_the_right_on_the_back() -> None:
    drawing = ET.fromstring(map_svg(wall("", 4, 2)))
    for name, expected in (("front", ["0", "1", "2", "3"]), ("back", ["3", "2", "1", "0"])):
        above = [(place(e)[0], e.text) for e in of_class(view(drawing, name), "edge")
                 if place(e)[1] < 0]  # fmt: skip
        assert [text for _, text in sorted(above)] == expected


def test_triangles_point_the_way_of_the_data_at_both_ends_of_each_run() -> None:
    front = view(ET.fromstring(map_svg(wall("", 3, 2))), "front")
    tips = [points(e)[0] for e in of_class(front, "arrow")]
    feet = [points(e)[1] for e in of_class(front, "arrow")]
    ways = [tip[0] > foot[0] for tip, foot in zip(tips, feet, strict=True)]
    assert ways == [True, True, False, False, True]  # row 0, row 1, and the data-in arrow
    assert tips[1] == (90, 15)  # leaves row 0 at the grid's right edge
    assert tips[3] == (0, 45)  # leaves row 1 at its left edge


def test_jumper_of_a_serpentine_wall_turns_outside_the_grid() -> None:
    front = view(ET.fromstring(map_svg(wall("", 3, 2))), "front")
    (wire,) = of_class(front, "jumper")
    way = points(wire)
    assert (way[0], way[-1]) == ((90, 15), (90, 45))
    assert all(x > 90 for x, _ in way[1:-1])


def test_jumper_of_a_progressive_wall_goes_back_between_the_rows() -> None:
    front = view(ET.fromstring(map_svg(wall('path = "progressive"', 3, 2))), "front")
    way = points(of_class(front, "jumper")[0])
    inside = [y for x, y in way if 0 < x < 90]
    assert all(y == 30 for y in inside)
    assert {y for _, y in way} == {15, 30, 45}


def test_jumper_crosses_a_gap_straight() -> None:
    display = wall("", 4, 1, "gaps = [{ column = 1, row = 0, columns = 2 }]")
    front = view(ET.fromstring(map_svg(display)), "front")
    assert points(of_class(front, "jumper")[0]) == [(30, 15), (90, 15)]


def test_lines_differ_in_colour_and_border_and_are_named_where_the_data_enters() -> None:
    text = (
        '[grid]\ncolumns = 2\nrows = 2\n[chip]\npart = "SK6812"\n'
        '[[line]]\nname = "A & <B>"\n[[line.run]]\nfrom = [0, 0]\nto = [1, 0]\n'
        '[[line]]\nname = "low"\n[[line.run]]\nfrom = [0, 1]\nto = [1, 1]\n'
    )
    drawing = ET.fromstring(map_svg(parse_display(text, Path("a&b.toml"))))
    front = view(drawing, "front")
    strips = of_class(front, "run")
    assert strips[0].get("fill") != strips[1].get("fill")
    assert strips[0].get("stroke-dasharray") != strips[1].get("stroke-dasharray")
    tags = [e.text for e in of_class(front, "tag-name")]
    assert tags == ["data in: line 0, A & <B>", "data in: line 1, low"]
    assert [e.text for e in of_class(drawing, "name")] == ["a&b"]
    legend = " ".join(e.text or "" for e in of_class(drawing, "note"))
    assert "line 0, A & <B>: 2 LEDs, data in at column 0, row 0" in legend


def test_colours_are_those_of_okabe_and_ito() -> None:
    # Okabe & Ito 2008, Color Universal Design, RGB values (from memory), but black.
    assert set(COLOURS) == {
        f"#{r:02X}{g:02X}{b:02X}"
        for r, g, b in (
            (230, 159, 0), (86, 180, 233), (0, 158, 115), (240, 228, 66), (0, 114, 178),
            (213, 94, 0), (204, 121, 167),
        )
    }  # fmt: skip


def test_scale_bar_is_as_long_as_it_says() -> None:
    drawing = ET.fromstring(map_svg(wall("", 36, 20, "pitch_mm = 25")))
    (bar,) = of_class(drawing, "scale")
    length = re.search(r"h([\d.]+)m", bar.get("d", ""))
    (said,) = [
        e.text for e in of_class(drawing, "note") if re.fullmatch(r"[\d.]+ mm", e.text or "")
    ]
    assert length is not None
    assert said is not None
    assert float(length.group(1)) / 30 * 25 == pytest.approx(float(said.split()[0]), rel=1e-4)


def test_ten_thousand_leds_number_only_the_ends_of_runs() -> None:
    display = wall("lines = 2", 125, 80)
    svg = map_svg(display)
    front = view(ET.fromstring(svg), "front")
    shown = [text for text, _ in numbers(front)]
    # By hand: row 0 holds LEDs 0 to 124 of line 0; row 79 the last 125 of line 1's 5000.
    assert shown[:2] == ["0:0", "0:124"]
    assert shown[-2:] == ["1:4875", "1:4999"]
    assert len(shown) == 2 * 80
    assert len(svg) < 200_000
    assert "only each run's ends are numbered" in svg


def test_many_and_long_named_lines_keep_the_legend_short_and_inside_the_sheet() -> None:
    text = '[grid]\ncolumns = 3\nrows = 30\n[chip]\npart = "SK6812"\n' + "".join(
        f'[[line]]\nname = "{"x" * 200}"\n[[line.run]]\nfrom = [0, {row}]\nto = [2, {row}]\n'
        for row in range(30)
    )
    drawing = ET.fromstring(map_svg(parse_display(text, Path("wall.toml"))))
    width = float(drawing.get("viewBox", "").split()[2])
    notes = of_class(drawing, "note")
    for note in notes:
        # A sans-serif letter is about half as wide as its size; x is about that.
        size = float(note.get("font-size", ""))
        assert place(note)[0] + 0.5 * size * len(note.text or "") < width
    assert "lines 24 to 29 in the same way" in [note.text for note in notes]


def test_control_characters_in_a_description_leave_the_xml_well_formed() -> None:
    # A file cannot hold them; a display made in code can.
    text = "[grid]\ncolumns = 1\nrows = 1\n[chip]\npart = 'SK6812'\n[wiring]\n"
    plain = parse_display(text, Path("wall.toml"))
    drawing = ET.fromstring(map_svg(dataclasses.replace(plain, about="bell \a and <tag>")))
    assert any("bell \\x07 and <tag>" in (e.text or "") for e in drawing.iter())


@given(
    columns=st.integers(1, 150),
    rows=st.integers(1, 12),
    along=st.sampled_from(["rows", "columns"]),
    lines=st.integers(1, 9),
    pitches=st.tuples(st.floats(1, 100), st.floats(1, 100)),
)
def test_any_wall_fits_an_a3_sheet_and_stays_inside_it(
    columns: int, rows: int, along: str, lines: int, pitches: tuple[float, float]
) -> None:
    # A3 is 297 mm × 420 mm: ISO 216.
    lines = min(lines, rows if along == "rows" else columns)
    grid = f"pitch_mm = {pitches[0]}\nrow_pitch_mm = {pitches[1]}"
    drawing = ET.fromstring(
        map_svg(wall(f'along = "{along}"\nlines = {lines}', columns, rows, grid))
    )
    size = sorted(float(drawing.get(k, "").removesuffix("mm")) for k in ("width", "height"))
    assert size[0] <= 297.1
    assert size[1] <= 420.1
    width, height = map(float, drawing.get("viewBox", "").split()[2:])
    for name in ("front", "back"):
        group = view(drawing, name)
        shift = re.match(r"translate\(([\d.]+) ([\d.]+)\)", group.get("transform", ""))
        assert shift is not None
        for text in of_class(group, "edge"):
            x, y = place(text)
            assert 0 < x + float(shift.group(1)) < width
            assert 0 < y + float(shift.group(2)) < height
