"""The wall as built: a display file with faults, and a map that makes them up."""

from __future__ import annotations

import numpy as np
import pytest

from emulator import Bench, load_display
from emulator.canvas import to_drives, to_wire
from emulator.description.faults.reading import read_faults
from emulator.errors import UnsupportedError
from harness.find.asbuilt import built_file, rewired_map, why_not_rewired
from harness.patterns.pattern import pattern
from tests.harness.find.walls import TEXT


@pytest.fixture
def display(tmp_path):
    (tmp_path / "small.toml").write_text(TEXT)
    return load_display(tmp_path / "small.toml")


def test_the_display_file_as_built_has_the_faults(display, tmp_path):
    faults = read_faults(["data-open after=3", "led-dark led=2 share=0.5"], display)
    target = tmp_path / "built.toml"
    target.write_text(built_file(display, faults, target))
    assert load_display(target).faults == faults
    assert target.read_text().startswith(TEXT.rstrip("\n"))
    more = built_file(load_display(target), read_faults(["run-long run=0"], display), target)
    target.write_text(more)
    assert len(load_display(target).faults) == 3


@pytest.mark.parametrize(
    "sentences",
    [["run-reversed run=1"], ["runs-exchanged run=0 other=2"], ["led-extra after=5"],
     ["run-long run=1 leds=3"], ["other-corner corner=bottom-right"],
     ["run-reversed run=0", "led-extra after=-1"]],
)  # fmt: skip
def test_the_map_as_built_shows_every_picture_right_on_the_faulty_wall(
    display, tmp_path, sentences
):
    faults = read_faults(sentences, display)
    (tmp_path / "built.csv").write_text(rewired_map(display, faults))
    text = TEXT.replace("lines = 1", 'map = "built.csv"')
    (tmp_path / "mapped.toml").write_text(text)
    mapped = load_display(tmp_path / "mapped.toml")
    for name, step in (("corners", 0), ("coded", 3), ("numbers", 0)):
        picture = pattern(name).draw(display, step)
        bench, planned = Bench(display, faults=faults), Bench(display)
        planned.send(picture)
        data = to_wire(to_drives(picture, mapped), mapped)
        bench.send_frame(data)
        assert np.array_equal(bench.drives, planned.drives)


@pytest.mark.parametrize(
    ("sentence", "says"),
    [("data-open after=3", "soldering iron"), ("led-missing led=5", "has no LED"),
     ("run-short run=1", "has no LED"), ("led-dark led=2", "soldering iron")],
)  # fmt: skip
def test_what_software_cannot_make_up_is_said(display, sentence, says):
    faults = read_faults([sentence], display)
    assert says in str(why_not_rewired(display, faults))
    with pytest.raises(UnsupportedError, match="a map is not enough"):
        rewired_map(display, faults)
