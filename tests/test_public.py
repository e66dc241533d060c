"""The public names: one table lists them; each name and method has a docstring."""

from __future__ import annotations

import ast
import inspect
import re
from importlib import import_module
from pathlib import Path

import pytest

import emulator
from emulator import errors

ROOT = Path(emulator.__file__).parent.parent
FACES = ("emulator", "harness", "harness.assertions")
OURS = {kind.__name__ for kind in vars(errors).values() if inspect.isclass(kind)}
NAMES = [(face, name) for face in FACES for name in import_module(face).__all__]


def source_of(face: str, name: str) -> Path:
    """The module that the list of public names takes a name from."""
    folder = ROOT / face.replace(".", "/")
    for node in ast.parse((folder / "__init__.pyi").read_text()).body:
        if isinstance(node, ast.ImportFrom) and name in {alias.name for alias in node.names}:
            assert node.module is not None
            return folder / f"{node.module.replace('.', '/')}.py"
    raise AssertionError(name)


@pytest.mark.parametrize(("face", "name"), NAMES)
def test_a_public_name_has_a_docstring(face, name):
    thing = getattr(import_module(face), name)
    if not (inspect.isclass(thing) or inspect.isfunction(thing)):  # the text behind its value
        body = ast.parse(source_of(face, name).read_text()).body
        at = next(
            n for n, node in enumerate(body)
            if isinstance(node, ast.AnnAssign) and ast.unparse(node.target) == name
        )  # fmt: skip
        text = body[at + 1]
        assert isinstance(text, ast.Expr) and isinstance(text.value, ast.Constant)  # noqa: PT018
        return
    assert thing.__doc__, name
    for member, value in inspect.getmembers(thing) if inspect.isclass(thing) else ():
        function = value.fget if isinstance(value, property) else value
        ours = (getattr(function, "__module__", None) or "").startswith(("emulator.", "harness."))
        if not member.startswith("_") and ours and inspect.isroutine(function):
            assert inspect.getdoc(value), f"{name}.{member}"


@pytest.mark.parametrize(("face", "name"), NAMES)
def test_what_a_public_function_raises_stands_in_its_docstring(face, name):
    """Errors of ours that its own lines raise; what it calls may raise more."""
    thing = getattr(import_module(face), name)
    if inspect.isfunction(thing):
        raised = set(re.findall(r"raise (\w+Error)\b", inspect.getsource(thing))) & OURS
        missing = [kind for kind in raised if kind not in (inspect.getdoc(thing) or "")]
        assert not missing


@pytest.mark.parametrize("face", FACES)
def test_developers_find_every_public_name_in_the_table(face):
    page = (ROOT / "DEVELOPERS.md").read_text()
    table = page[page.index("## Public names") :].split("\n## ")[0]
    rows = [line for line in table.splitlines() if line.startswith(f"| `{face}`")]
    told = [name for row in rows for name in re.findall(r"`(\w+)`", row.split("|", 2)[2])]
    assert sorted(told) == sorted(import_module(face).__all__)
