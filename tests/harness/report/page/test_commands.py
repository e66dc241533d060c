"""`--html` of the commands: what the page then has, and names that are refused before any work."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from emulator import load_display
from harness.patterns.pattern import patterns_for_people
from harness.report.page.films import films
from harness.subject.subject import own_code
from harness.subject.trial import Trial
from tests.harness.report.page.test_render import Read

# What each page must have beside findings, map and record: titles of its tables and charts.
COMMANDS = {
    ("check", "sign"): (
        "What was checked", "Time that the code took for each picture", "Current over time",
        "Lowest voltage of an LED over time", "Light", "Relative luminance",
    ),
    ("check", "sign", "--only", "map"): ("What was checked",),
    ("power", "sign"): ("Supplies", "Wires", "Current over time", "Voltage along"),
    ("power", "sign", "clock", "--seconds", "2", "--plan", "4.5"): ("Current over time", "Plan"),
    ("flash", "sign", "clock", "--seconds", "2"): ("Relative luminance", "By WCAG 2.2"),
    ("soak", "sign", "clock", "--hours", "0.01", "--fault", "none"): ("Current of all supplies",),
    ("campaign", "tiny.toml"): ("What is detected", "Kinds of faults"),
}  # fmt: skip
TINY = """
[grid]
columns = 4
rows = 3
[chip]
part = "WS2812B"
[wiring]
start = "top-left"
"""


@pytest.mark.slow
@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_the_page_has_what_the_command_found(foreglow, words):
    Path("tiny.toml").write_text(TINY)
    status, out, err = foreglow(*words, "--html", "page.html")
    assert status in (0, 1), err
    assert "Page: page.html" in out
    text = Path("page.html").read_text("utf-8")
    for title in (*COMMANDS[words], "Map of", "For the record", "foreglow " + words[0]):
        assert title in text, title
    data = json.loads(Read(text).scripts[0])
    assert data["walls"][0]["columns"] == load_display(words[1]).grid.columns
    assert text.count("data-chart=") == len(data["charts"])
    assert bool(data["films"]) == (words[0] == "check")


@pytest.mark.slow
def test_with_json_the_page_is_written_and_the_output_is_json_alone(foreglow):
    _, out, _ = foreglow("check", "sign", "--only", "map", "--json", "--html", "page.html")
    assert json.loads(out)["display"] == "sign"
    assert Path("page.html").exists()


@pytest.mark.parametrize("command", ["check", "power", "campaign"])
def test_another_ending_or_a_file_of_the_user_is_refused_before_the_work(foreglow, command):
    assert foreglow(command, "sign", "--html", "page.pdf")[0] == 2
    Path("mine.html").write_text("<p>mine</p>")
    status, _, err = foreglow(command, "sign", "--html", "mine.html")
    assert status == 2
    assert "mine.html" in err
    assert Path("mine.html").read_text() == "<p>mine</p>"


def test_films_show_what_was_sent_at_the_steps_they_name():
    """The foyer's own map: as meant everywhere, with the first and the last step of the chase."""
    display = load_display("sign")
    trial = Trial(display, own_code(display))
    made = {film.name: film for film in films(trial)}
    assert {*(pattern.name for pattern in patterns_for_people()), "letters"} == {*made}
    assert not any(film.wrong.any() for film in made.values())
    chase = made["chase"]
    assert (chase.steps[0], chase.steps[-1], chase.of) == (0, display.leds - 1, display.leds)
    assert len(chase.steps) <= 64
    for at, step in enumerate(chase.steps):
        lit = np.argwhere(chase.shown[at].any(axis=-1)).tolist()
        wiring = display.wiring
        assert lit == [[int(wiring.row[step]), int(wiring.column[step])]]
