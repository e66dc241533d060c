from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from emulator import load_display
from harness.cli import app
from harness.report.build.mapformats import map_csv
from tests.tables import telling

CAPTURES = Path(__file__).parents[2] / "captures"


def pixels(path: str) -> np.ndarray:
    with Image.open(path) as image:
        return np.asarray(image.convert("L"))


def left_behind() -> list[str]:
    return sorted(str(p) for p in Path().rglob("*") if p.is_file())


def test_check_of_a_demo_passes_and_leaves_a_contact_sheet(foreglow):
    status, out, err = foreglow("check", "foyer")
    assert (status, err) == (0, "")
    assert "716 of 716 LEDs show their own cell" in out
    assert "▀" * 36 in out
    assert pixels("foreglow-out/foyer-check.png").shape[1] > 500


def test_check_of_a_map_that_is_wrong_says_what_and_exits_1(foreglow):
    wall = "[grid]\ncolumns=8\nrows=6\n[chip]\npart='WS2812B'\n[wiring]\n"
    Path("wall.toml").write_text(wall)
    lines = map_csv(load_display("wall")).splitlines()
    mirrored = [lines[0]]
    for line in lines[1:]:
        n, led, column, row = line.split(",")
        mirrored.append(f"{n},{led},{7 - int(column)},{row}")
    Path("theirs.csv").write_text("\n".join(mirrored))
    asked = ("check", "wall", "--map", "theirs.csv", "--only", "map")
    status, out, _ = foreglow(*asked, "--json")
    found = json.loads(out)
    assert status == 1
    assert (found["display"], found["verdict"]) == ("wall", "fail")
    (finding,) = found["findings"]
    assert set(finding) == {"check", "what", "where", "evidence", "remedy", "severity"}
    assert "mirrored left-right" in finding["what"]
    status, out, _ = foreglow(*asked)
    assert status == 1
    assert "mirrored left-right" in " ".join(out.split())
    assert "meant" in out


@pytest.mark.slow
def test_check_of_a_function_in_this_folder(foreglow):
    Path("their_wall.py").write_text(
        "import numpy as np\n"
        "import emulator\n"
        "from emulator import canvas\n"
        "display = emulator.load_display('sign')\n"
        "def to_wire(picture):\n"
        "    drives = canvas.to_drives(picture[..., [1, 0, 2]], display)\n"
        "    return canvas.to_wire(drives, display)[0].tobytes()\n"
    )
    status, out, err = foreglow("check", "sign", "--call", "their_wall:to_wire")
    assert (status, err) == (1, "")
    assert "red and green swapped" in out


def test_check_runs_only_what_is_asked_for(foreglow):
    status, out, _ = foreglow("check", "sign", "--only", "wire, map", "--json", "--sheet", "s.png")
    assert status == 0
    assert list(json.loads(out)["figures"]) == ["wire", "map"]
    assert left_behind() == ["s.png"]


def test_new_writes_a_file_that_map_and_check_understand(foreglow):
    asked = ("new", "mywall.toml", "--columns", 9, "--rows", 4, "--start", "bottom-right")
    assert foreglow(*asked)[0] == 0
    display = load_display("mywall.toml")
    assert (display.leds, display.wiring.cell[0]) == (36, 35)
    assert foreglow("check", "mywall")[0] == 0
    before = Path("mywall.toml").read_text()
    status, _, err = foreglow(*asked)
    assert status == 2
    assert "exists" in err
    assert Path("mywall.toml").read_text() == before


@pytest.mark.parametrize(
    "words",
    [
        ("--columns", 0, "--rows", 4),
        ("--columns", 9, "--rows", 100000),
        ("--columns", 3, "--rows", 3, "--chip", "WS28l2B"),
        ("--columns", 3, "--rows", 3, "--pitch-mm", "nan"),
        ("--columns", 3, "--rows", 3, "--lines", 7),
    ],
)
def test_new_refuses_what_cannot_be_and_writes_nothing(foreglow, words):
    status, _, err = foreglow("new", "wall.toml", *words)
    assert status == 2
    assert "Fix:" in err
    assert left_behind() == []


