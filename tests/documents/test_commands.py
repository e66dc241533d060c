"""Every command in every document is one that foreglow takes, and each that ends by itself runs."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys

import pytest
import typer

from harness.cli import app
from tests.documents.commands import commands, documents, furnish
from tests.documents.pages import ROOT

GROUP = typer.main.get_command(app)
# These run until somebody ends them, or need a device: the test checks only their options.
WITHOUT_END = ("view", "listen", "run", "find")


SHORTER = {
    "--hours 10": "--hours 0.01 --fault none",
    "--seconds 120": "--seconds 3",
    "foreglow mutate": "foreglow mutate --only timing",
    "campaign mywall": "campaign sign --pattern rows --pairs 0",
}


def words(command: str) -> list[str]:
    return shlex.split(command.partition(" > ")[0])[1:]


@pytest.mark.parametrize("command", commands())
def test_a_command_in_a_document_is_one_that_foreglow_takes(command):
    name, *rest = words(command) or [""]
    if name and not name.startswith("-"):
        GROUP.commands[name].make_context(name, rest)  # raises for wrong use


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("documents")
    furnish(made)
    return made


@pytest.mark.slow
def test_the_commands_run_in_the_order_of_the_documents(folder):
    """Exit status 0, or 1 where a demo has a warning; never 2, never a traceback."""
    failed = []
    for command in commands():
        for long, short in SHORTER.items():
            command = command.replace(long, short)
        name = (words(command) or [""])[0]
        beyond = ("--program", "--listen", "--cluster", "--camera")  # of this machine, or a wall
        if name in WITHOUT_END or any(word in command for word in beyond):
            continue
        for taken in _written_by(words(command)):
            shutil.rmtree(folder / taken, ignore_errors=True)
            (folder / taken).unlink(missing_ok=True)
        done = subprocess.run(
            [sys.executable, "-m", "foreglow", *words(command)],
            cwd=folder, capture_output=True, text=True,
        )  # fmt: skip
        if done.returncode not in (0, 1) or "Traceback" in done.stderr:
            failed.append(f"{command}: {done.returncode} {done.stderr[-300:]}")
    assert not failed, "\n".join(failed)


def _written_by(arguments: list[str]) -> list[str]:
    """The files and folders that a command makes, which must not be there yet."""
    named = [arguments[n + 1] for n, word in enumerate(arguments) if word in ("-o", "--write")]
    if arguments[:1] == ["new"]:
        named.append(arguments[1])
    if arguments[:1] == ["export"]:
        named.append(arguments[2])
    return named


def test_links_between_documents_lead_somewhere():
    lost = []
    for path in documents():
        for target in re.findall(r"\]\(([^)#:]+)\)", path.read_text()):
            if not (path.parent / target).exists():
                lost.append(f"{path}: {target}")
    assert not lost


@pytest.mark.parametrize(("name", "most"), [("README.md", 120), ("DEVELOPERS.md", 200)])
def test_the_first_documents_are_short(name, most):
    assert len((ROOT / name).read_text().splitlines()) <= most
