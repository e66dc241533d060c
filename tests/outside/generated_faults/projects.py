"""Small projects whose tests are strong or weak by construction, for `foreglow mutate`.

The wall is 5 × 3, serpentine from the top left. What a wrong map does is worked out here from the
words of each mistake ('rows 0 and 1 exchanged'); a mistake whose words leave two readings is not
judged. A test that looks at LED k alone must notice what moves, kills or lights LED k, and nothing
else; one of full fields notices no order; one that only counts notices nothing. The files of a
project must be as before, also if foreglow is killed.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

COLUMNS, ROWS = 5, 3
Cells = list[tuple[int, int] | None]
FOREGLOW = [sys.executable, "-m", "foreglow"]

WALL = '[grid]\ncolumns = 5\nrows = 3\n[chip]\npart = "WS2812B"\n[wiring]\nstart = "top-left"\n'
SHOW = '''
def lin(v):
    v = v / 255
    return round(255 * (v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4))


def cells():
    return [(c if r % 2 == 0 else 4 - c, r) for r in range(3) for c in range(5)]


CELLS = cells()


def to_wire(picture):
    """Levels of a picture (3, 5, 3) as bytes in wire order."""
    out = bytearray()
    for c, r in [(c if r % 2 == 0 else 4 - c, r) for r in range(3) for c in range(5)]:
        red, green, blue = (lin(int(v)) for v in picture[r][c])
        out += bytes((green, red, blue))
    return bytes(out)
'''


def words(start: str = "top-left", along: str = "rows", path: str = "serpentine") -> Cells:
    """The cells by the words of the display file."""
    outer, inner = list(range(ROWS)), list(range(COLUMNS))
    if "bottom" in start:
        outer.reverse()
    if "right" in start:
        inner.reverse()
    if along == "columns":
        outer, inner = inner, outer
    made: Cells = []
    for n, o in enumerate(outer):
        way = inner[::-1] if path == "serpentine" and n % 2 else inner
        made += [(i, o) if along == "rows" else (o, i) for i in way]
    return made


RIGHT = words()


def numbers(what: str) -> dict[str, str]:
    """'… (row 0, other 1)' as a table."""
    inside = re.search(r"\(([^()]*)\)$", what)
    pairs = [p.rsplit(" ", 1) for p in inside[1].split(", ")] if inside else []
    return {p[0]: p[1] for p in pairs if len(p) == 2}


def wrong_cells(name: str, what: str) -> Cells | None:
    """The cell that each LED shows with a wrong map; None if the words have several readings."""
    at = numbers(what)
    if name in ("wrong path", "wrong corner", "wrong along"):
        return words(at["start"], at["along"], at["path"])
    if name == "mirrored" and "left-right" in what:
        return [(COLUMNS - 1 - c, r) for c, r in RIGHT]
    if name == "turned" and "180°" in what:
        return [(COLUMNS - 1 - c, ROWS - 1 - r) for c, r in RIGHT]
    if name in ("rows exchanged", "columns exchanged"):
        axis = 0 if "column" in at else 1
        a, b = int(at["row" if axis else "column"]), int(at["other"])
        swap = {a: b, b: a}
        return [tuple(swap.get(v, v) if k == axis else v for k, v in enumerate(c)) for c in RIGHT]
    if name == "run reversed":
        run = int(at["run"])
        begin, end = COLUMNS * run, COLUMNS * run + COLUMNS
        return [*RIGHT[:begin], *RIGHT[begin:end][::-1], *RIGHT[end:]]
    if name == "dead LED":
        return [None if n == int(at["led"]) else c for n, c in enumerate(RIGHT)]
    return None


def moved(name: str, what: str, led: int) -> bool | None:
    """Whether a wrong map changes what this LED shows."""
    cells = wrong_cells(name, what)
    if name == "late" and led < int(numbers(what)["first"]) - 1:
        return False
    if name == "double LED" and abs(led - int(numbers(what)["led"])) > 1:
        return False
    return None if cells is None else cells[led] != RIGHT[led]


# What a test of full fields of red, green and blue sees of each mistake in colours: 0 and 255.
FIELDS = {
    "no curve": False, "curve twice": False, "inverse curve": False, "levels doubled": False,
    "green without a curve": False, "below 80 black": False, "bits reversed": False,
    "video levels expected": False, "blue left out": True, "colours leak": True,
    "half of the levels": True, "levels 30 too high": True, "overflow of levels": True,
    "inverted": True, "level 255 dark": True, "video levels sent": True,
}  # fmt: skip
ORDERS = re.compile(r"[RGB]{3} for RGB")


@dataclass(frozen=True)
class Check:
    """The body of a test, and whether it notices a mistake (name, group, what); None: unknown."""

    name: str
    body: str
    notices: Callable[[str, str, str], bool | None]
    target: str = "call"


def _led(led: int, lit: bool) -> Check:
    c, r = RIGHT[led]
    field, own = (0, 255) if lit else (255, 0)

    def notices(name: str, group: str, what: str) -> bool | None:
        if group == "map":
            if name == "stuck LED":
                return not lit and led == int(numbers(what)["led"])
            if name == "dead LED":
                return lit and led == int(numbers(what)["led"])
            return moved(name, what, led)
        return None

    body = (
        f"picture = [[[{field}] * 3 for _ in range(5)] for _ in range(3)]\n"
        f"picture[{r}][{c}] = [{own}] * 3\n"
        f"assert list(to_wire(picture)[{3 * led}:{3 * led + 3}]) == [{own}] * 3\n"
    )
    return Check(f"LED {led} {'lit' if lit else 'dark'}", body, notices)


def _everything(name: str, group: str, what: str) -> bool | None:
    return True if name != "slow" else None


def _fields(name: str, group: str, what: str) -> bool | None:
    if group == "map":
        if name in ("dead LED", "stuck LED"):
            return True
        cells = wrong_cells(name, what)
        return None if cells is None else False
    if ORDERS.match(name):
        return True
    if group == "timing":
        return {"one late": True, "torn": True, "trail": True, "slow": False}.get(name)
    return FIELDS.get(name)


CHECKS = (
    Check("count", "assert len(to_wire([[[9, 99, 199]] * 5] * 3)) == 45\n", lambda *_: False),
    Check(
        "everything",
        "import random\n"
        "rng = random.Random(1)\n"
        "for _ in range(12):\n"
        "    picture = [[[rng.randrange(256) for _ in 'rgb'] for _ in range(5)] for _ in '012']\n"
        "    flat = [lin(picture[r][c if r % 2 == 0 else 4 - c][k])\n"
        "            for r in range(3) for c in range(5) for k in (1, 0, 2)]\n"
        "    assert list(to_wire(picture)) == flat\n",
        _everything,
    ),
    Check(
        "fields",
        "for k in range(3):\n"
        "    own = [255 if k == j else 0 for j in range(3)]\n"
        "    data = list(to_wire([[own] * 5] * 3))\n"
        "    assert data == [own[1], own[0], own[2]] * 15\n",
        _fields,
    ),
    _led(0, True),
    _led(7, True),
    _led(13, False),
    Check("map: count", "assert len(cells()) == len(CELLS) == 15\n", lambda *_: False, "map"),
    Check(
        "map: everything",
        "right = [(c if r % 2 == 0 else 4 - c, r) for r in range(3) for c in range(5)]\n"
        "assert [tuple(c) for c in TARGET] == right\n",
        lambda *_: True,
        "map",
    ),
    Check(
        "map: LED 8",
        f"assert tuple(TARGET[8]) == {RIGHT[8]}\n",
        lambda name, _, what: moved(name, what, 8),
        "map",
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Project:
    """One way to lay out a project; and its tests."""

    layout: str
    check: Check
    groups: str
    target: str
    files: dict[str, str]
    command: str


LAYOUTS = ("pytest", "parametrised", "fixture", "unittest", "unittest in pytest", "package")


def _indent(text: str, by: int = 4) -> str:
    return "".join(" " * by + line + "\n" for line in text.splitlines())


def project(n: int) -> Project:
    check = CHECKS[n % len(CHECKS)]
    layout = LAYOUTS[(n + n // len(CHECKS)) % len(LAYOUTS)]
    body, module = check.body, "show"
    groups = ("map", "map,colour", "map,colour,timing")[n % 3] if check.target == "call" else "map"
    target = "to_wire"
    if check.target == "map":
        target = ("cells", "CELLS")[n // len(CHECKS) % 2]
        body = body.replace("TARGET", "cells()" if target == "cells" else "CELLS")
    files = {"wall.toml": WALL, "notes.txt": "do not touch\n", "show.py": SHOW}
    python = sys.executable
    command = f"{python} -m pytest -q"
    imports = "from show import CELLS, cells, lin, to_wire\n\n\n"
    if layout == "package":
        module = "lights.wire"
        files |= {"src/lights/__init__.py": "from lights.wire import to_wire\n",
                  "src/lights/wire.py": files.pop("show.py"),
                  "pytest.ini": "[pytest]\npythonpath = src\ntestpaths = checks\n",
                  "checks/test_wall.py": imports.replace("show", "lights.wire")
                  + "def test_it():\n" + _indent(body)}  # fmt: skip
    elif layout == "parametrised":
        files["test_wall.py"] = (
            "import pytest\n\n" + imports + '@pytest.mark.parametrize("again", [1, 2])\n'
            "def test_it(again):\n" + _indent(body)
        )
    elif layout == "fixture":
        files["conftest.py"] = (
            "import pytest\nimport show\n\n\n@pytest.fixture\ndef code():\n    return show\n"
        )
        names = "lin, to_wire, cells, CELLS = code.lin, code.to_wire, code.cells, code.CELLS\n"
        files["tests/test_wall.py"] = "def test_it(code):\n" + _indent(names + body)
        files["pytest.ini"] = "[pytest]\npythonpath = .\n"
    elif "unittest" in layout:
        files["test_wall.py"] = (
            "import unittest\n\n" + imports + "class Wall(unittest.TestCase):\n"
            "    def test_it(self):\n" + _indent(body, 8)
        )
        if layout == "unittest":
            command = f"{python} -m unittest"
    else:
        files["test_wall.py"] = imports + "def test_it():\n" + _indent(body)
    return Project(layout, check, groups, f"{module}:{target}", files, command)


def written(made: Project, place: Path) -> dict[str, str]:
    """Write the project, and its fingerprints."""
    for name, text in made.files.items():
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        (place / name).write_text(text, encoding="utf-8")
    return fingerprints(place)


def fingerprints(place: Path) -> dict[str, str]:
    return {
        str(p.relative_to(place)): hashlib.sha256(p.read_bytes()).hexdigest()
        + oct(p.stat().st_mode)
        for p in sorted(place.rglob("*"))
        if p.is_file()
    }


def _command(made: Project) -> list[str]:
    way = "--map" if made.check.target == "map" else "--call"
    return [*FOREGLOW, "mutate", made.command, way, made.target, "--display", "wall.toml",
            "--only", made.groups, "--json"]  # fmt: skip


ENVIRONMENT = {k: v for k, v in os.environ.items() if not k.startswith("PYTEST_")}


def wrong(n: int) -> list[str]:
    """Run case `n`; tell each false 'noticed', each false 'survived', each file that changed."""
    made = project(n)
    with tempfile.TemporaryDirectory(prefix="my wäll ") as folder:
        place = Path(folder) / "a project"
        place.mkdir()
        before = written(made, place)
        done = subprocess.run(
            _command(made), cwd=place, env=ENVIRONMENT, capture_output=True, text=True, timeout=900
        )
        after = fingerprints(place)
    said = [f"{name} changed" for name in before.keys() | after.keys()
            if before.get(name) != after.get(name)]  # fmt: skip
    if done.returncode not in (0, 1) or not done.stdout.startswith("{"):
        return [*said, f"status {done.returncode}: {done.stderr[-600:]}{done.stdout[-300:]}"]
    data = json.loads(done.stdout)
    survived = [t for t in data["tried"] if not t["noticed"]]
    if done.returncode != bool(survived) or len(survived) != len(data["survivors"]):
        said.append(f"status {done.returncode} with {len(survived)} survivors")
    for one in data["tried"]:
        truth = made.check.notices(one["name"], one["group"], one["what"])
        if truth is not None and truth != one["noticed"]:
            false = "survived" if truth else "noticed"
            said.append(f"false '{false}': {one['name']}, {one['what']}, {one['by']}")
    return said


def killed(how: signal.Signals, after_s: float) -> list[str]:
    """Start a run, kill it midway, and tell which files are not as they were."""
    made = project(0)
    with tempfile.TemporaryDirectory(prefix="my wall ") as folder:
        place = Path(folder)
        before = written(made, place)
        run = subprocess.Popen(
            _command(made), cwd=place, env=ENVIRONMENT, stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )  # fmt: skip
        time.sleep(after_s)
        run.send_signal(how)
        run.wait(60)
        time.sleep(1.0)
        after = fingerprints(place)
        said = [f"{name} changed" for name in before if before[name] != after.get(name)]
        new = sorted(after.keys() - before.keys())
    if new and how != signal.SIGKILL:
        said.append(f"{how.name} leaves {new}")
    return said


def story(n: int) -> str:
    made = project(n)
    return f"{made.layout}, tests: {made.check.name}, {made.groups}, {made.target}"