def test_new_chooses_as_many_lines_as_the_rate_needs_and_map_says_so(foreglow):
    size = ("--columns", 60, "--rows", 45)  # 81 ms of bits on one line, at 30 µs an LED
    assert foreglow("new", "auto.toml", *size, "--lines", "auto")[0] == 0
    assert load_display("auto.toml").wiring.line_lengths == (900, 900, 900)
    assert "are not possible" not in foreglow("map", "auto")[1]
    foreglow("new", "one.toml", *size)
    assert "among 3 lines" in " ".join(foreglow("map", "one")[1].split())
    status, _, err = foreglow("new", "no.toml", "--columns", 1200, "--rows", 4, "--lines", "auto")
    assert status == 2
    assert "Fix: lay the strips along columns" in err
    assert not Path("no.toml").exists()


def test_map_in_every_form(foreglow):
    _, table, _ = foreglow("map", "sign")
    assert "128" in table
    _, text, _ = foreglow("map", "sign", "--format", "csv")
    assert text == map_csv(load_display("sign"))
    assert json.loads(foreglow("map", "sign", "--format", "json")[1])["columns"] == 16
    assert "#ifndef" in foreglow("map", "sign", "--format", "c")[1]


def test_map_takes_another_reel(foreglow):
    wall = "[grid]\ncolumns=24\nrows=24\n[chip]\npart='WS2812B'\n[wiring]\n"
    Path("wall.toml").write_text(wall)
    first = json.loads(foreglow("map", "wall", "--format", "json")[1])
    other = json.loads(foreglow("map", "wall", "--format", "json", "--reel", 300)[1])
    assert first != other


def test_render_draws_the_moment_asked_for(foreglow):
    foreglow("render", "foyer", "rows", "--at", "1.5s", "--width", 360, "-o", "a.png")
    light = pixels("a.png").mean(axis=1)
    assert np.argmax(light) // 10 == 7  # 1.5 s of 200 ms steps: row 7, 10 pixels a row


def test_render_shows_what_the_supply_and_wires_leave(foreglow):
    wall = "[grid]\ncolumns=150\nrows=1\n[chip]\npart='WS2812B'\n[wiring]\n[power]\n"
    Path("near.toml").write_text(wall)
    # One feed at LED 0 of 5 m of strip: the voltage at its far end is too low for any LED.
    Path("far.toml").write_text(f"{wall}supply=[{{amps=30}}]\nfeed=[{{line=0, led=0}}]\n")
    Path("white.py").write_text(
        "import numpy as np\n\n\ndef picture(time_s, display):\n"
        "    return np.ones(display.picture_shape)\n"
    )
    for name in ("near", "far"):
        assert foreglow("render", name, "white.py", "--width", 1500, "-o", f"{name}.png")[0] == 0
    near, far = (pixels(f"{name}.png").astype(int).max(axis=0) for name in ("near", "far"))
    assert near[:100].max() > 200
    assert far[:100].max() == pytest.approx(near[:100].max(), abs=25)
    assert far[-100:].max() < 0.7 * far[:100].max()


@pytest.mark.parametrize(
    "scene", telling(["aurora", "clock", "programme"], lambda scene: scene == "clock")
)
def test_render_of_every_scene(foreglow, scene):
    status, out, _ = foreglow("render", "banner", scene, "--at", "4s", "-o", "s.png")
    assert (status, out) == (0, f"Wrote s.png: banner, scene {scene} at 4 s\n")


HOLDS = """
from pathlib import Path

import numpy as np


class Holding:
    def __call__(self, time_s, display):
        return np.zeros(display.picture_shape)

    def close(self):
        Path("given-back").touch()


picture = Holding()
"""


