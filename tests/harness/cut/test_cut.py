"""What `foreglow cut` makes: counted and measured by hand, and read back from the files."""

from __future__ import annotations

import itertools
import xml.etree.ElementTree as ElementTree
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emulator.errors import UnsupportedError, WriteError
from harness.cut import writing
from harness.cut.assembly import assembly_svg
from harness.cut.dxf import check_ezdxf, colour_hex
from harness.cut.lengths import Most, kinds_of, split_rows
from harness.cut.settings import CutError, Line
from harness.cut.svg import bed_svg
from tests.harness.cut.walls import crossed, documents, outlines, plan_of, read, slots, wall

CAMERA = "[camera]\nbehind_mm = 6\nfield_deg = 60\nlens_mm = 2\n"


def counted(plan):
    return [(part.material, part.form, part.cells, part.count) for part in plan.parts]


# ---- counts by hand ----------------------------------------------------------------------------


def test_three_by_three_panels_are_corners_edges_and_one_inner():
    """9 × 9 cells of 10 mm on a bed of 45 mm: 4 cells and a half wall fit, so 9 = 3 + 3 + 3.

    All corners are one part, and so are all edges, since the cells are square. Ten walls each way,
    in three pieces: two ends and an inner one; without notches both ways are one part.
    """
    plan = plan_of(wall(9, 9))
    assert counted(plan) == [
        ("slats", "end", (3,), 40),
        ("slats", "inner", (3,), 20),
        ("front", "corner", (3, 3), 4),
        ("front", "edge", (3, 3), 4),
        ("front", "inner", (3, 3), 1),
    ]
    assert plan.loose == [(3, 3), (3, 6), (6, 3), (6, 6)]  # both slats are split there
    # A bed takes 4 of 30.5 × 8 mm with 2 mm between them: 15 beds of slats; one panel a bed.
    assert [plan.sheets(material)[0] for material in plan.stacks] == [15, 9]


def test_two_halves_of_a_row_are_one_part():
    """6 × 4 on 45 mm: rows as 3 + 3; columns whole, 4 · 10 + 1 = 41 mm."""
    plan = plan_of(wall(6, 4))
    assert plan.loose == []
    assert counted(plan) == [
        ("slats", "end", (3,), 10),
        ("slats", "whole", (4,), 7),
        ("front", "end", (3, 4), 2),
    ]
    assert [p.shape.size for p in plan.parts] == [(30.5, 8), (41, 8), (30.5, 41)]


def test_slats_stop_at_a_gap_and_the_front_has_its_opening():
    """5 × 5 with one gap cell in the middle: its four sides have walls, and nothing is left out.

    With two gap cells side by side the wall between them is not there: columns line 2 has a slat of
    two cells above and one of two below.
    """
    one = plan_of(wall(5, 5, gaps=[(2, 2, 1, 1)]), bed=(100, 100))
    assert counted(one)[:1] == [("slats", "whole", (5,), 12)]
    (front,) = one.parts[1:]
    assert front.form == "whole with opening"
    # The opening between the outer faces of its walls: 10 − 1 mm.
    assert np.ptp(np.array(front.shape.openings[0]), axis=0) == pytest.approx([9, 9])
    two = plan_of(wall(5, 5, gaps=[(1, 2, 2, 1)]), bed=(100, 100))
    assert counted(two)[:2] == [("slats", "whole", (5,), 11), ("slats", "whole", (2,), 2)]
    places = [(p.line, p.first) for p in two.slats if p.between == "columns" and p.line == 2]
    assert places == [(2, 0), (2, 3)]


def test_a_gap_at_a_corner_leaves_the_grid_without_it():
    plan = plan_of(wall(3, 3, gaps=[(0, 0, 1, 1)]), bed=(100, 100))
    (front,) = [part for part in plan.parts if part.material == "front"]
    # By hand: a square of 31 mm without a corner of 10 mm, beside the walls' outer faces.
    assert front.shape.area_mm2 == pytest.approx(31**2 - 10**2)
    lengths = Counter(part.cells[0] for part in plan.parts for _ in range(part.count)
                      if part.material == "slats")  # fmt: skip
    assert lengths == {3: 6, 2: 2}


