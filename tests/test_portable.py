"""foreglow without anything that only POSIX has: what still works, and what it reports."""

from __future__ import annotations

import ast
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from emulator.description.new import new_display_text, write_new
from tests.lesser import sitecustomize as lesser
from tests.test_structure import PACKAGES, ROOT, modules

LESSER = Path(lesser.__file__).parent

SHOW = """
import json, sys
import numpy as np
import emulator

def to_wire(picture):
    display = emulator.load_display("wall.toml")
    out = emulator.open_output("memory:", display)
    out.send(picture)
    return emulator.canvas.to_wire(out.bench.drives, display)

if __name__ == "__main__":  # a program under test
    display = emulator.load_display("wall.toml")
    with emulator.open_output(f"e131://{sys.argv[1]}", display) as out:
        for line in sys.stdin:
            asked = json.loads(line)
            rgb = np.frombuffer(bytes.fromhex(asked["rgb"]), np.uint8)
            out.send(rgb.reshape(display.picture_shape))
"""
CALLED = """
import numpy as np
from emulator import canvas, load_display

DISPLAY = load_display("wall.toml")

def to_wire(picture):
    print("a picture ▓")
    return canvas.to_wire(canvas.to_drives(picture, DISPLAY), DISPLAY)
"""
SCENE = """
import numpy as np

def picture(time_s, display):
    return np.full(display.picture_shape, 0.2)
"""
# Runs the commands it reads, and writes their statuses to a given place.
DRIVER = """
import json, sys
from harness.cli import main
from emulator.window import WallWindow

run = WallWindow.run
WallWindow.run = lambda window, frames=None: run(window, frames=2)
statuses = []
for words in json.load(open(sys.argv[1], encoding="utf-8")):
    print("$", *words, file=sys.stderr, flush=True)
    sys.argv = ["foreglow", *words]
    try:
        main()
    except SystemExit as stop:
        statuses.append(stop.code or 0)
with open("statuses.json", "w", encoding="utf-8") as file:
    json.dump(statuses, file)
"""


def environment() -> dict[str, str]:
    """That of an interpreter which lacks what only POSIX has, with a console of code page 1252."""
    return {
        **{key: value for key, value in os.environ.items() if not key.startswith("FOREGLOW")},
        "PYTHONPATH": os.pathsep.join([str(LESSER), str(ROOT)]),
        "PYTHONIOENCODING": "cp1252",
        "PYTHONWARNDEFAULTENCODING": "1",
        "FOREGLOW_LESSER_ENCODING": "1",
        "SDL_VIDEODRIVER": "dummy",
        "SDL_AUDIODRIVER": "dummy",
        "COLUMNS": "100",
    }


def foreglow(folder: Path, *commands: str) -> tuple[list[int], str]:
    """Run commands in one lesser interpreter: their exit statuses, and all that they print."""
    (folder / "driver.py").write_text(DRIVER)
    (folder / "commands.json").write_text(json.dumps([command.split(" ") for command in commands]))
    done = subprocess.run(
        [sys.executable, "driver.py", "commands.json"],
        cwd=folder,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        timeout=300,
    )
    told = done.stdout.decode("cp1252", "replace")
    assert done.returncode == 0, told
    return json.loads((folder / "statuses.json").read_text()), told


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "theirs.py").write_text(CALLED, encoding="utf-8")
    (tmp_path / "show.py").write_text(SHOW)
    (tmp_path / "myscene.py").write_text(SCENE)
    write_new(tmp_path / "wall.toml", new_display_text(6, 4))
    return tmp_path


def test_the_lesser_interpreter_lacks_what_it_should(tmp_path):
    package = tmp_path / "harness"
    package.mkdir()
    (package / "__init__.py").write_text(
        "import os, signal, select, socket\n"
        "told = [n for m in (os, signal, select, socket) for n in NAMES if hasattr(m, n)]\n"
        "for name in ('tty', 'fcntl'):\n"
        "    try: told.append(__import__(name, globals()))\n"
        "    except ImportError: pass\n"
        "try: told.append(open('/proc/self/stat'))\n"
        "except FileNotFoundError: pass\n".replace(
            "NAMES", repr(" ".join(lesser.NO_NAMES.values()).split())
        )
    )
    code = f"import sys; sys.path.insert(0, {str(tmp_path)!r}); import harness; print(harness.told)"
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment(), capture_output=True, text=True, check=True
    )
    assert done.stdout == "[]\n"


