"""What is loaded before it is needed: lists of modules, never times."""

from __future__ import annotations

import ast
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

HEAVY = {"numpy", "pydantic", "PIL", "matplotlib", "pygame", "rich.markdown", "serial", "asyncio"}
TELL = "import sys; print(*sorted(sys.modules))"


def loaded(code: str, *words: str) -> set[str]:
    """The modules that a new interpreter has loaded after some code."""
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\n{TELL}", *words],
        capture_output=True,
        text=True,
        check=True,
    )
    return set(done.stdout.splitlines()[-1].split())


@pytest.mark.parametrize("package", ["emulator", "harness", "harness.assertions", "scenes"])
def test_a_package_loads_nothing_heavy_before_it_is_asked(package):
    assert not loaded(f"import {package}") & HEAVY


def test_a_display_needs_no_window_no_picture_and_no_chart():
    found = loaded("import emulator; emulator.Bench(emulator.load_display('foyer'))")
    assert "numpy" in found
    assert not found & {"PIL", "matplotlib", "pygame", "rich", "typer"}


def test_help_loads_no_part_of_the_emulator_that_calculates():
    code = "from harness.cli import main\ntry:\n    main()\nexcept SystemExit:\n    pass"
    assert not loaded(code, "--help") & (HEAVY - {"rich.markdown"})  # that one writes the help


def test_the_plugin_costs_a_run_that_does_not_use_it_little(tmp_path):
    (tmp_path / "test_theirs.py").write_text("def test_theirs(): assert True\n")
    options = ["-q", "-p", "no:xdist", "-p", "no:hypothesispytest", f"--rootdir={tmp_path}"]
    run = [sys.executable, "-c", f"import sys, pytest; pytest.main(sys.argv[1:])\n{TELL}"]
    done = subprocess.run(
        [*run, *options, str(tmp_path)], capture_output=True, text=True, check=True, cwd=tmp_path
    )
    assert "1 passed" in done.stdout
    found = set(done.stdout.splitlines()[-1].split())
    assert "harness.plugin" in found
    ours = {name for name in found if name.split(".")[0] in ("emulator", "harness")}
    assert not found & {"numpy", "pydantic", "PIL", "matplotlib", "pygame"}
    assert len(ours) < 20, sorted(ours)


@pytest.mark.parametrize("package", ["emulator", "harness", "harness.assertions"])
def test_the_public_face_is_what_its_list_says(package):
    module = import_module(package)
    assert module.__file__ is not None
    stub = ast.parse(Path(module.__file__).with_suffix(".pyi").read_text())
    listed = [name.name for n in stub.body if isinstance(n, ast.ImportFrom) for name in n.names]
    promised = next(n for n in stub.body if isinstance(n, ast.Assign))
    assert sorted(listed) == sorted(ast.literal_eval(promised.value)) == sorted(module.__all__)
    for name in listed:
        assert getattr(module, name) is not None
    with pytest.raises(AttributeError):
        module.nothing  # noqa: B018
