"""`foreglow campaign`: which faults of a built wall the test patterns show and tell apart."""

from __future__ import annotations

import json
import os
import sys
from typing import Annotated

import typer

from harness.cli.options import (
    RESULTS,
    ChartFile,
    DisplayName,
    Force,
    HtmlFile,
    Json,
    chart_file,
    html_file,
    write_page,
)
from harness.report.terminal import complain, say, terminal

_LARGE = 200  # LEDs from which processes are worth their start


def campaign(
    display: DisplayName,
    plot: ChartFile = None,
    html: HtmlFile = None,
    force: Force = False,
    as_json: Json = False,
    pairs: Annotated[
        str, typer.Option(help="How many pairs of faults to try as well, or 'all' of them.")
    ] = "300",
    pattern: Annotated[
        list[str] | None,
        typer.Option(
            help="Only this pattern; give it several times for several. Default: all with at most"
            " 1,024 pictures."
        ),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(min=1, max=1024, help="Processes; default: one a core on a large wall."),
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option(help="Run on this Dask scheduler, such as tcp://10.0.0.7:8786."),
    ] = None,
) -> None:
    """Put every single fault into the wall and see which test patterns show it.

    It takes each kind of fault at each place, one at a time. It compares exact drives, what an eye
    sees and what a camera reads with the wall as planned: which pattern detects what, which faults
    look alike, and the fewest patterns that are enough.
    If it is killed, run it again: it goes on where it was. Whatever runs it, results are the same.
    It needs scipy: the extra 'campaign'; --cluster needs Dask: the extra 'cluster'.
    """
    from emulator.description.load import load_display
    from emulator.files import write_whole
    from harness.campaign.campaign import run_campaign, usual_patterns
    from harness.campaign.running import Where, need_distributed
    from harness.cli.recording import progress
    from harness.patterns.pattern import pattern as pattern_of
    from harness.report.campaign.plot import campaign_plot
    from harness.report.campaign.terminal import campaign_json, print_campaign, print_took

    wall = load_display(display)
    target = chart_file(plot, f"{wall.name}-campaign", wall, force)
    page = html_file(html, wall, force)
    count = _count(pairs)
    patterns = None if pattern is None else [pattern_of(name) for name in dict.fromkeys(pattern)]
    for one in usual_patterns(wall)[1] if patterns is None else ():
        complain(
            f"Left out: {one.name}, which has {one.steps(wall):,} pictures on this wall;"
            f" --pattern {one.name} takes it"
        )
    if cluster is not None:
        need_distributed()
    if workers is None:
        workers = (os.cpu_count() or 1) if wall.leds >= _LARGE else 1
    where = Where(workers, cluster, RESULTS / f"{wall.name}-campaign.parts")
    done = run_campaign(wall, progress, patterns, pairs=count, where=where)
    write_whole(target, campaign_plot(done, target.suffix[1:]))
    if as_json:
        say(json.dumps(campaign_json(done), indent=2, ensure_ascii=False))
    else:
        print_campaign(done, terminal())
        print_took(done, terminal())
        say(f"Chart: {target}")
    if page is not None:
        from harness.report.page.campaign import campaign_page

        write_page(campaign_page(done), page, as_json)
    raise typer.Exit(int((done.changes & ~done.eye.detected).any()))


def _count(pairs: str) -> int:
    """A number of pairs; a usage error for anything else."""
    if pairs.strip() == "all":
        return sys.maxsize
    if not pairs.strip().isdecimal() or len(pairs) > 9:
        raise typer.BadParameter(f"--pairs {pairs}: give a number such as 300, or 'all'")
    return int(pairs)
