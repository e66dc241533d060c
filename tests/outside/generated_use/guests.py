"""Other people's environments: their packages, tests, plugins, clocks."""

from __future__ import annotations

import json
import random
import statistics
import sys
from pathlib import Path

from tests.outside.generated_use.clocks import bad_time, time_of_day
from tests.outside.generated_use.interpreters import consoles, interpreters
from tests.outside.generated_use.running import COMMAND, Ran, environment, run, wall

PYTHON = (sys.executable,)
OURS = ("emulator", "harness", "scenes")


def names_taken(rng: random.Random, folder: Path) -> list[str]:
    """The user has a package or module called like one of ours, in the folder or on the path."""
    wall(folder)
    where = folder
    env = environment()
    if rng.random() < 0.5:
        where = folder / "lib"
        where.mkdir()
        env = environment(PYTHONPATH=str(where))
    taken = rng.sample(OURS, rng.randint(1, 3))
    for name in taken:
        content = rng.choice(
            ("", "raise RuntimeError('mine')\n", "import os\nx = 1\n", "import emulator\n")
        )
        if rng.random() < 0.5:
            (where / f"{name}.py").write_text(content)
        elif rng.random() < 0.8:
            (where / name).mkdir()
            (where / name / "__init__.py").write_text(content)
        else:  # a folder of any files, which is a package to Python all the same
            (where / name).mkdir()
            (where / name / "notes.txt").write_text("mine")
    command = rng.choice(((COMMAND,), (*PYTHON, "-m", "foreglow")))
    asked = rng.choice((
        ["map", "wall.toml"], ["check", "wall.toml"], ["check", "foyer", "--only", "map"],
        ["--help"],
        ["render", "wall.toml", "aurora", "-o", "x.png"], ["chips"],
        ["run", "wall.toml", "aurora", "--to", "vcd:x.vcd", "--for", "1s"],
        ["check", "wall.toml", "--call", "mine:f"],
    ))  # fmt: skip
    (folder / "mine.py").write_text("def f(picture):\n    return picture.tobytes()\n")
    ran = run(asked, folder, command=command, env=env)
    told = ran.fell()
    if ran.status not in (0, 1):
        named = [name for name in taken if str(where / name) in ran.said or f"/{name}" in ran.said]
        if ran.status != 2 or not named:
            told.append(f"exit status {ran.status}: {ran.said[-400:]!r}")
    # The plugin keeps out of the way of such a project.
    (folder / "test_theirs.py").write_text("def test_one():\n    assert True\n")
    ran = run(["-m", "pytest", "-q", "-p", "no:cacheprovider"], folder, command=PYTHON, env=env)
    if ran.status != 0:
        told.append(f"pytest: {ran.said[-500:]}")
    return [f"{taken} in {where.name}, {asked}: {t}" for t in told]


def imports_of_theirs(rng: random.Random, folder: Path) -> list[str]:
    """A user's package with one of our names comes first: what does not need ours still works."""
    taken = rng.choice(("harness", "scenes"))
    (folder / taken).mkdir()
    (folder / taken / "__init__.py").write_text("x = 1\n")
    (folder / "mine.py").write_text(
        "import numpy as np\nimport emulator\n"
        "display = emulator.load_display('foyer')\n"
        "with emulator.open_output('memory:', display) as out:\n"
        "    out.send(np.zeros(display.picture_shape, np.uint8))\n"
    )
    ran = run(["mine.py"], folder, command=PYTHON)
    return [] if ran.status == 0 else [f"{taken}: {ran.said[-300:]}"]


HEAVY = ("pydantic", "PIL", "matplotlib", "pygame", "numpy", "typer", "rich", "cv2", "av", "serial")