def test_strips_pass_through_notches_of_the_slats_that_they_cross():
    plan = plan_of(wall(4, 4, pitch=20, along="columns"), bed=(100, 100), strip=(11, 2))
    rows, columns = plan.parts[:2]
    assert (rows.count, columns.count) == (5, 5)
    assert rows.shape.size == (81, 10)
    (_, board) = slots(np.array(rows.shape.outline), 10, 0)
    assert board == [pytest.approx((10.5 + 20 * n, 11)) for n in range(4)]
    (_, board) = slots(np.array(columns.shape.outline), 10, 0)
    assert [width for _, width in board] == [pytest.approx(1)] * 3  # slots at crossings only


def test_notches_follow_strips_that_are_off_the_middle_of_their_cells():
    """By hand: along rows, 2 mm down. Slats between columns count from the top, 0.5 mm outside."""
    display = wall(4, 3, pitch=20, cover="depth_mm = 8\noff_centre_mm = 2")
    plan = plan_of(display, bed=(100, 100), strip=(6, 2))
    (columns,) = (p for p in plan.parts if p.material == "slats" and p.cells == (3,))
    _, board = slots(np.array(columns.shape.outline), 10, 0)
    # Of the notches, not of the slots at the crossings, which are 1 mm wide.
    assert [at for at in board if at[1] > 2] == [
        pytest.approx((0.5 + 10 + 2 + 20 * n, 6)) for n in range(3)
    ]


def test_slats_stand_on_a_strip_that_does_not_fit_between_them():
    plan = plan_of(wall(3, 3), strip=(12, 2))
    assert plan.profile.notch_height == 0
    assert plan.parts[0].shape.size[1] == 8


def test_a_cover_without_walls_has_only_the_front():
    plan = plan_of(wall(9, 9, cover='walls = "none"'))
    assert {part.material for part in plan.parts} == {"front"}
    assert plan.parts[0].shape.size == (30, 30)


def test_walls_are_as_thick_as_the_cover_leaves_between_openings():
    display = wall(4, 4, pitch=10, row_pitch=12, cover="depth_mm = 8\nopening_mm = 9")
    plan = plan_of(display, bed=(100, 100), thickness=None)
    assert [(p.thickness, p.shape.size[0]) for p in plan.parts[:2]] == [(3, 41), (1, 51)]


# ---- dimensions, read from the DXF -------------------------------------------------------------


def test_a_slot_is_the_thickness_and_the_fit_less_the_kerf():
    """By hand: 1 + 0.05 − 0.2 = 0.85 mm drawn; the outline is 0.2 mm longer and higher."""
    plan = plan_of(wall(4, 4), bed=(100, 100), fit=0.05)
    (_, document), *_ = documents(plan)
    outline = outlines(document, "3-cut")[0]
    assert np.ptp(outline, axis=0) == pytest.approx([41.2, 8.2])
    front, _ = slots(outline, 8, 0.0)
    assert [width for _, width in front] == pytest.approx([0.85] * 3)
    depth = sorted({round(y, 4) for y in outline[:, 1] - outline[:, 1].min()})
    # 4 mm of material stay below a slot: the beam's middle is half a kerf away on both sides.
    assert depth == pytest.approx([0, 4.2, 8.2])


def test_the_round_opening_of_the_camera_is_where_its_gap_is():
    display = wall(7, 5, pitch=12, gaps=[(4, 2, 1, 2)], more=CAMERA)
    plan = plan_of(display, bed=(200, 200))
    (_, document) = documents(plan)[-1]
    (hole,) = document.modelspace().query("CIRCLE")
    # By hand: 2 + 2 · 6 · tan 30° = 8.9282, less the kerf; the middle of column 4, between rows
    # 2 and 3, from the lower left corner of the outline, half a wall and half a kerf outside.
    assert 2 * hole.dxf.radius == pytest.approx(8.9282 - 0.2, abs=1e-3)
    corner = outlines(document, "3-cut")[0].min(axis=0) + 0.5 + 0.1
    assert np.array(hole.dxf.center)[:2] - corner == pytest.approx([4.5 * 12, (5 - 3) * 12])
    assert hole.dxf.layer == "2-inside"


