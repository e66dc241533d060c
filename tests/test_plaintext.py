"""Text from outside never reaches a terminal, log, SVG, HTML, C or JSON unchanged."""

from __future__ import annotations

import io
import json
import logging
import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import Bench, DiskRecorder, load_display, open_output, parse_display
from emulator.errors import ForeglowError
from emulator.plaintext import clean, clean_line
from harness.report.build import mapformats
from harness.report.page.failures import failures_page
from harness.report.page.page import Failed, wall_layout
from harness.report.page.render import page_html
from harness.report.sheet.pack import bench_pack
from harness.report.sheet.svg import svg
from harness.report.terminal import as_text
from harness.show.log import told

# A window title, a colour, a backspace, the C1 introducer, a right-to-left override.
EVIL = "\x1b]0;owned\x07\x1b[31mred\x08\x9b2J\u202etxt"
WALL = "[grid]\ncolumns=3\nrows=2\n[chip]\npart='SK6812'\n[wiring]\n"
# A line of the terminal may be broken anywhere, and rich's own colours are harmless.
OWN = re.compile(r"\x1b\[[\d;]*m")


def harmless(text: str) -> bool:
    """No character that a terminal acts on."""
    return not re.search(
        "[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]", text
    )


@given(st.text())
def test_any_text_is_harmless_and_keeps_its_printable_characters(text):
    cleaned = clean(text)
    assert harmless(cleaned)
    assert clean(cleaned) == cleaned
    assert harmless(clean_line(text))
    assert "\n" not in clean_line(text)
    if text.isprintable():
        assert cleaned == text


def test_what_is_left_out_is_spelled():
    assert clean("a\x1b[31mb\x9b\u202e\tc\r\n") == "a\\x1b[31mb\\x9b\\u202e\tc\n"
    assert clean("é ü 漢字 🎭 e\u0301") == "é ü 漢字 🎭 e\u0301"


def test_every_error_is_harmless():
    assert harmless(str(ForeglowError(EVIL)))


def test_a_console_cleans_text_and_keeps_its_own_colours():
    from harness.report.terminal import terminal

    out = io.StringIO()
    console = terminal(out, width=60, force_terminal=True, color_system="standard")
    console.print(EVIL, style="blue")
    text = out.getvalue()
    assert OWN.search(text)
    assert harmless(OWN.sub("", text).replace("\n", ""))
    assert r"\x1b" in text


@pytest.mark.parametrize("name", ["[/]", "[red]x[/red]", ":fire:", "a [link=http://x]b"])
def test_a_console_takes_words_as_they_are(name):
    from rich.table import Table

    console, text = as_text(80)
    table = Table(title=name)
    table.add_column(name)
    table.add_row(name)
    console.print(name)
    console.print(table)
    assert text.getvalue().count(name) == 4


@pytest.mark.slow
@pytest.mark.parametrize("form", ["png", "svg"])
@pytest.mark.parametrize("name", [EVIL, r"$\frac$", "日本", "$HOME and $PATH"])
def test_a_chart_takes_words_as_they_are(name, form):
    from matplotlib.figure import Figure

    from harness.report.chart import chart_bytes

    figure = Figure(layout="constrained")
    figure.subplots().set_title(name)
    chart = chart_bytes(lambda: figure, form)
    if form == "svg":
        assert clean(name) in "".join(ElementTree.fromstring(chart).itertext())