def empty_project(rng: random.Random, folder: Path) -> list[str]:
    """An unrelated project pays next to nothing: modules, CPU and memory side by side."""
    for n in range(rng.randint(0, 3)):
        (folder / f"test_{n}.py").write_text("def test_it(tmp_path):\n    assert tmp_path\n")
    (folder / "conftest.py").write_text(
        "import json, sys\ndef pytest_unconfigure(config):\n"
        "    json.dump(sorted(sys.modules), open('modules.json', 'w'))\n"
    )
    asked = ["-m", "pytest", "-q", "-p", "no:cacheprovider", *rng.choice(([], ["--collect-only"]))]
    took: dict[bool, list[Ran]] = {True: [], False: []}
    loaded: dict[bool, set[str]] = {}
    for _ in range(5):
        for with_it in (True, False):
            off = [] if with_it else ["-p", "no:foreglow"]
            took[with_it].append(run([*asked, *off], folder, command=PYTHON))
            loaded[with_it] = set(json.loads((folder / "modules.json").read_text()))
    extra = loaded[True] - loaded[False]
    heavy = sorted(name for name in extra if name.split(".")[0] in HEAVY)
    told = [f"it loads {heavy}"] if heavy else []
    cpu = {w: min(r.cpu_s for r in runs) for w, runs in took.items()}
    memory = {w: statistics.median(r.peak_mb for r in runs) for w, runs in took.items()}
    if cpu[True] > 1.25 * cpu[False] + 0.05:  # a ratio: the least of five
        told.append(f"CPU {cpu[False]:.2f} → {cpu[True]:.2f} s")
    if memory[True] > memory[False] + 2.5:
        told.append(f"memory {memory[False]:.1f} → {memory[True]:.1f} MB")
    return told


def imports(rng: random.Random, folder: Path) -> list[str]:
    """`import emulator` and small uses of it load little."""
    lines = rng.choice((
        "import emulator", "import harness", "import emulator, harness",
        "import emulator; dir(emulator)",
        "import foreglow",
    ))  # fmt: skip
    (folder / "mine.py").write_text(
        f"{lines}\nimport json, sys\nprint(json.dumps(sorted(sys.modules)))\n"
    )
    ran = run(["mine.py"], folder, command=PYTHON)
    if ran.status:
        return [ran.said[-300:]]
    heavy = ("pydantic", "PIL", "matplotlib", "pygame", "cv2", "av", "typer", "rich")
    found = sorted({m.split(".")[0] for m in json.loads(ran.out)} & set(heavy))
    return [f"{lines} loads {found}"] if found else []


FIXTURES = ("display", "bench", "pattern", "machine_time", "recording", "scene", "wall")


def tests_of_theirs(rng: random.Random, folder: Path) -> list[str]:
    """A project's fixtures, tests, parameters and markers with names like ours stay its own."""
    own = rng.sample(FIXTURES, 3)
    text = "import pytest\n"
    for name in own:
        text += f"\n@pytest.fixture\ndef {name}():\n    return 'mine-{name}'\n"
    arguments = ", ".join(own)
    checks = " and ".join(f"{n} == 'mine-{n}'" for n in own)
    text += f"\ndef test_own({arguments}):\n    assert {checks}\n"
    name = rng.choice(("display", "bench", "pattern"))
    text += f"\n@pytest.mark.parametrize('{name}', [1, 2])\n"
    text += f"def test_parameter({name}):\n    assert {name} in (1, 2)\n"
    text += f"\ndef {name}_helper():\n    pass\n"
    text += f"\nclass Test{name.title()}:\n    def test_{name}(self):\n        pass\n"
    place = rng.choice(("conftest.py", "test_mine.py"))
    (folder / place).write_text(text)
    (folder / "test_mine.py").write_text(text)
    ran = run(
        ["-m", "pytest", "-q", "-p", "no:cacheprovider", "test_mine.py"], folder, command=PYTHON
    )
    told = [] if ran.status == 0 else [f"own fixtures: {ran.said[-500:]}"]
    ours = rng.choice(("display", "bench"))
    (folder / "conftest.py").unlink(missing_ok=True)
    (folder / "test_mine.py").write_text(f"def test({ours}):\n    assert {ours}\n")
    ran = run(["-m", "pytest", "-q", "-p", "no:cacheprovider"], folder, command=PYTHON)
    if ran.status != 1 or "foreglow_display" not in ran.said:
        told.append(f"an unrelated test({ours}) is not told: {ran.said[-300:]}")
    wall(folder)
    way = rng.choice(("option", "ini", "marker"))
    more: list[str] = []
    text = (
        f"import pytest\n{{mark}}def test({ours}):\n"
        f"    shown = getattr({ours}, 'display', {ours})\n"
        "    assert shown.picture_shape == (4, 8, 3)\n"
    )
    if way == "option":
        more = ["--foreglow-display", "wall.toml"]
    elif way == "ini":
        (folder / "pytest.ini").write_text("[pytest]\nforeglow_display = wall.toml\n")
    mark = '@pytest.mark.foreglow_display("wall.toml")\n' if way == "marker" else ""
    (folder / "test_mine.py").write_text(text.format(mark=mark))
    ran = run(["-m", "pytest", "-q", "-p", "no:cacheprovider", *more], folder, command=PYTHON)
    if ran.status != 0:
        told.append(f"named by {way}: {ran.said[-500:]}")
    return told