def test_a_seam_never_crosses_the_opening_of_the_camera():
    for column in range(1, 7):
        display = wall(9, 3, pitch=12, gaps=[(column, 0, 2, 2)], more=CAMERA)
        plan = plan_of(display, bed=(55, 55))
        assert sum(bool(part.shape.holes) for part in plan.parts) == 1


def test_a_seam_is_not_at_the_edge_of_an_opening_if_there_is_another_place():
    """9 × 2 on 45 mm would be 3 + 3 + 3; the gap at column 3 makes it 2 + … or 4 + …."""
    plan = plan_of(wall(9, 2, gaps=[(3, 0, 1, 1)]))
    seams = {placed.column for placed in plan.front} - {0}
    assert seams
    assert not seams & {3, 4}
    # On a bed for one cell there is no other place, and the front is cut all the same.
    tight = plan_of(wall(3, 2, gaps=[(1, 0, 1, 1)]), bed=(12, 12))
    assert {placed.column for placed in tight.front} == {0, 1, 2}


# ---- the assembled wall --------------------------------------------------------------------------


def assembled(plan):
    """Slots of every slat on the wall, {(between, line): [(place, from the front)]}, from parts.

    As a builder lays them out: each piece from its first crossing on, the way round that fits.
    """
    rows, columns = plan.walls
    found = {}
    for placed in plan.slats:
        walls = rows if placed.between == "rows" else columns
        part = plan.parts[placed.part]
        start = placed.first * walls.pitch
        standing = walls.standing[placed.line]
        ends = (
            placed.first == 0 or not standing[placed.first - 1],
            placed.first + part.cells[0] == len(standing)
            or not standing[placed.first + part.cells[0]],
        )
        for shape in ways(part.shape):
            height = shape.size[1]
            outline, side = np.array(shape.outline), 0 if placed.between == "rows" else 1
            at = crossed(outline, height)[side]
            # At an end the slot takes the whole crossing wall, at a seam its half.
            setback = [walls.crossing / (1 if end else 2) for end in ends]
            if [at[0], shape.size[0] - at[-1]] != pytest.approx(setback):
                continue  # the other way round
            begin = start - walls.crossing / 2 * ends[0]
            middles = [begin + x for x, width in slots(outline, height, 0)[side]]
            wide = shape.size[0] - part.cells[0] * walls.pitch
            assert wide == pytest.approx(walls.crossing / 2 * sum(ends))
            break
        else:
            pytest.fail("no way round has its slots on the right side")
        found.setdefault((placed.between, placed.line), []).extend(middles)
    return found


def ways(shape):
    one = shape
    for _ in range(4):
        if one.size[1] == min(shape.size[1], one.size[1]):
            yield one
            yield one.flipped()
        one = one.turned()


@pytest.mark.parametrize("gaps", [[], [(3, 2, 2, 2)], [(0, 0, 2, 1), (6, 4, 1, 3)]])
def test_assembled_slats_have_their_slots_on_the_lattice_of_the_cells(gaps):
    """Within 0.01 mm of the lines midway between LEDs, as the geometry of the board places them."""
    display = wall(11, 8, pitch=11.11, row_pitch=13.7, gaps=gaps)
    plan = plan_of(display, bed=(60, 60))
    left, top, *_ = display.placement.cells_mm
    x, _ = display.placement.led_mm(np.arange(11), np.zeros(11, dtype=int)).T
    _, y = display.placement.led_mm(np.zeros(8, dtype=int), np.arange(8)).T
    between = {"rows": (x[1:] + x[:-1]) / 2 - left, "columns": (y[1:] + y[:-1]) / 2 - top}
    checked = 0
    for (direction, _), places in assembled(plan).items():
        for place in places:
            assert np.abs(between[direction] - place).min() < 0.01
            checked += 1
    assert checked > 80


