"""A new display file has what you asked for and explains every key; it never overwrites."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel

from emulator.description.chips import CHIPS, OneWire
from emulator.description.load import parse_display
from emulator.description.new import new_display_text, write_new
from emulator.description.sections import (
    ChipSection,
    Controller,
    Cover,
    DisplayFile,
    Grid,
    LineSection,
    RunSection,
    WiringSection,
)
from emulator.description.wiring import Along, Corner, shorthand
from emulator.description.wiring import Path as DataPath
from emulator.errors import DisplayFileError
from emulator.files import WriteError

WALL = Path("wall.toml")


@given(
    columns=st.integers(1, 40),
    rows=st.integers(1, 40),
    pitch_mm=st.floats(1, 100),
    part=st.sampled_from(sorted(CHIPS)),
    start=st.sampled_from(["top-left", "top-right", "bottom-left", "bottom-right"]),
    along=st.sampled_from(["rows", "columns"]),
    path=st.sampled_from(["serpentine", "progressive"]),
    frame_rate=st.floats(1, 200),
    about=st.text(st.characters(exclude_categories=["C"]), max_size=20),
)
def test_text_parses_to_the_values_asked(
    columns: int,
    rows: int,
    pitch_mm: float,
    part: str,
    start: Corner,
    along: Along,
    path: DataPath,
    frame_rate: float,
    about: str,
) -> None:
    text = new_display_text(
        columns, rows, pitch_mm=pitch_mm, part=part, start=start, along=along, path=path,
        frame_rate=frame_rate, about=about,
    )  # fmt: skip
    display = parse_display(text, WALL)
    assert (display.grid.columns, display.grid.rows) == (columns, rows)
    assert display.grid.pitch_mm == pitch_mm
    assert display.chip == CHIPS[part]
    assert display.controller.frame_rate == frame_rate
    assert display.about == about
    assert display.wiring == shorthand(display.gap, start, along, path)


def test_text_that_toml_must_escape_comes_back_unchanged() -> None:
    about = 'quote " backslash \\ mask 🎭 accent é'
    assert parse_display(new_display_text(2, 2, about=about), WALL).about == about


def test_lines_asked_for_share_the_rows() -> None:
    assert parse_display(new_display_text(36, 20, lines=2), WALL).wiring.line_lengths == (360, 360)


@pytest.mark.parametrize(
    "model",
    [DisplayFile, Grid, ChipSection, WiringSection, LineSection, RunSection, Controller, Cover],
)
def test_every_key_stands_in_the_text_under_its_description(model: type[BaseModel]) -> None:
    text = new_display_text(36, 20)
    for name, field in model.model_fields.items():
        key = field.alias or name
        assert re.search(rf"^#?(\[\[?([a-z]+\.)?)?{key}\b", text, re.M), key
        if field.description and model is not LineSection:
            assert field.description in text


def test_every_commented_key_is_valid_once_its_mark_is_taken_away() -> None:
    text = new_display_text(4, 3)
    commented = [line for line in text.split("#[[line]]")[0].splitlines() if re.match(r"#\w", line)]
    commented += re.findall(r"^#\w.*", text.split("[controller]")[1], re.M)
    assert len(commented) >= 10
    for line in commented:
        edited = text.replace(line, line[1:], 1)
        if line.startswith("#map"):
            # A map takes the place of the words; it is refused beside them, and by name.
            with pytest.raises(DisplayFileError, match="map and"):
                parse_display(edited, WALL)
        elif line.startswith("#white_"):
            with pytest.raises(DisplayFileError, match="has no white channel"):
                parse_display(edited, WALL)
        else:
            parse_display(edited, WALL)


def test_commented_keys_set_to_their_defaults_change_nothing() -> None:
    text = re.sub(r"#\[camera\](\n#.*)*", "", new_display_text(4, 3, part="SK6812-RGBW"))
    edited = re.sub(r"^#(order|t\d[hl]_ns|reset_us|reel_leds|row_pitch_mm|\w+_m\w+|logic_volts) =",
                    r"\1 =", text, flags=re.M)  # fmt: skip
    assert edited.count("\n#") < text.count("\n#") - 8
    before, after = parse_display(text, WALL), parse_display(edited, WALL)
    # The opening of a cell is its pitch where it is left out; what is wanted is an example.
    cover = before.cover.model_copy(
        update={"opening_mm": before.grid.pitch_mm, "least_min_to_mean": 0.8}
    )
    assert (after.chip, after.controller, after.cover) == (before.chip, before.controller, cover)
    assert after.grid.pitches_mm == before.grid.pitches_mm


def test_the_camera_is_valid_once_the_wall_has_a_gap() -> None:
    text = new_display_text(4, 3, pitch_mm=50)
    block = re.search(r"#\[camera\](\n#.*)*", text)
    edited = text.replace(block[0], re.sub(r"^#(\S)", r"\1", block[0], flags=re.M))
    edited = re.sub(r"^#gaps", "gaps", edited, flags=re.M)
    assert parse_display(edited, WALL).camera.hood_mm == 10


def test_explicit_lines_are_valid_in_place_of_the_wiring_section() -> None:
    text = new_display_text(5, 1)
    head, rest = text.split("\n[wiring]\n")
    block = rest[rest.index("#[[line]]") :].split("\n\n")[0]
    edited = head + "\n" + re.sub(r"^#(\S)", r"\1", block, flags=re.M)
    display = parse_display(edited, WALL)
    assert display.wiring.line_names == ("left",)
    assert display.wiring.column.tolist() == [0, 1, 2, 3, 4]


def test_choices_are_listed_beside_the_key() -> None:
    assert "top-left, top-right, bottom-left, bottom-right" in new_display_text(2, 2)


def test_timing_shown_is_that_of_the_part() -> None:
    wire = CHIPS["WS2813B"].wire
    assert isinstance(wire, OneWire)
    assert f"#t1h_ns = {list(wire.t1h)}" in new_display_text(2, 2, part="WS2813B")


# ---- writing ---------------------------------------------------------------------------------


def test_written_file_is_the_text_and_its_display_is_returned(tmp_path: Path) -> None:
    text = new_display_text(3, 2, about="größer")
    display = write_new(tmp_path / "mine.toml", text)
    assert (tmp_path / "mine.toml").read_text(encoding="utf-8") == text
    assert (display.name, display.leds) == ("mine", 6)


def test_existing_file_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text("precious", encoding="utf-8")
    with pytest.raises(WriteError, match=r"exists(.|\n)*Fix: "):
        write_new(path, new_display_text(3, 2))
    assert path.read_text(encoding="utf-8") == "precious"


@pytest.mark.parametrize(
    ("text", "key"),
    [
        (new_display_text(0, 20), "columns"),
        (new_display_text(100_000, 20), "columns"),
        (new_display_text(4, 4, pitch_mm=float("inf")), "pitch_mm"),
        (new_display_text(4, 4, pitch_mm=float("nan")), "pitch_mm"),
        (new_display_text(4, 4, part='no "part"\n'), "part"),
        (new_display_text(4, 4, lines=9), "lines"),
        (new_display_text(4, 4, frame_rate=0), "frame_rate"),
        (new_display_text(4, 4, start="middle"), "start"),
    ],
)
def test_bad_value_names_its_key_and_writes_nothing(text: str, key: str, tmp_path: Path) -> None:
    with pytest.raises(DisplayFileError) as caught:
        write_new(tmp_path / "mine.toml", text)
    assert [problem.key for problem in caught.value.problems] == [key]
    assert list(tmp_path.iterdir()) == []


def test_place_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("no folder", encoding="utf-8")
    with pytest.raises(WriteError, match=r"mine\.toml: cannot be written"):
        write_new(tmp_path / "file" / "below" / "mine.toml", new_display_text(3, 2))


@pytest.mark.parametrize("part", ["WS2812B", "SK6812-RGBW", "APA102"])
def test_what_a_commented_key_shows_is_marked(part):
    """A value marked as default or as the part's own changes nothing when it is set."""
    text = new_display_text(6, 4, part=part)
    plain = parse_display(text, Path("wall.toml"))
    lines = text.splitlines()
    marks = {}
    for mark in ("default", "this part's own", "example"):
        ends = f"  # {mark}"
        marks[mark] = [n for n, line in enumerate(lines) if line[:1] == "#" and line.endswith(ends)]
        assert marks[mark]
    for number in marks["default"] + marks["this part's own"]:
        changed = [*lines[:number], lines[number][1:], *lines[number + 1 :]]
        assert parse_display("\n".join(changed), Path("wall.toml")) == plain, lines[number]
    assert any(line.startswith("#jumper") for line in (lines[n] for n in marks["example"]))
