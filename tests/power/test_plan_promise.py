"""Plan → written file → loaded → solved → promise, over walls drawn by chance."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from emulator import Display, DisplayFileError, parse_display
from emulator.description.rewrite import with_power
from emulator.power.balance import balance
from emulator.power.network import build_network
from emulator.power.plan import Plan, plan_power, promised_v
from emulator.power.solve import solve_rails
from emulator.power.wire import FUSE_MARGIN, ampacity_a
from emulator.power.worst import worst_frames
from harness.report.power.plan import plan_toml

HERE = Path("wall.toml")
VOLTS = {"WS2812B": 5.0, "SK6812-RGBW": 5.0, "APA102": 5.0, "WS2815": 12.0, "WS2801": 5.0}


def feeds_at(draw: Any, ends: list[tuple[int, int]], supplies: int) -> list[str]:
    """A feed in every run (line, first LED … count), with or without words about its wire."""
    lines = []
    for line, first, count in ends:
        led = first + draw(st.integers(0, count - 1))
        words = draw(
            st.sampled_from(["", ", awg = 18", ", mm2 = 0.75", ", length_m = 0.4, awg = 20"])
        )
        supply = draw(st.integers(0, supplies - 1))
        lines.append(f"{{ line = {line}, led = {led}, supply = {supply}{words} }}")
    return lines


@st.composite
def walls(draw: Any) -> str:
    """The text of a display file that loads."""
    columns, rows = draw(st.integers(1, 30)), draw(st.integers(1, 16))
    part = draw(st.sampled_from(sorted(VOLTS)))
    volts = VOLTS[part]
    along = draw(st.sampled_from(["rows", "columns"]))
    lines = draw(st.integers(1, min(3, rows if along == "rows" else columns)))
    head = (
        f"# a wall\n[grid]\ncolumns = {columns}\nrows = {rows}\n"
        f"pitch_mm = {draw(st.sampled_from([10.0, 16.667, 33.333, 100.0]))}\n"
    )
    if columns > 4 and rows > 4 and draw(st.booleans()):
        head += "gaps = [{ column = 2, row = 1, columns = 2, rows = 2 }]\n"
    start = draw(st.sampled_from(["top-left", "bottom-right"]))
    path = draw(st.sampled_from(["serpentine", "progressive"]))
    head += (
        f'[chip]\npart = "{part}"  # chosen\n[wiring]\nstart = "{start}"\nalong = "{along}"\n'
        f'path = "{path}"\nlines = {lines}\n'
    )
    said = []
    jumper = draw(st.booleans())
    if jumper:
        said.append("jumper = { awg = 18, length_m = 0.05 }  # at the turns")
    supplies = draw(st.integers(1, 2))
    if draw(st.booleans()) or supplies > 1:
        own = draw(st.sampled_from(["", ", overload = 'trip'", ", source_ohm = 0.002"]))
        amps = draw(st.sampled_from(["", ", amps = 10", ", amps = 60"]))
        share = draw(st.sampled_from([1.0, 1.04]))
        entries = [
            f"{{ name = 's{n}', volts = {volts * share}{amps}{own} }}" for n in range(supplies)
        ]
        said.append(f"supply = [{', '.join(entries)}]  # bought")
    bare = parse_display(head, HERE)
    runs = bare.wiring.runs
    if draw(st.booleans()):
        if jumper:
            starts = [(n, 0, length) for n, length in enumerate(bare.wiring.line_lengths)]
        else:
            starts = [(run.line, run.first, run.leds) for run in runs]
        said.append(f"feed = [{', '.join(feeds_at(draw, starts, supplies))}]")
    if draw(st.booleans()):
        gauge = draw(st.sampled_from(["", "mm2 = 6.0, ", "awg = 10, "]))
        between = draw(st.sampled_from(["", "between_m = 0.2, ", "to_first_m = 0.13, "]))
        said.append(f"bus = [{{ {gauge}{between}supply = 0 }}]  # along the side")
    if draw(st.booleans()):
        full_a = len(bare.wiring) * 0.08
        dark_a = len(bare.wiring) * bare.chip.dark_ma / 1000
        said.append(f"limit_a = {round(dark_a + draw(st.floats(0.05, 1)) * full_a + 0.01, 3)}")
    if draw(st.booleans()):
        said.append(f"copper_c = 45\nrail_ohm_per_m = {draw(st.sampled_from([0.05, 0.2]))}")
    tail = "[view]  # from the stairs\ndistance_m = 4\n"
    return f"{head}[power]  # mine\n" + "".join(f"{line}\n" for line in said) + tail


def keeps_its_promise(display: Display, plan: Plan) -> None:
    """Solved again: volts with the supplies as they are, and every wire within the guidance."""
    assert promised_v(display, plan.level) >= plan.least_v
    network = build_network(display)
    frames = worst_frames(display, network, display.power.limit_a)
    rails = solve_rails(network, frames, display.chip)
    assert rails.converged.all()
    assert (rails.supply_current_a <= network.supply_amps).all()
    most_a = balance(network, rails).wire_current_a.max(axis=0)
    for wire, amps in zip(network.wires, most_a, strict=True):
        if wire.area_mm2 is not None:
            assert FUSE_MARGIN * amps <= ampacity_a(wire.area_mm2) * (1 + 1e-9), wire


def keeps_what_is_stated(before: dict[str, Any], after: dict[str, Any], plan: Plan) -> None:
    """By the TOML alone: everything stated is there, except for what `changes` names."""
    rest = {k: v for k, v in before.items() if k not in ("supply", "feed", "bus")}
    assert {k: after[k] for k in rest} == rest
    words = " ".join(plan.changes)
    for old, new in zip(before.get("supply", []), after["supply"], strict=False):
        changes_are_named(old, new, words)
    found = {(f.get("line", 0), f["led"], f.get("supply", 0)): f for f in after["feed"]}
    for old in before.get("feed", []):
        changes_are_named(old, found[old["line"], old["led"], old["supply"]], words)
    for old, new in zip(before.get("bus", []), after.get("bus", []), strict=False):
        changes_are_named(old, new, words)


def changes_are_named(old: dict[str, Any], new: dict[str, Any], words: str) -> None:
    for key, value in old.items():
        if new.get(key) != value:
            named = {"awg": f"AWG {value:g} is", "mm2": f"{value:g} mm² is"}
            assert named.get(key, f"{key} = {value:g} ") in words


def no_wire_is_too_short(display: Display, stated: Display) -> None:
    """From LED to LED over feed, bus and feed is never shorter than the straight line, where the
    plan says a length; feeds of the file are the user's own matter."""
    power, wiring = display.power, display.wiring
    old = {(f.line, f.led, f.supply) for f in stated.power.feed}
    pitch = np.array(display.grid.pitches_mm) / 1000
    for supply in range(len(power.supply)):
        feeds = [f for f in power.feed if f.supply == supply]
        at = [wiring.line_starts[f.line] + f.led for f in feeds]
        places = np.stack([wiring.column[at], wiring.row[at]], axis=1) * pitch
        if not any(bus.supply == supply for bus in power.bus):
            continue
        for n in range(1, len(feeds)):
            a, b = feeds[n - 1], feeds[n]
            if b.bus_m is None or {(f.line, f.led, f.supply) for f in (a, b)} & old:
                continue
            flown_m = math.dist(places[n - 1], places[n])
            assert a.length_m + b.bus_m + b.length_m >= flown_m - 1e-9