def covers(plan):
    """Every standing wall has exactly one piece."""
    for walls in plan.walls:
        covered = np.zeros(walls.standing.shape, dtype=int)
        for placed in plan.slats:
            if placed.between == walls.between:
                cells = plan.parts[placed.part].cells[0]
                covered[placed.line, placed.first : placed.first + cells] += 1
        assert (covered == walls.standing).all()


def test_a_wall_on_a_bed():
    makes_the_wall(9, 7, 21.5, 30.25, 1.5, 0.2, (151.0, 99.0), (3, 2, 2, 3))


@pytest.mark.slow
@given(
    columns=st.integers(1, 14),
    rows=st.integers(1, 14),
    pitch=st.floats(4, 40),
    row_pitch=st.floats(4, 40),
    thickness=st.floats(0.4, 2),
    kerf=st.floats(0, 0.3),
    bed=st.tuples(st.floats(60, 300), st.floats(60, 300)),
    gap=st.none() | st.tuples(*[st.integers(0, 13)] * 2, *[st.integers(1, 4)] * 2),
)
@settings(deadline=None)
def test_any_wall_on_any_bed(columns, rows, pitch, row_pitch, thickness, kerf, bed, gap):
    makes_the_wall(columns, rows, pitch, row_pitch, thickness, kerf, bed, gap)


def makes_the_wall(columns, rows, pitch, row_pitch, thickness, kerf, bed, gap):
    """Every line is on the bed, parts keep apart, all of them are cut, and they make the wall."""
    gaps = []
    if gap is not None and gap[0] + gap[2] <= columns and gap[1] + gap[3] <= rows:
        gaps = [gap] * (gap[2] * gap[3] < columns * rows)
    display = wall(columns, rows, pitch, row_pitch, gaps)
    plan = plan_of(display, bed, kerf, thickness, strip=(3, 1))
    covers(plan)
    cut = Counter()
    for one, document in documents(plan):
        assert not document.audit().errors
        boxes = []
        for outline in outlines(document, "3-cut"):
            assert outline.min() >= -1e-3
            assert (outline.max(axis=0) <= np.array(bed) + 1e-3).all()
            boxes.append((*outline.min(axis=0), *outline.max(axis=0)))
        for a, b in itertools.combinations(boxes, 2):
            assert a[2] < b[0] or b[2] < a[0] or a[3] < b[1] or b[3] < a[1]
        for placed in one.parts:
            cut[placed.part] += one.copies
    assert cut == {number: part.count for number, part in enumerate(plan.parts)}
    front = sum(p.count * p.shape.area_mm2 for p in plan.parts if p.material == "front")
    # By hand: cells and walls, less the gap between the outer faces of its walls.
    whole = [columns * pitch + thickness, rows * row_pitch + thickness]
    gone = 0.0
    for column, row, wide, high in gaps:
        size = []
        for first, count, cells, step in (
            (column, wide, columns, pitch),
            (row, high, rows, row_pitch),
        ):
            sides = (first > 0) + (first + count < cells)
            size.append(count * step + thickness / 2 * (2 - 2 * sides))
        gone = size[0] * size[1]
    assert front == pytest.approx(whole[0] * whole[1] - gone)


