"""`foreglow campaign`: which faults of a built wall the test patterns show and tell apart."""

from __future__ import annotations

import json

import typer

from harness.cli.options import (
    ChartFile,
    DisplayName,
    Force,
    HtmlFile,
    Json,
    chart_file,
    html_file,
    write_page,
)
from harness.report.terminal import say, terminal


def campaign(
    display: DisplayName,
    plot: ChartFile = None,
    html: HtmlFile = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Put every single fault into the wall and see which test patterns show it.

    It takes each kind of fault at each place, one at a time. It compares exact drives, what an eye
    sees and what a camera reads with the wall as planned: which pattern detects what, which faults
    look alike, and the fewest patterns that are enough.
    It needs scipy: the extra 'campaign'.
    """
    from emulator.description.load import load_display
    from emulator.files import write_whole
    from harness.campaign.campaign import run_campaign
    from harness.cli.recording import progress
    from harness.report.campaign.plot import campaign_plot
    from harness.report.campaign.terminal import campaign_json, print_campaign

    wall = load_display(display)
    target = chart_file(plot, f"{wall.name}-campaign", wall, force)
    page = html_file(html, wall, force)
    done = run_campaign(wall, progress)
    write_whole(target, campaign_plot(done, target.suffix[1:]))
    if as_json:
        say(json.dumps(campaign_json(done), indent=2, ensure_ascii=False))
    else:
        print_campaign(done, terminal())
        say(f"Chart: {target}")
    if page is not None:
        from harness.report.page.campaign import campaign_page

        write_page(campaign_page(done), page, as_json)
    raise typer.Exit(int((done.changes & ~done.eye.detected).any()))
