"""The section [canvas] of a display file: what it accepts, and how it refuses the rest."""

from __future__ import annotations

import re

import pytest

from emulator import DisplayFileError
from emulator.description.load import parse_display
from emulator.description.new import new_display_text
from emulator.description.sections import DisplayFile
from tests.canvas.walls import wall


@pytest.mark.parametrize(
    ("settings", "key", "line", "said"),
    [
        ('curve = "srgb"', "curve", 8, "give 'sRGB'"),
        ("curve = 0.5", "curve", 8, "exponent from 1 to 4"),
        ("curve = nan", "curve", 8, "exponent from 1 to 4"),
        ("curve = true", "curve", 8, "exponent from 1 to 4"),
        ("curve = [2.2]", "curve", 8, "exponent from 1 to 4"),
        ("white = [1, 1]", "white", 8, "at least 3"),
        ("white = [1, 1, 1.2]", "white", 8, "less than or equal to 1"),
        ("white = [1, 1, 0]", "white", 8, "greater than 0"),
        ('white = "D65"', "white", 8, "give a list"),
        ("brightness = 0", "brightness", 8, "greater than 0"),
        ("brightness = 200", "brightness", 8, "less than or equal to 1"),
        ("dither = 1", "dither", 8, "true or false"),
        ("gamma = 2.2", "gamma", 8, "Keys allowed here: brightness, curve, dither, white"),
        ("white = [1, 1, 0.1]\nbrightness = 0.12", "canvas", 7, "leave blue 3.1 of 255 levels"),
    ],
)
def test_what_it_cannot_take_is_refused_with_its_place_and_a_remedy(settings, key, line, said):
    with pytest.raises(DisplayFileError) as caught:
        wall(settings)
    (problem,) = caught.value.problems
    assert (problem.key, problem.line) == (key, line)
    assert said in str(caught.value)
    assert "Fix: " in str(caught.value)


def test_whole_numbers_are_taken_for_numbers():
    canvas = wall("curve = 2\nwhite = [1, 1, 1]\nbrightness = 1").canvas
    assert (canvas.curve, canvas.white, canvas.brightness) == (2.0, [1.0, 1.0, 1.0], 1.0)
    assert all(type(value) is float for value in (canvas.curve, *canvas.white, canvas.brightness))


def test_a_new_file_tells_every_key_and_its_default():
    text = new_display_text(4, 3)
    section = text.split("[canvas]")[1].split("\n[")[0]
    keys = re.findall(r"^#(\w+) = (.*)$", section, re.M)
    assert keys == [
        ("curve", '"sRGB"  # default'), ("white", "[1.0, 1.0, 1.0]  # default"),
        ("brightness", "1.0  # default"), ("dither", "false  # default"),
    ]  # fmt: skip
    taken = re.sub(r"^#(curve|white|brightness|dither) ", r"\1 ", text, flags=re.M)
    display = parse_display(taken, wall().path)
    assert display.canvas == wall().canvas


def test_the_schema_for_editors_knows_the_curve():
    schema = DisplayFile.model_json_schema()["$defs"]["CanvasSection"]["properties"]["curve"]
    assert {"enum": ["sRGB", "L*"], "type": "string"} in schema["anyOf"]
    assert {"type": "number", "minimum": 1, "maximum": 4} in schema["anyOf"]
