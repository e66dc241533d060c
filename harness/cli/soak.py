"""`foreglow soak`: hours of the show on simulated time, with faults."""

from __future__ import annotations

import itertools
import json
import sys
from typing import TYPE_CHECKING, Annotated

import typer

from harness.cli.options import (
    ChartFile,
    DisplayName,
    Force,
    HtmlFile,
    Json,
    Now,
    SceneName,
    chart_file,
    html_file,
    wall_of,
    write_page,
)
from harness.cli.options import seconds as seconds_of
from harness.report.terminal import complain, say, terminal

if TYPE_CHECKING:
    from emulator.description.display import Display
    from harness.soak.injection import Planned


def soak(
    display: DisplayName,
    scene: SceneName,
    hours: Annotated[float, typer.Option(min=0.001, max=1000, help="Of simulated time.")] = 10.0,
    fault: Annotated[
        list[str] | None,
        typer.Option(
            help="A fault to inject, and when: camera-lost@90min; none for none. Or a fault of the"
            " wall as built: 'data-open line=0 after=143'. May be repeated.",
            show_default="all, spread out",
        ),
    ] = None,
    otherwise: Annotated[
        str | None,
        typer.Option(help="A scene to show while the first one is out."),
    ] = None,
    plot: ChartFile = None,
    html: HtmlFile = None,
    force: Force = False,
    as_json: Json = False,
    now: Now = None,
) -> None:
    """Play hours of the show in minutes, on simulated time, with faults.

    It watches memory, drift, late frames, current and flashes, in the same loop as `foreglow
    run`. The scene raises and hangs, its camera and the output are unplugged, the disk of a
    recording is full, and the time of day is set back; the show must recover from each by
    itself. camera-lost: every Camera of the scene fails (not tried if the scene asks none).
    port-lost: the output as a whole fails. Exit status 1 if something is not as it should be.
    """
    from emulator.files import write_whole
    from harness.report.soak.plot import soak_plot
    from harness.report.soak.terminal import print_soak, soak_json
    from harness.show.names import check_name
    from harness.simulated.day import moment
    from harness.simulated.machine_time import EVENING
    from harness.soak.soak import soak as soaked_for
    from harness.soak.verdict import findings_of

    shown, fault = _with_wall_faults(display, fault)
    target = chart_file(plot, f"{shown.name}-soak", shown, force)
    page = html_file(html, shown, force)
    for name in (scene, otherwise):
        if name is not None:
            check_name(name)
    seconds = hours * 3600
    faults = planned(fault, seconds)
    start = EVENING if now is None else moment(now)
    soaked = soaked_for(shown, scene, seconds, faults, otherwise, _progress, start)
    findings = findings_of(soaked)
    write_whole(target, soak_plot(shown, soaked, target.suffix[1:]))
    if as_json:
        say(json.dumps(soak_json(shown, soaked, findings), indent=2))
    else:
        console = terminal()
        print_soak(shown, soaked, findings, console)
        console.print(f"Chart: {target}")
    if page is not None:
        from harness.report.page.soak import soak_page

        write_page(soak_page(shown, soaked, findings), page, as_json)
    raise typer.Exit(int(bool(findings)))


def _with_wall_faults(name: str, faults: list[str] | None) -> tuple[Display, list[str] | None]:
    """The display with the faults that are of the wall, and the others; ['none'] for none left."""
    if faults is None:
        return wall_of(name, None), None
    from emulator.description.faults.kinds import KINDS

    of_wall = [one for one in faults if one.split()[:1] != [one] or one in KINDS]
    of_show = [one for one in faults if one not in of_wall]
    return wall_of(name, of_wall), of_show or ["none"]


def planned(names: list[str] | None, seconds: float) -> list[Planned]:
    """The faults asked for, NAME or NAME@TIME each; all of them by default.

    Those without a time are spread over the show. Raises UnknownNameError and a usage error.
    """
    from emulator.errors import UnknownNameError
    from harness.soak.faults import FAULTS
    from harness.soak.injection import APART_S, Planned

    if names == ["none"]:
        return []
    parts = [name.partition("@") for name in (list(FAULTS) if names is None else names)]
    for name, _, _ in parts:
        if name not in FAULTS:
            raise UnknownNameError("fault", name, [*FAULTS, "none"])
    step_s = seconds / (len(parts) + 1)
    faults = [
        Planned(seconds_of(at) if at else (number + 1) * step_s, FAULTS[name]())
        for number, (name, _, at) in enumerate(parts)
    ]
    times_s = [*sorted(one.at_s for one in faults), seconds]  # no fault comes after the end
    if any(b - a < APART_S for a, b in itertools.pairwise(times_s)):
        raise typer.BadParameter(
            f"each fault needs {APART_S:g} s before the next fault or the end; give more --hours,"
            " fewer faults, or --fault none"
        )
    return faults


def _progress(hours: float) -> None:
    if sys.stderr.isatty():
        complain(f"{hours:g} h of the show")