@pytest.fixture
def hostile(tmp_path, monkeypatch):
    """A folder with a display file, a map, a scene and captures, all with bad names and texts."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / f"{EVIL.replace('/', '')}.toml").write_text(WALL)
    (tmp_path / "wall.toml").write_text(WALL)
    return tmp_path


# Each: the words of the command, and what the file called 'bad' holds.
COMMANDS = {
    "column of a map": (("check", "wall", "--map", "bad"), f"line,led,column,{EVIL}\n0,0,0,0\n"),
    "row of a map": (("check", "wall", "--map", "bad"), f"line,led,column,row\n0,0,0,{EVIL}\n"),
    "key of a display": (("map", "bad.toml"), WALL + f'"{EVIL}" = 1\n'.replace("\x1b", "\\u001b")),
    "value of a display": (("map", "bad.toml"), WALL.replace("SK6812", "\\u001b]0;x\\u0007")),
    "text that is not TOML": (("map", "bad.toml"), f"{EVIL} = \n"),
    "line of a capture": (("decode", "bad.csv", "--chip", "SK6812"), f"time [s],D\n{EVIL},1\n"),
    "column of a capture": (("decode", "bad.csv", "--chip", "SK6812"), f"time [s],{EVIL}\n0,2\n"),
    "line of a VCD": (
        ("decode", "bad.vcd", "--chip", "SK6812"),
        f"$timescale 1 ns $end\n$var wire 1 ! {EVIL} $end\n$enddefinitions $end\n#0\n{EVIL}!\n",
    ),
    "name of no display": (("map", f"no{EVIL}"), ""),
    "name of no scene": (("render", "wall", EVIL, "-o", "x.png"), ""),
    "name of no check": (("check", "wall", "--only", EVIL), ""),
    "address of no output": (("run", "wall", "rows", "--to", EVIL), ""),
    "option of an address": (("run", "wall", "rows", "--to", f"e131:?{EVIL}=1"), ""),
    "no function": (("check", "wall", "--call", f"{EVIL}:x"), ""),
    "an error of a scene": (
        ("render", "wall", "bad.py", "-o", "x.png"),
        f"def picture(time_s, display):\n    raise ValueError({EVIL!r})\n",
    ),
    "an error of a function": (
        ("check", "wall", "--call", "bad:picture"),
        f"def picture(p):\n    raise ValueError({EVIL!r})\n",
    ),
    "a time": (("render", "wall", "rows", "--at", EVIL, "-o", "x.png"), ""),
    "a recording": (("export", EVIL, "x.png"), ""),
}


@pytest.mark.parametrize("place", COMMANDS)
def test_no_escape_of_a_file_or_an_argument_reaches_the_terminal(hostile, foreglow, place):
    words, text = COMMANDS[place]
    name = next((w for w in words if w.startswith("bad")), "bad")
    name = "bad.py" if name.startswith("bad:") else name
    (Path.cwd() / name).write_text(text)
    status, out, err = foreglow(*words)
    assert status == 2, out + err
    assert harmless(out)
    assert harmless(err)
    assert err.strip()


@pytest.mark.parametrize("form", ["table", "csv", "json", "c"])
def test_a_hostile_name_is_harmless_in_every_form_of_a_map(hostile, foreglow, form):
    name = next(file.name for file in hostile.glob("*.toml") if file.stem != "wall")
    status, out, err = foreglow("map", name, "--format", form)
    assert status == 0, err
    assert harmless(out)


def test_the_files_of_a_hostile_display_are_harmless():
    display = parse_display(WALL, Path(f"{EVIL}.toml"))
    for page in bench_pack(display, template=False):
        drawn = svg(page, display.name)
        ElementTree.fromstring(drawn)
        assert harmless(drawn)
    code = mapformats.map_c(display)
    assert harmless(code)
    assert "owned" in json.loads(mapformats.map_json(display))["display"]
    assert harmless(mapformats.map_json(display))
    assert harmless(display._repr_html_())


def test_the_page_of_failed_tests_is_harmless():
    layout = wall_layout(parse_display(WALL, Path(f"{EVIL}.toml")))
    failed = Failed(f"test_{EVIL}", EVIL, f"<script>{EVIL}", EVIL, letters=EVIL)
    page = page_html(failures_page([(failed, layout)]))
    assert harmless(page)
    assert page.count("<script") == page.count("</script>") == 2  # its data, and its own


def test_a_log_and_what_a_scene_says_in_it_are_harmless(tmp_path, capsys):
    path = tmp_path / "show.log"
    with told(path) as log:
        log.info("the scene says: %s", EVIL)
        logging.getLogger("foreglow.anything").warning(EVIL)
    assert harmless(path.read_text())
    assert harmless(capsys.readouterr().err)


def test_a_recording_of_a_hostile_display_is_told_harmlessly(tmp_path, foreglow):
    display = parse_display(WALL, Path(f"{EVIL}.toml"))
    bench = Bench(display)
    with DiskRecorder(tmp_path / "rec", display) as recorder:
        bench.recorder = recorder
        bench.send(np.full(display.picture_shape, 255, np.uint8))
    for words in (("compare", "rec", "rec"), ("export", "rec", "out.csv"), ("flash", "rec")):
        _, out, err = foreglow(*words)
        assert harmless(out), words
        assert harmless(err), words


def test_findings_are_harmless_in_an_assertion():
    console, text = as_text(80)
    console.print(EVIL)
    assert harmless(text.getvalue())


def test_a_lines_name_may_be_hostile_too(tmp_path, monkeypatch, foreglow):
    monkeypatch.chdir(tmp_path)
    named = '[[line]]\nname = "\\u001b]0;owned\\u0007"\nstart = [0, 0]\n'
    (tmp_path / "wall.toml").write_text(WALL.replace("[wiring]\n", named))
    _, out, err = foreglow("map", "wall")
    assert harmless(out)
    assert harmless(err)


def test_an_output_tells_a_hostile_name_of_a_show_harmlessly():
    with pytest.raises(ForeglowError) as failed:
        open_output(f"vcd:/nowhere/{EVIL}", load_display("sign"))
    assert harmless(str(failed.value))
