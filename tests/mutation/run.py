"""Mutates one module in a copy of the tree, and lists the mutants that no test noticed."""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess
import sys
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.mutation.modules import Module

ROOT = Path(__file__).parents[2]
SEED = 1
_SPINNER = "⠋⠙⠹⠸⠼⠴⠦⠧⠇⠏"  # that mutmut prints while it works
_SETTINGS = """
[tool.mutmut]
source_paths = {packages}
only_mutate = [{source}]
also_copy = ["README.md", "CHANGELOG.md", "DEVELOPERS.md"]
pytest_add_cli_args = {options}
pytest_add_cli_args_test_selection = {tests}
timeout_multiplier = 5
"""


@dataclass(frozen=True)
class Mutant:
    """One that was tested: the function it is in, how it ended, and the lines changed."""

    function: str
    end: str
    was: str = ""
    now: str = ""

    @property
    def noticed(self) -> bool:
        """A test failed, or never ended. What no test even calls is not noticed."""
        return self.end not in ("survived", "no tests")


def mutate(module: Module, folder: Path, sample: int | None, jobs: int) -> tuple[int, list[Mutant]]:
    """How many mutants there are, and those tested, in a copy of the tree at `folder`.

    sample: test only so many, picked by a fixed seed. Raises RuntimeError where the tests fail
    without any mutant.
    """
    _copy(folder)
    options = ["-n", "0", "-p", "no:cacheprovider", "-p", "tests.mutation.fastest"]
    if module.without:
        options += ["-k", " and ".join(f"not {name}" for name in module.without)]
    build = tomllib.loads((folder / "pyproject.toml").read_text("utf-8"))["tool"]["hatch"]["build"]
    settings = _SETTINGS.format(
        packages=json.dumps(build["targets"]["wheel"]["only-include"]),
        source=json.dumps(module.source),
        tests=json.dumps(module.tests),
        options=json.dumps(options),
    )
    with (folder / "pyproject.toml").open("a") as file:
        file.write(settings)
    files = sorted(str(path.relative_to(folder)) for path in folder.glob(module.source))
    files = [file for file in files if file.endswith(".py")]
    names = [name for file in files for name in _ask(folder, "names", file)]
    chosen = names
    if sample is not None and sample < len(names):
        chosen = sorted(random.Random(SEED).sample(names, sample))
    mutmut = Path(sys.executable).with_name("mutmut")
    command = [mutmut, "run", "--max-children", str(jobs), *(chosen if chosen != names else [])]
    ran = subprocess.run(command, cwd=folder, capture_output=True, text=True, env=_environment())
    tested = [entry for file in files for entry in _ask(folder, "results", file)]
    if ran.returncode or not tested:
        told = [line for line in ran.stdout.splitlines() if not line.startswith(tuple(_SPINNER))]
        raise RuntimeError("\n".join(["mutmut did not test anything", *told[-20:], ran.stderr]))
    return len(names), [_mutant(entry) for entry in tested]


def _copy(folder: Path) -> None:
    """Every file that git knows or would add, as it is now."""
    listed = ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
    known = subprocess.run(listed, cwd=ROOT, check=True, capture_output=True, text=True).stdout
    for name in filter(None, known.split("\0")):
        if (ROOT / name).is_file():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, folder / name)


def _environment() -> dict[str, str]:
    settings = {"OPENBLAS_NUM_THREADS": "1", "PYTHONDONTWRITEBYTECODE": "1"}
    return {**os.environ, **settings, "FOREGLOW_EXAMPLES": "many"}


def _ask(folder: Path, what: str, file: str) -> list[Any]:
    command = [sys.executable, "-m", "tests.mutation.within", what, file]
    ran = subprocess.run(
        command, cwd=folder, check=True, capture_output=True, text=True, env=_environment()
    )
    answer: list[Any] = json.loads(ran.stdout)
    return answer


def _mutant(entry: dict[str, Any]) -> Mutant:
    place, _, mangled = entry["name"].partition("__mutmut_")[0].rpartition(".")
    function = mangled.removeprefix("x_").removeprefix("xǁ").replace("ǁ", ".")
    was, now = (" ⏎ ".join(entry.get(which, [])) for which in ("was", "now"))
    return Mutant(f"{place}.{function}", entry["end"], was, now)