@pytest.mark.parametrize(
    "words",
    [
        ("render", "sign", "mine.py", "-o", "a.png"),
        ("record", "sign", "mine.py", "--seconds", 1, "-o", "rec"),
        ("power", "sign", "mine.py", "--seconds", 1),
        ("flash", "sign", "mine.py", "--seconds", 1),
    ],
    ids=lambda words: words[0],
)
def test_what_a_scene_holds_is_given_back(foreglow, words):
    Path("mine.py").write_text(HOLDS)
    assert foreglow(*words)[0] == 0
    assert Path("given-back").exists()


COMMANDS = sorted(info.name for info in app.registered_commands)


@pytest.mark.parametrize("command", COMMANDS)
def test_help_fits_80_columns_and_is_not_cut(foreglow, command):
    status, out, _ = foreglow(command, "--help")
    assert status == 0
    assert max(map(len, out.splitlines())) <= 80
    assert "… │" not in out


def test_the_list_of_commands_names_all_of_them_and_the_exit_statuses(foreglow):
    _, out, _ = foreglow("--help")
    assert {line.split()[1] for line in out.splitlines() if line.startswith("│ ")} >= {*COMMANDS}
    assert "2 bad input" in out


def test_decode_of_a_real_capture(foreglow):
    capture = CAPTURES / "rgbw_4leds_4mhz.vcd"
    status, out, _ = foreglow("decode", capture, "--chip", "SK6812-RGBW", "--json")
    found = json.loads(out)
    (line,) = found["lines"]
    assert status == 0
    assert set(line) >= {"name", "verdict", "timing", "frames"}
    assert [set(f) >= {"time_ns", "bits", "bytes"} for f in line["frames"]] == [True] * 4
    # Levels 0, 63, 127, 255 on LED 0 to 3, green in the first frame (the captures' README).
    assert line["frames"][0]["bytes"].replace(" ", "") == "000000003f0000007f000000ff000000"
    status, out, _ = foreglow("decode", capture, "--chip", "SK6812-RGBW")
    assert status == 0
    assert "cannot tell" in out


def test_decode_shows_the_frames_on_a_display(foreglow):
    capture = CAPTURES / "rgb_24leds_4mhz.vcd"
    wall = "[grid]\ncolumns=24\nrows=1\n[chip]\npart='WS2812B'\n[wiring]\n"
    Path("ring.toml").write_text(wall)
    status, out, err = foreglow("decode", capture, "--display", "ring.toml")
    assert (status, err) == (0, "")
    assert "▀" * 24 in out
    assert pixels("foreglow-out/ring-capture.png").shape[1] > 100


def test_schema_and_chips(foreglow):
    assert "grid" in json.loads(foreglow("schema")[1])["properties"]
    assert "SK6812-RGBW" in foreglow("chips")[1]


@pytest.mark.parametrize(
    "words",
    [
        ("check", "nowhere"),
        ("check", "foyer", "--map", "nowhere.csv"),
        ("check", "foyer", "--call", "nowhere:f"),
        ("check", "foyer", "--call", "nowhere"),
        ("check", "foyer", "--only", "mapp"),
        ("check", "foyer", "--map", "a.csv", "--call", "b:c"),
        ("check", "foyer", "--sheet", "/proc/nowhere/sheet.png"),
        ("map", "nowhere.toml"),
        ("map", "foyer", "--format", "pdf"),
        ("map", "foyer", "--reel", "0"),
        ("render", "foyer", "chaser"),
        ("render", "foyer", "sunrise"),
        ("render", "foyer", "rows", "clock"),
        ("render", "foyer", "--at", "soon"),
        ("decode", "nowhere.vcd", "--chip", "SK6812"),
        ("decode", __file__, "--chip", "SK6812"),
        ("decode", "x.vcd"),
        ("check",),
        ("nonsense",),
    ],
)
def test_bad_input_exits_2_with_words_and_leaves_nothing(foreglow, words):
    status, out, err = foreglow(*words)
    assert status == 2
    assert err.strip()
    assert "Traceback" not in out + err
    assert left_behind() == []
