"""Calculates an assessment: solves the display dark, white and at its heaviest picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from emulator.arrays import Bytes, Floats
from emulator.description.display import Display
from emulator.picture.srgb import linear_to_srgb
from emulator.power.balance import balance
from emulator.power.fusing import Peaks, fusing, spread_frames, wire_peaks
from emulator.power.least import enough_v, nominal_a
from emulator.power.load import headroom
from emulator.power.network import Network, build_network
from emulator.power.solve import Rails, solve_rails
from emulator.power.worst import uniform_drives, worst_frames
from harness.power.assessment import (
    ROLES,
    Assessment,
    Energy,
    Load,
    Lowest,
    Solver,
    SupplyUse,
    WireUse,
)
from harness.power.course import Course


def assess(display: Display, scenes: Sequence[Course] = ()) -> Assessment:
    """Solve the display dark, at full white, and with the heaviest picture within its limit.

    scenes: followed scenes, whose mean is the typical load.
    """
    network, chip, power = build_network(display), display.chip, display.power
    white = uniform_drives(display, 1.0)
    held = solve_rails(network, np.concatenate([uniform_drives(display, 0.0), white]), chip, np.inf)
    dark_load = load_of("dark", display, uniform_drives(display, 0.0), _frame(held, 0))
    white_load = load_of("full white", display, white, _frame(held, 1))
    heaviest_load, candidates = white_load, worst_frames(display, network, power.limit_a)
    if len(candidates) > 1:
        limited = candidates[:1]
        limited_rails = solve_rails(network, limited, chip, np.inf)
        heaviest_load = load_of("at the limit", display, limited, limited_rails)
    # A supply that trips carries the whole load until then; one that folds back limits it.
    trips = np.array([s.overload == "trip" for s in network.power.supply])
    real = solve_rails(network, candidates, chip, np.where(trips, np.inf, network.supply_amps))
    kept = solve_rails(network, candidates, chip, np.inf)
    lowest_frame = int(real.led_volts.min(axis=1).argmin())
    solved = (held, real, kept)
    lit = np.concatenate([spread_frames(display), candidates])
    peaks = wire_peaks(display, network, lit, power.limit_a)
    wires = wire_uses(network, peaks)
    typical = _typical(display, scenes) if scenes else None
    pitch_x, pitch_y = display.grid.pitches_mm
    starts = np.flatnonzero(np.diff(display.wiring.run)) + 1
    firsts = list(display.wiring.line_starts)
    return Assessment(
        display=display.name,
        limit_a=power.limit_a,
        stated=bool(power.model_fields_set),
        dark=dark_load,
        typical=typical,
        typical_of=tuple(c.name for c in scenes),
        white=white_load,
        heaviest=heaviest_load,
        supplies=supply_uses(network, white_load, power.limit_a),
        lowest=_lowest(display, real.led_volts),
        lowest_held=_lowest(display, kept.led_volts),
        needed_v=enough_v(chip),
        first_led_v=tuple(held.led_volts[0][firsts].tolist()),
        wires=wires,
        wire_rows=_together(wires),
        energy=_energy(display, typical),
        wall_m2=display.grid.columns * pitch_x * display.grid.rows * pitch_y / 1e6,
        depth_mm=display.cover.depth_mm,
        solver=_solver((*solved, peaks.rails), network),
        run_volts=tuple(np.split(real.led_volts[lowest_frame], starts)),
    )


def supply_uses(network: Network, white: Load, limit_a: float | None) -> tuple[SupplyUse, ...]:
    """The current of each supply at full white, and if its LEDs alone use up the limit."""
    most_a = np.inf if limit_a is None else limit_a
    starved = white.asked_a / white.drawn_a
    return tuple(
        SupplyUse(
            s.name or "", volts, amps, s.overload, min(drawn * starved, most_a), min(drawn, most_a)
        )
        for s, volts, amps, drawn in zip(
            network.power.supply, network.supply_volts.tolist(), network.supply_amps.tolist(),
            white.supply_a, strict=True,
        )
    )  # fmt: skip


def _frame(rails: Rails, number: int) -> Rails:
    names = Rails.__dataclass_fields__
    return Rails(*(getattr(rails, name)[number : number + 1] for name in names))


def load_of(name: str, display: Display, drives: Bytes, rails: Rails) -> Load:
    """The load of one frame (1, N, C)."""
    leds = nominal_a(drives[0], display.chip)
    return Load(
        name,
        float(leds.sum()),
        float(rails.total_current_a[0]),
        float((rails.supply_volts * rails.supply_current_a).sum()),
        *_shares(display, leds),
        tuple(rails.supply_current_a[0].tolist()),
    )


def _shares(display: Display, leds: Floats) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Sums of (N,) by line and by run."""
    lines = np.bincount(display.wiring.line, leds, len(display.wiring.line_names))
    return tuple(lines.tolist()), tuple(np.bincount(display.wiring.run, leds).tolist())


