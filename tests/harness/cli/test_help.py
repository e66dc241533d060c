"""The help of the command: a start for newcomers, whole sentences, an example for each."""

from __future__ import annotations

import shlex

import pytest
import typer

from harness.cli import app
from harness.cli.help import EXAMPLES, help_of

COMMANDS = {info.name: info.callback for info in app.registered_commands}
GROUP = typer.main.get_command(app)


def plain(text: str) -> str:
    """A text without frames and spaces: a long word may be broken anywhere."""
    return "".join(text.replace("│", " ").replace("\\[", "[").split())


def test_alone_it_names_three_commands_to_start_with(foreglow):
    status, out, err = foreglow()
    assert (status, err) == (0, "")
    commands = [line.split()[1] for line in out.splitlines() if line.startswith("  foreglow ")]
    assert commands == ["new", "check", "view"]


def test_every_command_has_an_example_and_a_command_of_a_group_too():
    groups = {
        f"{name} {part}"
        for name, group in GROUP.commands.items()
        for part in getattr(group, "commands", ())
    }
    assert {*COMMANDS} | groups == set(EXAMPLES)


@pytest.mark.parametrize("name", COMMANDS)
def test_help_shows_every_word_and_an_example(foreglow, name):
    out = plain(foreglow(name, "--help")[1])
    assert plain(help_of(COMMANDS[name])) in out
    for parameter in GROUP.commands[name].params:
        if getattr(parameter, "help", None):
            assert plain(parameter.help) in out, parameter.name
    assert plain(f"Example: {EXAMPLES[name]}") in out


@pytest.mark.parametrize("name", COMMANDS)
def test_an_example_is_a_use_that_the_command_takes(name):
    words = shlex.split(EXAMPLES[name].partition(" > ")[0])
    assert words[:2] == ["foreglow", name]
    GROUP.commands[name].make_context(name, words[2:])  # raises for wrong use
