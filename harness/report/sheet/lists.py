"""Pages of text: what is built, cut list, wires, holes, parts, and the check-off list."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from emulator.description.fitting import remarks
from emulator.light.camera import camera_figures
from emulator.power.wire import CAUTION
from harness.report.sheet.flow import Column, Flow
from harness.report.sheet.parts import MINUTES, Shopping
from harness.report.sheet.pieces import named_pieces
from harness.report.sheet.steps import CAUTIONS, Step, first_steps, last_steps, run_steps
from harness.report.sheet.wires import COLOURS
from harness.result.words import counted, many


def summary_page(flow: Flow, shopping: Shopping) -> None:
    """What is built, what does not go together, cautions."""
    display, geometry = shopping.display, shopping.geometry
    flow.begin(f"{display.name}: bench pack")
    if display.about:
        flow.paragraph(display.about, bold=True)
    (width, height), (left, top, _, _) = display.placement.size_mm, display.placement.cells_mm
    wiring, lattice = display.wiring, geometry.lattice
    wire_m = sum(wire.length_mm for wire in shopping.wires) / 1000
    joints, hours = shopping.joints(), shopping.hours()
    rows = [
        ("LEDs", f"{display.leds_in_words}; {wiring.columns} columns × {wiring.rows} rows"),
        ("lines and runs", f"{many(len(wiring.line_names), 'line')},"
                           f" {many(len(wiring.runs), 'run')}"),
        ("board", f"{width:.1f} × {height:.1f} × {display.board.thickness_mm:g} mm;"
                  f" cells {left:.1f} mm from its left, {top:.1f} mm from its top, from the front"),
        ("wires", f"{many(len(shopping.wires), 'wire')}, {wire_m:.1f} m,"
                  f" on the {display.board.wires}; {many(len(geometry.jumpers), 'jumper')}"),
        ("holes", f"{len(geometry.holes)} of {display.placement.hole_mm:g} mm"),
        ("joints", f"{sum(joints.values())}: " + ", ".join(
            f"{name} {count}" for name, count in joints.items() if count)),
        ("lattice", f"strip {lattice.strip_mm:.3f} mm, grid {lattice.grid_mm:.3f} mm: over run"
                    f" {lattice.run} {lattice.over_mm:+.2f} mm; {lattice.joints} joints in it,"
                    f" ±{lattice.joints_mm:g} mm"),
        ("work", f"{sum(hours.values()):.1f} h: " + ", ".join(
            f"{name} {value:.1f} h" for name, value in hours.items() if value)
            + ". Own figures: see 'Parts'"),
    ]  # fmt: skip
    for line, name in enumerate(wiring.line_names):
        if hidden := wiring.hidden_on(line).tolist():
            rows.insert(1, (f"hidden, {name}", f"{counted('LED', hidden)} have no cell: dark"))
    flow.table([Column("what", 1), Column("figures", 5)], rows)
    if found := remarks(geometry):
        flow.heading("What does not go together")
        flow.caution(found)
    flow.heading("Cautions")
    flow.caution((*CAUTIONS, CAUTION))
    flow.heading("What you must decide yourself")
    flow.paragraph(
        "How the board is fixed and carried; earth, mains protection, and the enclosure of supplies"
        " (with an electrician); glue and its surface; strain relief of every wire; whether heat"
        " can leave; where a person can reach fuses and plug. foreglow does not know these."
    )


def list_pages(flow: Flow, shopping: Shopping, prices: Mapping[str, float]) -> None:
    """Cut list, wires, holes, parts."""
    _cut_list(flow, shopping)
    _wire_list(flow, shopping)
    _hole_list(flow, shopping)
    _part_list(flow, shopping, prices)
    _power_list(flow, shopping)


def _cut_list(flow: Flow, shopping: Shopping) -> None:
    cuts = shopping.cuts
    flow.begin("Cut list, reel by reel")
    pieces = named_pieces(cuts)
    rows = []
    for number, reel in enumerate(cuts.reels):
        for name, piece, _ in (found for found in pieces if found.reel == number):
            rows.append((str(number), f"run {name}", f"{piece.first} to {piece.last}",
                         str(piece.leds), f"{piece.length_mm:.1f}"))  # fmt: skip
        rows.append((str(number), "left over", "", str(reel.left_over), ""))
    flow.table(
        [Column("reel", 1), Column("piece of", 2), Column("LEDs of its line", 3),
         Column("count", 1, "end"), Column("length, mm", 1.5, "end")], rows)  # fmt: skip
    if cuts.joined:
        flow.paragraph(
            f"Runs {', '.join(map(str, cuts.joined))} are longer than a reel: join the pieces pad"
            " to pad, and keep the distance from LED to LED across the joint."
        )


def _wire_list(flow: Flow, shopping: Shopping) -> None:
    flow.begin("Wire list")
    flow.paragraph(
        "Lengths are cut lengths: the way on the board, holes and service loop, or what the display"
        " file says. Colours are common practice; mains wires are another matter."
    )
    fuses, bus_fuses = shopping.expected.fuses, shopping.expected.bus_fuses
    names = {f"B{b.supply}.0": shopping.display.whole_power.supply[b.supply].name or ""
             for b in shopping.display.whole_power.bus}  # fmt: skip
    rows = []
    for wire in shopping.wires:
        fuse = None
        if wire.use == "+" and wire.number[0] == "F":
            fuse = fuses.get(int(wire.number[1:]))
        elif wire.use == "+" and wire.number in names:
            fuse = bus_fuses.get(names[wire.number])
        rows.append((wire.label, wire.start, wire.end, wire.gauge, COLOURS[wire.use],
                     f"{wire.length_mm:.0f}", f"{fuse:g} A" if fuse else ""))  # fmt: skip
    flow.table(
        [Column("wire", 1.3), Column("from", 2.2), Column("to", 2), Column("gauge", 1.2),
         Column("colour", 1), Column("mm", 0.8, "end"), Column("fuse at start", 0.9, "end")],
        rows,
    )  # fmt: skip


def _hole_list(flow: Flow, shopping: Shopping) -> None:
    geometry = shopping.geometry
    if not geometry.holes and not shopping.display.placement.obstacles:
        return
    camera = camera_figures(shopping.display)
    flow.begin("Holes and openings")
    width, _ = shopping.display.placement.size_mm
    flow.paragraph("x from the left edge and y from the top edge of the board, in mm.")
    rows = [
        (
            str(n),
            f"{h.x_mm:.1f}",
            f"{width - h.x_mm:.1f}",
            f"{h.y_mm:.1f}",
            f"{h.diameter_mm:g}",
            h.use,
        )
        for n, h in enumerate(geometry.holes, 1)
    ]
    flow.table(
        [Column("hole", 0.7), Column("x, front", 1, "end"), Column("x, back", 1, "end"),
         Column("y", 1, "end"), Column("diameter", 1, "end"), Column("for", 4)], rows)  # fmt: skip
    if shopping.display.placement.obstacles:
        flow.heading("Openings and gaps that wires go round")
        flow.table(
            [Column("name", 2), Column("x, front", 1, "end"), Column("y", 1, "end"),
             Column("width", 1, "end"), Column("height", 1, "end")],
            [(o.name, f"{o.left:.1f}", f"{o.top:.1f}", f"{o.right - o.left:.1f}",
              f"{o.bottom - o.top:.1f}") for o in shopping.display.placement.obstacles],
        )  # fmt: skip

    if camera is not None:
        left, top, _, _ = shopping.display.placement.cells_mm
        x, y = left + camera.middle_mm[0], top + camera.middle_mm[1]
        hood = (
            f" A hood from the lens forwards, {camera.hood_mm:.1f} mm long, inner diameter"
            f" {camera.rim_mm:.1f} mm, matt black."
            if camera.hood_mm
            else " It needs no hood."
        )
        flow.paragraph(
            f"Camera in gap {camera.gap}: an opening of {camera.opening_mm:.1f} mm diameter in the"
            f" front, with its middle at x {x:.1f} mm from the front, y {y:.1f} mm; a smaller one"
            f" vignettes.{hood} Light of the wall at full white that reaches the lens:"
            f" {camera.bare_lx:.3g} lx without the hood, {camera.hooded_lx:.3g} lx with it."
        )


def _part_list(flow: Flow, shopping: Shopping, prices: Mapping[str, float]) -> None:
    flow.begin("Parts")
    parts = shopping.parts()
    rows, total = [], 0.0
    for part in parts:
        count = f"{part.amount:.1f} {part.unit}" if part.unit else f"{part.amount:g}"
        weight = "" if part.weight_g is None else f"{part.weight_g / 1000:.2f}"
        price = prices.get(part.key)
        cost = "" if price is None else f"{price * part.amount:.2f}"
        total += (price or 0.0) * part.amount
        rows.append((part.name, count, weight, *((cost,) if prices else ()), part.note))
    columns = [Column("part", 3), Column("count", 1, "end"), Column("kg", 0.8, "end"),
               *((Column("price", 1, "end"),) if prices else ()), Column("note", 4)]  # fmt: skip
    flow.table(columns, rows)
    grams = sum(part.weight_g or 0.0 for part in parts)
    cost = f" Prices together: {total:.2f}." if prices else ""
    flow.paragraph(
        f"Known weights together: {grams / 1000:.1f} kg, of rough own figures, without supplies and"
        f" covers.{cost}"
    )
    flow.heading("Time needed")
    hours = shopping.hours()
    flow.table(
        [Column("work", 4), Column("minutes each", 1.5, "end"), Column("hours", 1, "end")],
        [(work, f"{MINUTES[work]:g}", f"{value:.1f}") for work, value in hours.items()],
    )
    flow.paragraph("Own figures of one who has soldered before. Time your first run and scale.")


def _power_list(flow: Flow, shopping: Shopping) -> None:
    flow.begin("Current, heat, volts")
    found, display = shopping.expected.assessment, shopping.display
    flow.table(
        [Column("load", 2), Column("A", 1, "end"), Column("W", 1, "end"),
         Column("W/m² of wall", 1.3, "end"), Column("covers, K over the room", 1.5, "end"),
         Column("board, K, back closed", 1.5, "end")],
        [(load.name, f"{load.drawn_a:.2f}", f"{load.supplied_w:.1f}",
          f"{found.heat_w_m2(load):.0f}", f"{found.rise(load).cover_closed_k:.0f}",
          f"{found.rise(load).board_closed_k:.0f}")
         for load in found.loads],
    )  # fmt: skip
    flow.table(
        [Column("supply", 3), Column("V", 1, "end"), Column("rated A", 1, "end"),
         Column("heaviest A", 1, "end"), Column("load", 1, "end")],
        [(s.name, f"{s.volts:g}", f"{s.rated_a:g}", f"{s.heaviest_a:.1f}", f"{s.share:.0%}")
         for s in found.supplies],
    )  # fmt: skip
    flow.paragraph(found.caution)
    flow.heading("Volts at the far ends, from the power model")
    limit = display.power.limit_a
    flow.paragraph(
        "Between + and GND at the LED with the lowest volts of each run. White: all LEDs, as bright"
        f" as {'full drive' if limit is None else f'the limit of {limit:g} A allows'}. If you"
        " measure less by 0.2 V (own figure) or more, look for a bad joint before that LED."
    )
    rows = []
    for number, run in enumerate(display.wiring.runs):
        led, dark, white = shopping.expected.far_end(number)
        rows.append((str(number), str(run.line), str(led), f"{dark:.2f}", f"{white:.2f}", ""))
    flow.table(
        [Column("run", 1), Column("line", 1), Column("LED", 1, "end"), Column("V dark", 1, "end"),
         Column("V white", 1, "end"), Column("measured", 2)], rows)  # fmt: skip


def check_pages(flow: Flow, shopping: Shopping) -> None:
    """The check-off list."""
    display, geometry = shopping.display, shopping.geometry
    flow.begin("Check-off list, in the order of the work")
    flow.paragraph(
        f"To play a pattern: foreglow run {display.name} chase --to serial:///dev/ttyACM0, or the"
        " output of your controller. Unplug before each time you solder."
    )
    for title, steps in (
        ("Board and strips", first_steps(display, geometry)),
        ("Run by run", run_steps(display, geometry)),
        ("Power", last_steps(display, shopping.expected)),
    ):
        flow.heading(title, keep=24)
        _steps(flow, steps)


def _steps(flow: Flow, steps: Sequence[Step]) -> None:
    flow.table(
        [Column("do", 3), Column("play or measure", 2), Column("must be seen", 2.6)],
        [(step.what, step.play, step.seen) for step in steps],
        tick=True,
    )