def _typical(display: Display, scenes: Sequence[Course]) -> Load:
    def mean(values: Sequence[Any]) -> Any:
        return np.mean(values, axis=0)

    leds = mean([c.led_a for c in scenes])
    return Load(
        "typical" if len(scenes) > 1 else "the scene",
        float(leds.sum()),
        float(mean([c.drawn_a.mean() for c in scenes])),
        float(mean([c.supplied_w.mean() for c in scenes])),
        *_shares(display, leds),
        tuple(mean([c.supply_a for c in scenes]).tolist()),
    )


def _lowest(display: Display, led_volts: Floats) -> Lowest:
    wiring = display.wiring
    frame, at = np.unravel_index(led_volts.argmin(), led_volts.shape)
    volts = led_volts[frame, at]
    delivered = headroom(volts, display.chip)
    rgb = np.round(255 * linear_to_srgb(delivered[:3])).astype(int).tolist()
    column, row = (-1, -1) if wiring.hidden[at] else (wiring.column[at], wiring.row[at])
    return Lowest(
        float(volts), int(wiring.line[at]), int(wiring.led[at]), int(column), int(row),
        int(wiring.run[at]), tuple(delivered.tolist()),
        "#{:02x}{:02x}{:02x}".format(*rgb),
    )  # fmt: skip


def wire_uses(network: Network, peaks: Peaks) -> tuple[WireUse, ...]:
    """Every wire, the largest current first."""
    uses = []
    for number, wire in enumerate(network.wires):
        now_a = float(peaks.current_a[number])
        supply_a = None if wire.supply is None else float(network.supply_amps[wire.supply])
        found = fusing(wire, now_a, supply_a)
        uses.append(
            WireUse(
                "supply to bus" if wire.kind == "bus" and wire.begins else wire.kind,
                wire.name, gauge_words(wire.area_mm2), wire.length_m, 1, now_a,
                float(peaks.drop_v[number]), float(peaks.loss_w[number]), found.ampacity_a,
                supply_a, found.fuse_a, found.bears_supply and wire.begins, found.unprotected,
            )
        )  # fmt: skip
    return tuple(sorted(uses, key=lambda use: -use.current_a))


def _together(wires: Sequence[WireUse]) -> tuple[WireUse, ...]:
    """Identical wires in one row, by kind. The fuse of a row suits the wire that carries most."""
    rows: dict[tuple[object, ...], list[WireUse]] = {}
    for wire in wires:  # the largest current comes first
        key = (wire.kind, wire.gauge, round(wire.length_m, 2), wire.supply_a)
        rows.setdefault(key, []).append(wire)
    found = (
        replace(
            same[0],
            count=len(same),
            drop_v=max(w.drop_v for w in same),
            loss_w=sum(w.loss_w for w in same),
            unprotected=any(w.unprotected for w in same),
        )
        for same in rows.values()
    )
    return tuple(sorted(found, key=lambda row: (ROLES.index(row.kind), -row.current_a)))


def _number(value: float) -> float | None:
    return None if np.isnan(value) else value


def gauge_words(area_mm2: float | None) -> str:
    """'AWG 18' for the cross-section of a gauge (ASTM B258), else '2.5 mm²'; '' for None."""
    if area_mm2 is None:
        return ""
    diameter = 2 * np.sqrt(area_mm2 / np.pi)
    awg = 36 - 39 * np.log(diameter / 0.127) / np.log(92)
    return f"AWG {awg:.0f}" if abs(awg - round(awg)) < 1e-6 else f"{area_mm2:g} mm²"


def _energy(display: Display, typical: Load | None) -> Energy | None:
    if typical is None:
        return None
    power = display.power
    kwh = typical.supplied_w * power.hours_a_day / 1000
    return Energy(typical.supplied_w, power.hours_a_day, kwh, power.price_per_kwh)


def _solver(solved: Sequence[Rails], network: Network) -> Solver:
    worst = 0.0
    for rails in solved:
        sums = balance(network, rails)
        missing = np.abs(sums.supplied_w - sums.led_w - sums.loss_w)
        worst = max(worst, float((missing / np.maximum(sums.supplied_w, 1e-9)).max()))
    return Solver(
        all(bool(r.converged.all()) for r in solved),
        max(float(r.residual_a.max()) for r in solved),
        max(int(r.steps.max()) for r in solved),
        worst,
    )
