"""`foreglow mutate`: how strong the user's own tests are."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from harness.cli.ending import end_as_by_ctrl_c
from harness.cli.options import Json, wall_of
from harness.cli.options import seconds as seconds_of
from harness.report.terminal import say, terminal

if TYPE_CHECKING:
    from harness.mutate.mutation import Group


def mutate(
    command: Annotated[str, typer.Argument(help="The command that runs your tests: 'pytest -q'.")],
    map: Annotated[
        str | None,
        typer.Option(
            help="Put mistakes into this map, module:NAME: the cells in the order of the data, or a"
            " function that returns them."
        ),
    ] = None,
    call: Annotated[
        str | None,
        typer.Option(help="Put mistakes into this function, module:function, given pictures."),
    ] = None,
    display: Annotated[
        str | None,
        typer.Option(
            help="The wall of the tests, a display file or a demo.",
            show_default="foreglow_display of pytest.ini",
        ),
    ] = None,
    only: Annotated[
        str | None,
        typer.Option(help="Only these mistakes, separated by commas: map, colour, timing."),
    ] = None,
    each: Annotated[
        int, typer.Option(min=1, max=100, help="Examples of each mistake in the map.")
    ] = 1,
    seed: Annotated[int, typer.Option(min=0, help="Draws the places of these examples.")] = 0,
    workers: Annotated[
        int,
        typer.Option(
            min=1, max=256, help="Runs at the same time, if your tests do not share a file or port."
        ),
    ] = 1,
    limit: Annotated[
        str | None,
        typer.Option(
            help="The most time for a run, as 90s; longer counts as noticed.",
            show_default="5 times the first run, at least 30s",
        ),
    ] = None,
    as_json: Json = False,
) -> None:
    """Tell how strong your own tests are: which mistakes in your code do they notice?

    It runs your tests on the code as it is, which must pass. Then it runs them once for each of
    many mistakes: in the map, in colours and levels, in time. A run stops at the first failure.
    Each mistake that no test notices is listed with an assertion that would catch it. Your files
    stay as they are. Exit status 1 if a mistake survives.
    """
    from harness.mutate.change import Change
    from harness.mutate.order import Order
    from harness.mutate.project import named_display
    from harness.mutate.verdict import to_json, try_tests
    from harness.report.mutate import print_verdict

    target = map if map is not None else call
    if target is None or (map is not None and call is not None):
        raise typer.BadParameter("give one of --map and --call")
    _check_target(target)
    groups = _groups(only, map is not None)
    name = display or named_display(command, Path.cwd())
    if name is None:
        raise typer.BadParameter(
            "no display is named: give --display mywall.toml, or write foreglow_display ="
            " mywall.toml in pytest.ini"
        )
    wall = wall_of(name, None)
    limit_s = None if limit is None else seconds_of(limit)
    if limit_s is not None and limit_s <= 0:
        raise typer.BadParameter("give --limit more than 0 s")
    end_as_by_ctrl_c()
    order = Order(
        target=target,
        kind="call" if map is None else "map",
        change=Change(),
        rows=wall.grid.rows,
        columns=wall.grid.columns,
        curve=wall.canvas.curve,
        frame_rate=wall.controller.frame_rate,
        answers="",
    )
    with _progress() as progress:
        verdict = try_tests(
            command,
            wall,
            order,
            groups,
            each=each,
            seed=seed,
            workers=workers,
            limit_s=limit_s,
            progress=progress,
        )
    if as_json:
        say(json.dumps(to_json(verdict), indent=2, ensure_ascii=False))
    else:
        print_verdict(verdict, terminal())
    raise typer.Exit(int(bool(verdict.survivors)))


def _check_target(target: str) -> None:
    module, _, path = target.rpartition(":")
    parts = [*module.split("."), *path.split(".")]
    if not all(part.isidentifier() for part in parts):
        raise typer.BadParameter(
            f"'{target}' does not name code: write module:name, such as show:to_wire for to_wire in"
            " show.py"
        )


def _groups(only: str | None, in_map: bool) -> tuple[Group, ...]:
    """The groups asked for; a map has mistakes of the map alone."""
    from emulator.errors import UnknownNameError
    from harness.mutate.mutation import GROUPS

    names = [name.strip() for name in only.split(",")] if only is not None else [*GROUPS]
    for name in names:
        if name not in GROUPS:
            raise UnknownNameError("kind of mistake", name, GROUPS)
    if in_map and only is not None and names != ["map"]:
        raise typer.BadParameter("a map has no colours and no timing: give --call, or --only map")
    return tuple(group for group in GROUPS if group in names and (group == "map" or not in_map))


@contextlib.contextmanager
def _progress() -> Iterator[Callable[[int, int], None]]:
    """A bar on standard error, if it is a terminal; takes the mistakes done, and of how many."""
    from rich.progress import MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    console = terminal(stderr=True)
    columns = (TextColumn("{task.description}"), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        task = bar.add_task("your tests on the code as it is", total=None)

        def progress(done: int, of: int) -> None:
            bar.update(task, description="mistakes", completed=done, total=of)

        yield progress
