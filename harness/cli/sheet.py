"""`foreglow sheet`: the bench pack, to cut, drill, solder and buy by."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from harness.cli.options import DisplayName, Force, result_file
from harness.report.terminal import say


class Paper(StrEnum):
    """Sizes of paper."""

    a4 = "A4"
    letter = "Letter"


def sheet(
    display: DisplayName,
    output: Annotated[
        Path,
        typer.Option("--output", "-o", help="The PDF; or .svg, then a file for each page."),
    ],
    paper: Annotated[Paper, typer.Option(help="Size of the pages.", case_sensitive=False)] = (
        Paper.a4
    ),
    prices: Annotated[
        Path | None,
        typer.Option(help="Your prices: a TOML file with lines such as reel = 12.50."),
    ] = None,
    template: Annotated[
        bool, typer.Option(help="With the template at 1:1, which takes many pages.")
    ] = True,
    force: Force = False,
) -> None:
    """Write the bench pack: drawings of both sides, cut list, wires, parts, checks, template.

    Print it at 100 %, and measure the 100 mm of each page of the template.
    """
    from emulator.description.fitting import remarks
    from emulator.description.load import load_display
    from emulator.files import check_target, write_whole
    from harness.report.sheet.pack import bench_pack
    from harness.report.sheet.parts import read_prices
    from harness.report.sheet.pdf import pdf
    from harness.report.sheet.svg import svg

    shown = load_display(display)
    output = result_file(output, "", shown, force, (".pdf", ".svg"))
    known = {} if prices is None else read_prices(prices)
    pages = bench_pack(shown, paper.value, known, template=template)
    title = f"{shown.name}, bench pack"
    for remark in remarks(shown.geometry):
        say(f"Does not go together: {remark}")
    if output.suffix.lower() == ".pdf":
        write_whole(output, pdf(pages, title))
        say(f"Wrote {output}: {len(pages)} pages, {paper.value}")
        return
    digits = len(str(len(pages)))
    names = [
        output.with_name(f"{output.stem}-{number:0{digits}}{output.suffix}")
        for number in range(1, len(pages) + 1)
    ]
    for name in names:
        check_target(name, force=force, keep=[] if shown.path is None else [shown.path])
    for name, page in zip(names, pages, strict=True):
        write_whole(name, svg(page, title))
    say(f"Wrote {names[0]} to {names[-1].name}: {len(pages)} pages, {paper.value}")