@pytest.mark.slow
def test_the_front_covers_cells_and_their_walls_with_any_gaps():
    """Against a raster of 1 mm: cells of 10 mm, and 1 mm around them for half of a wall."""
    draw = np.random.default_rng(5)
    for number in range(60):
        columns, rows = draw.integers(2, 12, 2).tolist()
        gaps = []
        for _ in range(draw.integers(1, 6)):
            column, row = draw.integers(columns - 1).item(), draw.integers(rows).item()
            wide = draw.integers(1, columns - column).item()
            gaps.append((column, row, wide, draw.integers(1, min(2, rows - row) + 1).item()))
        walls = ("black", "none")[number % 2]
        display = wall(
            columns, rows, gaps=gaps, cover=f'depth_mm = 8\nwalls = "{walls}"',
            along=("rows", "columns")[number // 2 % 2],
        )  # fmt: skip
        plan = plan_of(display, tuple(draw.uniform(25, 130, 2)), thickness=2.0, strip=(3, 1))
        raster = np.pad(np.kron(~display.gap, np.ones((10, 10), dtype=bool)), 1)
        if walls != "none":
            covers(plan)
            raster = np.any(
                [np.roll(raster, (i, j), (0, 1)) for i in (-1, 0, 1) for j in (-1, 0, 1)], axis=0
            )
        front = sum(p.count * p.shape.area_mm2 for p in plan.parts if p.material == "front")
        assert front == pytest.approx(raster.sum()), (columns, rows, gaps, walls)
        assert not any(document.audit().errors for _, document in documents(plan))


# ---- as few different pieces as can be -------------------------------------------------------


@pytest.mark.parametrize("most", [Most(1, 1, 1), Most(2, 2, 3), Most(3, 4, 4), Most(5, 5, 5)])
def test_no_other_split_has_fewer_kinds_or_as_many_with_fewer_pieces(most):
    """Against all ways to write a row as a sum, with at most one piece more than needed."""
    for cells in range(1, 13):
        ways = [
            way for count in range(1, cells + 1) for way in compositions(cells, count)
            if fits(way, most)
        ]  # fmt: skip
        least = min(map(len, ways), default=0)
        worth = min(((len(kinds_of(w)), len(w)) for w in ways if len(w) <= least + 1), default=None)
        split = split_rows({cells: 1}, most)
        assert (split is None) == (worth is None)
        if split:
            assert (len(kinds_of(split[cells])), len(split[cells])) == worth, split


def compositions(cells, count):
    for seams in itertools.combinations(range(1, cells), count - 1):
        yield tuple(b - a for a, b in itertools.pairwise((0, *seams, cells)))


def fits(way, most):
    if len(way) == 1:
        return way[0] <= most.whole
    return max(way[0], way[-1]) <= most.end and max(way[1:-1], default=0) <= most.inner


# ---- files -----------------------------------------------------------------------------------


def test_lines_have_the_layers_and_colours_asked_for_in_dxf_and_svg():
    lines = {"engrave": Line("A", 30), "inside": Line("B", 1), "cut": Line("C", 7)}
    plan = plan_of(wall(3, 3, gaps=[(1, 1, 1, 1)]), lines=lines)
    (_, slats), (one, front) = documents(plan)
    colours = {layer.dxf.name: layer.color for layer in front.layers}
    assert {name: colours[name] for name in "ABC"} == {"A": 30, "B": 1, "C": 7}
    assert {e.dxf.layer for e in slats.modelspace()} == {"A", "C"}
    assert [e.dxf.layer for e in front.modelspace()] == ["B", "C"]  # inside before the outline
    assert front.dxfversion == "AC1015"  # R2000
    assert front.units == 4  # millimetres
    # 7 is black on white; 1 is red (AutoCAD Color Index).
    assert (colour_hex(1), colour_hex(7)) == ("#ff0000", "#000000")
    svg = ElementTree.fromstring(
        bed_svg(plan, "front-1", one, {name: colour_hex(lines[name].colour) for name in lines})
    )
    assert (svg.get("width"), svg.get("viewBox")) == ("45mm", "0 0 45 45")
    space = "{http://www.w3.org/2000/svg}"
    shown = [(g.get("id"), g.get("stroke")) for g in svg.iter(f"{space}g")]
    assert shown == [("B", "#ff0000"), ("C", "#000000")]
    for polygon, layer in zip(svg.iter(f"{space}polygon"), "BC", strict=True):
        corners = [[float(v) for v in at.split(",")] for at in polygon.get("points").split()]
        # y of an SVG runs down.
        (outline,) = outlines(front, layer)
        assert np.abs(np.array([[x, 45 - y] for x, y in corners]) - outline).max() < 1e-3


def test_every_slat_has_its_number_inside_its_outline():
    plan = plan_of(wall(9, 9, pitch=12), strip=(3, 1))
    for one, document in documents(plan):
        engraved = outlines(document, "1-engrave")
        names = [plan.parts[placed.part].name for placed in one.parts]
        assert bool(engraved) == any(name.startswith("W") for name in names)
        boxes = [(o.min(axis=0), o.max(axis=0)) for o in outlines(document, "3-cut")]
        for stroke in engraved:
            inside = [(low < stroke).all() and (stroke < high).all() for low, high in boxes]
            assert sum(inside) == 1


def test_the_drawing_names_every_piece_at_its_place():
    plan = plan_of(wall(9, 7, gaps=[(3, 3, 2, 1)]))
    svg = ElementTree.fromstring(assembly_svg(plan))
    space = "{http://www.w3.org/2000/svg}"
    slats, front = svg.iter(f"{space}g")
    named = Counter(text.text for text in svg.iter(f"{space}text"))
    assert {part.name: part.count for part in plan.parts} == {
        name: count for name, count in named.items() if name[1:].isdigit()
    }
    # The longest way down of the slats between columns: from the first to the last row of walls.
    lines = [line for line in slats.iter(f"{space}line") if line.get("class") is None]
    assert max(float(line.get("y2")) for line in lines) == pytest.approx(70, abs=1)
    panels = [r for r in front.iter(f"{space}rect") if r.get("class") == "panel"]
    area = sum(float(r.get("width")) * float(r.get("height")) for r in panels)
    assert area == pytest.approx(90 * 70)


def test_the_same_display_gives_the_same_bytes(tmp_path):
    for name in ("one", "two"):
        plan = plan_of(wall(6, 5, gaps=[(2, 2, 1, 1)]))
        writing.write_parts(plan, tmp_path / name, "listed")
    files = [{p.name: p.read_bytes() for p in (tmp_path / n).iterdir()} for n in ("one", "two")]
    assert files[0] == files[1]
    assert {*files[0]} >= {"parts.txt", "parts.json", "slats-1.dxf", "slats-1.svg", "front-1.dxf"}
    assert not read(files[0]["front-1.dxf"]).audit().errors


def test_a_folder_is_written_whole_or_not_at_all(tmp_path, monkeypatch):
    plan = plan_of(wall(3, 3))
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine.txt").write_text("mine")
    with pytest.raises(WriteError, match="is left as it is"):
        writing.write_parts(plan, tmp_path / "full", "")
    monkeypatch.setattr(writing, "bed_svg", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        writing.write_parts(plan, tmp_path / "new", "")
    assert [path.name for path in tmp_path.rglob("*")] == ["full", "mine.txt"]


def test_without_ezdxf_the_extra_is_named(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "ezdxf", None)
    with pytest.raises(UnsupportedError, match=r"pip install 'foreglow\[cut\]'"):
        check_ezdxf()


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"bed": (9, 9)}, "--bed"),
        ({"bed": (45, 7)}, "slats are 8 mm high"),
        ({"thickness": 6.0}, "smaller --thickness"),
        ({"kerf": 1.0}, "smaller --kerf"),
        ({"strip": (3.0, 9.0)}, "--strip"),
    ],
)
def test_what_cannot_be_cut_is_an_error_with_file_and_fix(changed, said):
    with pytest.raises(CutError) as told:
        plan_of(wall(3, 3), **changed)
    assert said in str(told.value)
    assert told.value.place == "wall.toml"
    assert told.value.fix


def test_a_camera_gap_larger_than_the_bed_is_an_error():
    display = wall(9, 3, gaps=[(1, 0, 6, 2)], more=CAMERA)
    with pytest.raises(CutError, match="gap of the camera"):
        plan_of(display)