def planned(text: str, share: float) -> Plan | None:
    try:
        display = parse_display(text, HERE)
    except DisplayFileError:
        return None
    return plan_power(display, round(share * VOLTS[display.chip.part], 2))


def judge(text: str, share: float) -> bool:
    """Whether there was a plan to judge."""
    plan = planned(text, share)
    if plan is None or not plan.possible:
        return False
    stated = parse_display(text, HERE)
    before = tomllib.loads(text)
    written = with_power(text, plan.after.power, HERE)
    display = parse_display(written, HERE)
    keeps_its_promise(display, plan)
    after = tomllib.loads(written)
    keeps_what_is_stated(before["power"], after["power"], plan)
    assert {k: v for k, v in after.items() if k != "power"} == {
        k: v for k, v in before.items() if k != "power"
    }
    for line in text.splitlines():
        if "#" in line:
            assert line[line.index("#") :] in written
    pasted = text.split("[power]")[0] + plan_toml(plan)
    again = parse_display(pasted, HERE)
    keeps_its_promise(again, plan)
    no_wire_is_too_short(display, stated)
    return True


@given(walls(), st.floats(0.75, 0.97))
@settings(max_examples=12)
def test_a_plan_keeps_its_promise_once_written_and_loaded(text, share):
    assume(len(text) < 4000)
    judge(text, share)


@pytest.mark.slow
@given(walls(), st.floats(0.6, 0.985))
@settings(max_examples=100)
def test_plans_of_many_walls_keep_their_promise(text, share):
    judge(text, share)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("power", "named"),
    [
        # One feed for eight runs joined by jumpers is where the plan needs the least wire.
        ("bus = [{ to_first_m = 0.13, awg = 12 }]\njumper = { awg = 14 }\n", "to_first_m = 0.13 "),
        (
            "bus = [{ to_first_m = 0.13 }]\nfeed = [{ line = 0, led = 0, supply = 0 },"
            " { line = 0, led = 119, supply = 0, bus_m = 0.9 }]\njumper = { awg = 18 }\n",
            "bus_m = 0.9 ",
        ),
        ("supply = [{ name = 's0', amps = 1 }]\n", "s0: amps = 1 "),
        ("feed = [{ line = 0, led = 0, supply = 0, awg = 30 }]\njumper = {}\n", "AWG 30 is"),
    ],
)
def test_every_value_that_a_plan_changes_is_named(power, named):
    head = '[grid]\ncolumns = 15\nrows = 8\n[chip]\npart = "WS2812B"\n[wiring]\n[power]\n'
    assert judge(head + power, 0.93)
    plan = planned(head + power, 0.93)
    assert named in " ".join(plan.changes)


@pytest.mark.slow
@pytest.mark.parametrize("share", [0.85, 0.93])
def test_a_plan_can_be_had_for_plain_walls(share):
    """The tests above must judge plans, not only refusals."""
    for part in sorted(VOLTS):
        text = f'[grid]\ncolumns = 12\nrows = 6\n[chip]\npart = "{part}"\n[wiring]\n[power]\n'
        assert judge(text, share), part
        assert judge(text + "jumper = { awg = 18 }\n", share), part