def plugin(rng: random.Random, folder: Path) -> list[str]:
    """Another package adds a chip, pattern, check, source and output, some of them broken."""
    wall(folder)
    lib = folder / "lib"
    lib.mkdir()
    name = f"guest{rng.randrange(1000)}"
    part = rng.choice(("GLIM-1", "XK9", "My.LED_2"))
    word = rng.choice(("stripe", "my-stripe", "s2"))
    (lib / f"{name}.py").write_text(PLUGIN.replace("PART", part).replace("WORD", word))
    groups = {
        "chips": f"{part} = {name}:CHIP", "patterns": f"{word} = {name}:STRIPE",
        "checks": f"warm{word} = {name}:warm",
        "sources": f"glow{word} = {name}:glow",
        "outputs": f"lamp{word.replace('-', '')} = {name}:Lamp",
    }  # fmt: skip
    broken = rng.choice((None, None, *groups))
    if broken:
        key = groups[broken].split(" = ")[0]
        groups[broken] = f"{key} = " + rng.choice(
            (f"{name}:missing", "nowhere_at_all:X", f"{name}:NUMBER", f"{name}_bad:X")
        )
        (lib / f"{name}_bad.py").write_text("1 / 0\n")
    info = lib / f"{name}-1.2.3.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.2.3\n")
    (info / "entry_points.txt").write_text(
        "".join(f"[foreglow.{group}]\n{line}\n" for group, line in groups.items())
    )
    (folder / "guest.toml").write_text(
        (folder / "wall.toml").read_text().replace("WS2812B", part).replace('order = "RGB"\n', "")
    )
    env = environment(PYTHONPATH=str(lib))
    asked = {
        "chips": ["map", "guest.toml"], "patterns": ["render", "wall.toml", word, "-o", "p.png"],
        "checks": ["check", "wall.toml", "--only", f"warm{word}", "--json"],
        "sources": ["render", "wall.toml", f"glow{word}", "-o", "s.png"],
        "outputs": ["run", "wall.toml", "aurora", "--to", f"lamp{word.replace('-', '')}:", "--for",
            "1s"],
    }  # fmt: skip
    told = []
    for group, arguments in asked.items():
        ran = run(arguments, folder, env=env)
        told += [f"{group} (broken: {broken}): {t}" for t in ran.fell()]
        if group == broken:
            if ran.status != 2 or name not in ran.said or "1.2.3" not in ran.said:
                told.append(
                    f"broken {groups[group]}: exit status {ran.status}: {ran.said[-300:]!r}"
                )
        elif ran.status not in (0, 1):
            told.append(
                f"{group} (broken: {broken}): exit status {ran.status}: {ran.said[-300:]!r}"
            )
        elif group == "checks" and "far too warm" not in ran.said:
            told.append(f"the check did not run: {ran.said[-300:]!r}")
        elif group == "outputs" and "lamp shows" not in (folder / "here").read_text():
            told.append("the output got nothing")
    if run(["map", "wall.toml"], folder, env=env).status != 0:
        told.append("what has nothing to do with it fails")
    return told


PLUGIN = """
import dataclasses
from pathlib import Path

import numpy as np

import emulator
import harness

NUMBER = 3
CHIP = dataclasses.replace(emulator.load_display("foyer").chip, part="PART")
STRIPE = harness.Pattern(
    "WORD", "half", 500, lambda display: 2,
    lambda display, step: np.full(display.picture_shape, 100 * step, np.uint8),
)


def warm(trial, earlier):
    found = harness.Finding(
        check="warm", what="the wall is far too warm", where="everywhere", evidence="my hand",
        remedy="cool it", severity="warning",
    )
    return harness.Result("warm", "far too warm", (found,))


def glow(time_s, display):
    return np.full(display.picture_shape, 0.5)


class Lamp(emulator.Output):
    returns = False

    @classmethod
    def open(cls, address, display):
        lamp = cls()
        lamp._inner = emulator.open_output("memory:", display)
        lamp.bench = lamp._inner.bench
        return lamp

    def send(self, picture):
        Path("here").write_text("lamp shows")
        return self._inner.send(picture)

    def send_frame(self, data):
        Path("here").write_text("lamp shows")
        return self._inner.send_frame(data)

    def pump(self):
        self._inner.pump()

    def close(self):
        self._inner.close()
"""

KINDS = (
    time_of_day, names_taken, consoles, tests_of_theirs, bad_time, imports, interpreters,
    time_of_day, imports_of_theirs, names_taken, consoles, empty_project, interpreters, plugin,
)  # fmt: skip
