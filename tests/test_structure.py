"""The layout is the path of a frame: a stage imports only stages before it."""

from __future__ import annotations

import ast
import graphlib
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import emulator

ROOT = Path(emulator.__file__).parent.parent
PACKAGES = ("emulator", "harness", "scenes")

# Stage → the stages of the emulator it may import. Those of OPEN are open to all.
OPEN = {"arrays", "closing", "errors", "files", "plaintext", "processes", "registry", "stopping"}
ALLOWED = {
    "arrays": set(),
    "plaintext": set(),
    "errors": set(),
    "closing": set(),
    "stopping": set(),
    "processes": set(),
    "registry": set(),
    "files": set(),
    "clock": set(),
    "description": set(),
    "signal": {"description"},
    "picture": {"description", "clock"},
    "canvas": {"description", "picture", "signal"},  # it ends in the bytes that signal frames
    "chain": {"description"},
    "strip": {"description", "signal", "chain"},
    "lines": {"description", "signal", "chain", "strip"},
    "asbuilt": {"description", "chain", "clock", "power", "signal", "strip"},
    "leds": {"description", "canvas", "strip"},
    "recorder": set(),
    "wirebytes": set(),
    "power": {"description", "canvas"},
    "light": {"description", "picture", "canvas"},
    "bench": {
        "description",
        "asbuilt",
        "lines",
        "canvas",
        "signal",
        "strip",
        "leds",
        "power",
        "light",
        "recorder",
        "wirebytes",
        "clock",
    },
    "recording": {"description", "light", "bench", "recorder", "clock"},
    "view": {"description", "picture", "light", "bench", "clock"},
}
FREE = {"ports", "window", "browser", "__init__"}

# Package of the harness → the packages of it that it may import; no package imports one below it.
HARNESS = {
    "result": set(),
    "patterns": set(),
    "measure": set(),
    "light": set(),
    "simulated": set(),
    "explain": {"patterns", "result"},
    "campaign": {"patterns"},
    "cut": set(),
    "find": {"campaign", "patterns"},
    "survey": {"campaign", "explain", "find", "patterns", "result"},
    "mistakes": {"explain", "patterns"},
    "mutate": {"explain", "mistakes", "patterns"},
    "flash": {"result"},
    "power": {"patterns", "result"},
    "timing": {"explain", "result"},
    "subject": {"measure", "patterns", "result", "timing"},
    "checks": {
        "explain", "flash", "light", "measure", "patterns", "power", "result", "subject", "timing",
    },
    "show": {"flash", "patterns"},
    "soak": {"flash", "patterns", "result", "show", "simulated"},
    "report": {
        "campaign", "checks", "cut", "find", "flash", "light", "mutate", "patterns", "power",
        "result", "soak", "subject", "survey",
    },
    "assertions": {"checks", "flash", "patterns", "report", "result", "simulated", "subject"},
    "plugin": {"assertions", "checks", "patterns", "report", "simulated", "subject"},
    "cli": {
        "campaign", "checks", "cut", "find", "flash", "light", "mutate", "patterns", "power",
        "report", "result", "show", "simulated", "soak", "subject", "survey",
    },
    "start": {"cli", "mutate", "plugin"},
}  # fmt: skip

# Packages whose docstring says why their functions import: each part is loaded by who needs it.
ON_DEMAND = ("harness/cli/", "harness/plugin/")


def modules(package: str) -> list[Path]:
    return sorted((ROOT / package).rglob("*.py"))


def stage_of(path: Path) -> str:
    part = path.relative_to(ROOT / "emulator").parts[0]
    return part.removesuffix(".py")


def name_of(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts)


@cache
def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text())


def nodes(tree: ast.AST) -> Iterator[ast.AST]:
    """All of a tree that runs: code under `if TYPE_CHECKING:` does not."""
    for node in ast.iter_child_nodes(tree):
        if not (isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)):
            yield node
            yield from nodes(node)