@pytest.mark.slow
def test_all_but_pseudo_terminals_works_without_posix(folder):
    commands = [
        "new new.toml --columns 6 --rows 4",
        "map wall.toml",
        "map wall.toml -o map.csv",
        "check wall.toml",
        "check wall.toml --map map.csv",
        "check wall.toml --call theirs:to_wire --only map",
        "view wall.toml myscene.py --simulated --width 200",
        "render wall.toml myscene.py -o wall.png --width 200",
        "light wall.toml",
        "power wall.toml",
        "flash wall.toml myscene.py --seconds 1",
        "record wall.toml myscene.py -o rec --seconds 1",
        "export rec sheet.png",
        "export rec clip.gif",
        "compare rec rec",
        "soak wall.toml myscene.py --hours 0.02 --fault none",
        "run wall.toml myscene.py --to memory: --for 1s",
        "chips",
        "--help",
    ]
    statuses, told = foreglow(folder, *commands)
    assert statuses == [0] * len(statuses), told
    assert "Traceback" not in told
    assert "a picture ?" in told  # what the function printed, as far as the code page has it


@pytest.mark.slow
def test_a_program_is_proved_by_e131_without_posix(folder):
    words = ["check", "wall.toml", "--program", f"{sys.executable} show.py {{e131}}"]
    (folder / "commands.json").write_text(json.dumps([[*words, "--only", "map"]]))
    (folder / "driver.py").write_text(DRIVER)
    done = subprocess.run(
        [sys.executable, "driver.py", "commands.json"],
        cwd=folder,
        env=environment(),
        capture_output=True,
        timeout=300,
    )
    assert json.loads((folder / "statuses.json").read_text()) == [0], done.stdout + done.stderr


@pytest.mark.slow
def test_a_capture_is_written_and_decoded_without_posix(folder):
    code = (
        "import emulator, numpy as np\n"
        "display = emulator.load_display('wall.toml')\n"
        "with emulator.open_output('vcd:C:\\\\trace.vcd', display) as out:\n"
        "    out.send(np.full(display.picture_shape, 80, np.uint8))\n"
    )
    subprocess.run([sys.executable, "-c", code], cwd=folder, env=environment(), check=True)
    written = folder / "C:\\trace.vcd"  # a drive and a folder on Windows, a name here
    assert b"\r" not in written.read_bytes()
    written.rename(folder / "trace.vcd")
    statuses, told = foreglow(folder, "decode trace.vcd --chip WS2812B")
    assert statuses == [0], told


@pytest.mark.slow
def test_what_needs_a_pseudo_terminal_says_so_in_a_sentence(folder):
    statuses, told = foreglow(
        folder,
        "new new.toml --columns 6 --rows 4",
        "listen new.toml --serial --to memory:",
        "check new.toml --program show{port}",
    )
    assert statuses == [0, 2, 2], told
    assert told.count("UnsupportedError: this system has no pseudo-terminals") == 2
    assert "Traceback" not in told


@pytest.mark.slow
def test_the_plugin_works_without_posix(folder):
    (folder / "test_theirs.py").write_text(
        "import time\n"
        "from harness.assertions import assert_dark, assert_map\n"
        "from theirs import to_wire\n"
        "def test_bench(bench):\n"
        "    time.sleep(600)\n"
        "    assert bench.clock.now_ns() == 600 * 10**9\n"
        "def test_map(display):\n"
        "    assert_map(display, to_wire)\n"
        "def test_wrong(display):\n"
        "    assert_map(display, lambda picture: to_wire(picture[:, ::-1]))\n"
    )
    words = ["-q", "-p", "no:xdist", "-p", "no:cacheprovider", f"--rootdir={folder}"]
    done = subprocess.run(
        [sys.executable, "-m", "pytest", *words, "--foreglow-display", "wall.toml"],
        cwd=folder,
        env=environment(),
        capture_output=True,
        timeout=300,
    )
    told = done.stdout.decode("cp1252")
    assert "2 passed" in told, told
    assert "1 failed" in told
    assert (folder / "foreglow-failures" / "index.html").exists()


# Where each name that is not everywhere may be used: behind a question whether it is there, or in
# what only works where it is (pseudo-terminals and their names).
_BEHIND_A_QUESTION = {
    "emulator/processes.py",
    "emulator/ports/firmware/live.py",
    "emulator/ports/spi/standin/foreglow_spi_link.py",
    "emulator/ports/serial/terminal.py",
    "emulator/ports/serial/name.py",
    "emulator/ports/serial/port.py",
    "emulator/ports/e131/intake.py",
    "harness/subject/called.py",
    "harness/cli/service.py",
    "harness/show/scene/keeper.py",
    "harness/show/scene/lineage.py",
    "harness/show/service/notify.py",
    "harness/show/scene/child.py",
}


@pytest.mark.slow
@pytest.mark.parametrize("package", PACKAGES)
def test_names_that_are_not_everywhere_are_used_where_that_is_asked(package):
    gone = {
        f"{module}.{name}" for module, names in lesser.NO_NAMES.items() for name in names.split()
    }
    for path in modules(package):
        if path.relative_to(ROOT).as_posix() in _BEHIND_A_QUESTION:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                assert f"{node.value.id}.{node.attr}" not in gone, (path, node.lineno)
            if isinstance(node, ast.Import):
                assert not lesser.NO_MODULES & {one.name for one in node.names}, (path, node.lineno)
