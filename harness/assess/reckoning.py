"""Reckons an assessment: solves the display dark, white and at its heaviest, and sums up."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emulator.canvas import current_a
from emulator.description.display import Display
from emulator.picture.srgb import linear_to_srgb
from emulator.power.balance import Balance, balance
from emulator.power.load import headroom
from emulator.power.network import Network, build_network
from emulator.power.solve import Rails, solve_rails
from emulator.power.wire import ampacity_a, fuse_a
from emulator.power.worst import uniform_drives, worst_frames
from harness.assess.assessment import (
    Assessment,
    Energy,
    Load,
    Lowest,
    Solver,
    SupplyUse,
    WireUse,
)
from harness.assess.course import Course

Floats = NDArray[np.float64]
Bytes = NDArray[np.uint8]


def assess(display: Display, scenes: Sequence[Course] = ()) -> Assessment:
    """Solve the display dark, at full white, and at the heaviest its limit lets through.

    scenes: followed scenes, whose mean is the typical load.
    """
    network, chip, power = build_network(display), display.chip, display.power
    white = uniform_drives(display, 1.0)
    held = solve_rails(network, np.concatenate([uniform_drives(display, 0.0), white]), chip, np.inf)
    dark_load = _load("dark", display, uniform_drives(display, 0.0), _frame(held, 0))
    white_load = _load("full white", display, white, _frame(held, 1))
    heaviest_load, candidates = white_load, worst_frames(display, network, power.limit_a)
    if len(candidates) > 1:
        limited = candidates[:1]
        limited_rails = solve_rails(network, limited, chip, np.inf)
        heaviest_load = _load("at the limit", display, limited, limited_rails)
    # A supply that trips carries the load until it does; one that folds back gives no more.
    trips = np.array([s.overload == "trip" for s in network.power.supply])
    real = solve_rails(network, candidates, chip, np.where(trips, np.inf, network.supply_amps))
    kept = solve_rails(network, candidates, chip, np.inf)
    lowest_frame = int(real.led_volts.min(axis=1).argmin())
    solved = (held, real, kept)
    spread, spread_balance = _spread(display, network, candidates)
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
        supplies=_supplies(network, white_load, power.limit_a),
        lowest=_lowest(display, real.led_volts),
        lowest_held=_lowest(display, kept.led_volts),
        needed_v=max(chip.channel_forward_v) + chip.dropout_v,
        first_led_v=tuple(held.led_volts[0][firsts].tolist()),
        wires=_wires(network, spread_balance, power.limit_a),
        energy=_energy(display, typical),
        wall_m2=display.grid.columns * pitch_x * display.grid.rows * pitch_y / 1e6,
        solver=_solver((*solved, spread), network),
        run_volts=tuple(np.split(real.led_volts[lowest_frame], starts)),
    )


def _supplies(network: Network, white: Load, limit_a: float | None) -> tuple[SupplyUse, ...]:
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


def _load(name: str, display: Display, drives: Bytes, rails: Rails) -> Load:
    """The load of one frame (1, N, C)."""
    leds = current_a(drives[0][:, None, :], display.chip)
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
        "typical",
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
    return Lowest(
        float(volts), int(wiring.line[at]), int(wiring.led[at]), int(wiring.column[at]),
        int(wiring.row[at]), int(wiring.run[at]), tuple(delivered.tolist()),
        "#{:02x}{:02x}{:02x}".format(*rgb),
    )  # fmt: skip


def _spread(display: Display, network: Network, worst: Bytes) -> tuple[Rails, Balance]:
    """White everywhere, on every other run, on either half of the LEDs, and the worst frames.

    A wire between two places alike carries nothing when all is lit, but does when half is.
    """
    white, dark = uniform_drives(display, 1.0)[0], uniform_drives(display, 0.0)[0]
    odd = display.wiring.run % 2 == 1
    half = np.arange(display.leds) * 2 >= display.leds
    lit = np.stack([np.ones_like(odd), odd, ~odd, half, ~half])
    drives = np.concatenate([np.where(lit[..., None], white, dark), worst])
    rails = solve_rails(network, drives, display.chip, np.inf)
    return rails, balance(network, rails)


def _wires(network: Network, spread: Balance, limit_a: float | None) -> tuple[WireUse, ...]:
    """Largest current first. No wire carries more than the limit of the whole display."""
    currents = spread.wire_current_a
    frame = currents.argmax(axis=0)
    every = np.arange(len(network.wires))
    amps = currents[frame, every]
    part = np.minimum(1, (limit_a or np.inf) / np.maximum(amps, 1e-12))
    drops, losses = spread.wire_drop_v[frame, every] * part, spread.wire_loss_w[frame, every]
    uses = []
    buses_seen: set[str] = set()  # supplies have names of their own: see judge_power
    for number in every.tolist():
        wire, now_a = network.wires[number], float(amps[number] * part[number])
        most = None if wire.area_mm2 is None else _number(float(ampacity_a(wire.area_mm2)))
        bus = wire.name.split(", to feed")[0]
        fused = wire.kind == "feed" or (wire.kind == "bus" and bus not in buses_seen)
        buses_seen.add(bus)
        fuse = fuse_a(now_a, wire.area_mm2) if fused and wire.area_mm2 is not None else None
        uses.append(
            WireUse(
                wire.kind, wire.name, gauge_words(wire.area_mm2), wire.length_m, now_a,
                float(drops[number]), float(losses[number] * part[number] ** 2), most, fuse,
                fused and fuse is None,
            )
        )  # fmt: skip
    return tuple(sorted(uses, key=lambda use: -use.current_a))


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