@cache
def imported(path: Path) -> set[str]:
    """What a module imports, also in its functions."""
    found = set()
    for node in nodes(parsed(path)):
        if isinstance(node, ast.Import):
            found |= {name.name for name in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {f"{node.module}.{n.name}" for n in node.names} | {node.module}
    return found


@pytest.mark.parametrize("path", modules("emulator"), ids=lambda p: str(p.relative_to(ROOT)))
def test_a_stage_imports_only_stages_before_it(path):
    names = {m for m in imported(path) if m.split(".")[0] in PACKAGES}
    assert not {m for m in names if m.split(".")[0] != "emulator"}, "emulator imports others"
    stage = stage_of(path)
    if stage in FREE:
        return
    stages = {m.split(".")[1] for m in names if "." in m}
    stages &= {p.stem for p in (ROOT / "emulator").iterdir()}
    assert stages - {stage} - OPEN <= ALLOWED[stage]


def test_scenes_are_what_a_user_could_write():
    for path in modules("scenes"):
        if not path.stem.startswith("test_"):  # a user's tests, too
            assert not {m for m in imported(path) if m.split(".")[0] == "harness"}, path


def test_no_imports_run_in_a_circle():
    """Of modules, whether they import each other when they are loaded or in a function."""
    files = [p for package in PACKAGES for p in modules(package) if p.stem != "__init__"]
    paths = {name_of(path): path for path in files}
    graph = {name: imported(path) & {*paths} for name, path in paths.items()}
    graphlib.TopologicalSorter(graph).prepare()  # raises CycleError, which names the circle


def harness_package(path: Path) -> str:
    return path.relative_to(ROOT / "harness").parts[0]


@pytest.mark.parametrize("path", modules("harness"), ids=lambda p: str(p.relative_to(ROOT)))
def test_a_package_of_the_harness_imports_only_those_it_may(path):
    package = harness_package(path)
    if package == "__init__.py":
        return
    names = {m.split(".")[1] for m in imported(path) if m.startswith("harness.")}
    assert names - {package} <= HARNESS[package]


def test_the_table_of_the_harness_is_whole_has_no_circle_and_nothing_unused():
    folders = {harness_package(p) for p in modules("harness")} - {"__init__.py"}
    assert folders == set(HARNESS)
    graphlib.TopologicalSorter(HARNESS).prepare()
    for package, allowed in HARNESS.items():
        used = {m.split(".")[1] for p in modules(f"harness/{package}") for m in imported(p)
                if m.startswith("harness.")}  # fmt: skip
        assert allowed <= used, package


@pytest.mark.parametrize("package", PACKAGES)
def test_an_import_inside_a_function_says_why(package):
    """In a comment on its line or above it; it may stand for the imports that follow at once."""
    for path in modules(package):
        if str(path.relative_to(ROOT)).startswith(ON_DEMAND):
            continue
        lines = path.read_text().splitlines()
        inside = {
            node.lineno
            for function in ast.walk(parsed(path))
            if isinstance(function, (ast.FunctionDef, ast.AsyncFunctionDef))
            for node in ast.walk(function)
            if isinstance(node, (ast.Import, ast.ImportFrom))
        }
        for first in inside - {number + 1 for number in inside}:
            assert any("#" in line for line in lines[first - 2 : first]), f"{path}:{first}"


@pytest.mark.parametrize("package", ["emulator", "harness"])
def test_developers_find_every_part_in_the_layout(package):
    layout = (ROOT / "DEVELOPERS.md").read_text().split("\n## ")[1]
    for part in {path.relative_to(ROOT / package).parts[0] for path in modules(package)}:
        told = part if part.endswith(".py") else f"{part}/"
        assert part == "__init__.py" or f" {told} " in layout, told


def test_every_stage_is_in_the_table():
    stages = {stage_of(p) for p in modules("emulator")}
    assert stages == set(ALLOWED) | FREE


@pytest.mark.parametrize("package", PACKAGES)
def test_only_the_clock_reads_the_time(package):
    readers = {p.name for p in modules(package) if imported(p) & {"time", "datetime"}}
    # day and machine_time put another time in its place; the example's show is a user's own code.
    # moments.py makes code slow. The stand-in for spidev runs in a program of the user's, without
    # foreglow.
    assert readers <= {
        "clock.py",
        "machine_time.py",
        "day.py",
        "moments.py",
        "barsign.py",
        "foreglow_spi_link.py",
    }


def test_a_kind_of_array_has_one_name_and_a_name_one_kind():
    places: dict[str, list[str]] = {}
    for path in [*modules("emulator"), *modules("harness")]:
        for node in parsed(path).body:
            if isinstance(node, ast.Assign) and ast.unparse(node.value).startswith("NDArray["):
                places.setdefault(ast.unparse(node.targets[0]), []).append(name_of(path))
    assert {name for name, where in places.items() if "emulator.arrays" in where} >= {"Light"}
    assert not {name: where for name, where in places.items() if len(where) > 1}


def test_the_message_of_an_error_is_laid_out_in_one_place():
    """Errors take `problem`, `place` and `fix`; names.py runs before ours can be loaded."""
    by_hand = re.compile(r"^\s*Fix:|\\n\s*Fix:", re.MULTILINE)
    for path in [p for package in PACKAGES for p in modules(package)]:
        if path.name not in ("errors.py", "names.py"):
            texts = (
                node.value
                for node in ast.walk(parsed(path))
                if isinstance(node, ast.Constant) and isinstance(node.value, str)
            )
            assert not [text for text in texts if by_hand.search(text)], path


@pytest.mark.parametrize("package", PACKAGES)
def test_data_files_are_data(package):
    for path in modules(package):
        # called.py hands a display to a child of its own, through a pipe.
        unsafe = {"marshal", "shelve", "dill"} | ({"pickle"} if path.stem != "called" else set())
        assert not imported(path) & unsafe
        text = path.read_text()
        assert "eval(" not in text
        assert "exec(" not in text


@pytest.mark.parametrize("package", PACKAGES)
def test_modules_fit_in_a_head_and_say_what_they_hold(package):
    for path in modules(package):
        text = path.read_text()
        assert len(text.splitlines()) <= 400, path
        assert not text.strip() or ast.get_docstring(parsed(path)), path
