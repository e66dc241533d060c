"""The report of `foreglow light`: figures, colours and depths of a display."""

from __future__ import annotations

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from emulator.description.display import Display
from emulator.light.camera import CameraFigures
from harness.light.assessment import Gluing, LightReport, White


def print_light(display: Display, report: LightReport, console: Console) -> None:
    """Print the report as a table."""
    f, cover = report.figures, display.cover
    walls = "no walls" if cover.walls == "none" else f"{cover.walls} walls"
    console.print(
        Text.assemble(
            (display.name, "bold"),
            f", seen from {f.distance_m:g} m in {f.ambient_lx:g} lx;"
            f" front {cover.depth_mm:g} mm from the LEDs, {walls}",
        ),
        highlight=False,
    )
    console.print(light_table(display, report))
    console.print(_d65_words(report.white), highlight=False)
    console.print(
        Text(
            f"Model: {_source_words(display.chip.emitter_mm)}, matt front; see [cover] and the"
            " chip's sources. An LED's intensity differs by ± 10 % and more within a reel (common"
            " practice, no source).",
            "dim",
        ),
        highlight=False,
    )


def light_table(display: Display, report: LightReport) -> Table:
    """Name, value and note of each figure."""
    f, white, depths, cover = report.figures, report.white, report.depths, display.cover
    table = Table(box=box.SIMPLE_HEAD, show_header=False, pad_edge=False)
    table.add_column(no_wrap=True)
    table.add_column(justify="right", no_wrap=True)
    table.add_column()
    ratio = report.fed.contrast
    contrast = "no ambient light" if ratio is None else f"{ratio:.1f} : 1"
    table.add_row("luminance, brightest", f"{f.peak_cdm2:.0f} cd/m²", "full white, one point")
    if f.all_channels_cdm2 > 1.001 * f.peak_cdm2:
        table.add_row("all four channels", f"{f.all_channels_cdm2:.0f} cd/m²", "the same point")
    table.add_row("luminance, mean", f"{f.mean_cdm2:.0f} cd/m²", "full white, a whole cell")
    table.add_row(
        "white as fed, mean", f"{report.fed.mean_cdm2:.0f} cd/m²", "after canvas, limit, wires"
    )
    table.add_row("white as fed, dimmest", f"{report.fed.dimmest_cdm2:.0f} cd/m²", "of all LEDs")
    table.add_row("ambient on the front", f"{f.ambient_cdm2:.1f} cd/m²", "also on dark cells")
    table.add_row("contrast", contrast, "white as fed to dark")
    area = "a cell" if cover.walls == "none" else "an opening"
    table.add_row("uniformity, min/mean", f"{f.min_to_mean:.2f}", f"U0 over {area}; 1 is even")
    table.add_row("uniformity, min/max", f"{f.min_to_max:.2f}", f"Ud over {area}")
    seen = f"a whole cell, from {f.distance_m:g} m"
    table.add_row("as seen, min/mean", f"{f.seen_min_to_mean:.2f}", seen)
    for off in report.gluing.at:
        spot = "no spot to see" if off.spot_mm is None else f"spot {off.spot_mm:.1f} mm off"
        table.add_row(f"strip {off.off_mm:g} mm off centre", f"{off.min_to_mean:.2f}", spot)
    table.add_row("strip off centre at most", *_tolerance_words(report.gluing))
    table.add_row("cross-talk", f"{f.crosstalk:.1%}", "light in the cell beside")
    table.add_row(
        "smallest letter",
        f"{f.letter_mm:.0f} mm",
        f"{f.letter_cells} cells: 5′ or 5 cells",
    )
    table.add_row("cells fuse from", f"{f.fusing_m:.0f} m", "one arcminute apart")
    reads = f"{report.reads_from_m:.0f} m"
    table.add_row("letters as high as the wall", reads, "readable up to there")
    kelvin = white.temperature_k
    warmth = f"no CCT: {white.no_temperature}" if kelvin is None else f"{kelvin:.0f} K"
    table.add_row("full white", f"x {white.x:.3f} y {white.y:.3f}", warmth)
    if depths.knee_mm is None:
        table.add_row("depth at the knee", "none", "the same at every depth")
    else:
        table.add_row("depth at the knee", f"{depths.knee_mm:.0f} mm", "deeper improves it less")
    even = "none up to 4 pitches" if depths.even_mm is None else f"{depths.even_mm:.0f} mm"
    table.add_row(f"depth for min/mean {depths.even:g}", even, "")
    if report.camera is not None:
        _add_camera(table, report.camera)
    return table


def _add_camera(table: Table, camera: CameraFigures) -> None:
    """The rows of the camera."""
    note = f"in the middle of gap {camera.gap}; smaller vignettes"
    table.add_row("camera: opening in the front", f"Ø {camera.opening_mm:.1f} mm", note)
    if camera.hood_mm:
        note = f"from the lens forwards, inner Ø {camera.rim_mm:.1f} mm, matt black"
        table.add_row("camera: hood", f"{camera.hood_mm:.1f} mm", note)
    table.add_row("wall's light on the lens", f"{camera.bare_lx:.3g} lx", "full white, no hood")
    if camera.hood_mm:
        table.add_row("… with the hood", f"{camera.hooded_lx:.3g} lx", "")


def _source_words(emitter_mm: float) -> str:
    return f"square source of {emitter_mm:g} mm" if emitter_mm else "point source"


def _tolerance_words(gluing: Gluing) -> tuple[str, str]:
    """Value and note of the row."""
    if gluing.tolerance_mm is None:
        return f"{gluing.limit_mm:.1f} mm", "LED at the edge, still 90 %"
    return f"{gluing.tolerance_mm:.1f} mm", "min/mean then keeps 90 %"


def _d65_words(white: White) -> str:
    """The line that makes white D65, to paste into the display file."""
    if white.d65_gains is None:
        return "No gains make white D65: it is outside the triangle of these channels' colours."
    gains = ", ".join(f"{gain:.2f}" for gain in white.d65_gains)
    return f"For a white as of screens (D65), in [canvas]:  white = [{gains}]"
