"""The instruments: current, voltage, time on the wire, frames, and the view."""

from __future__ import annotations

from dataclasses import dataclass

from emulator.view.status import Status, Supply
from emulator.view.viewing import Viewing

_UNKNOWN = "none"


@dataclass(frozen=True)
class Gauge:
    """One instrument. `name` and `value` share a line; `detail` is small, below it and any bar.

    filled: how much of the bar, 0…1; None: no bar. mark: where on the bar the limit is, 0…1.
    alarm: a sign marks the detail (the value, if there is no detail), whose words say what is
    wrong.
    """

    name: str
    value: str
    detail: str = ""
    filled: float | None = None
    mark: float | None = None
    alarm: bool = False


def gauges(viewing: Viewing, status: Status) -> tuple[Gauge, ...]:
    """The instruments in their order, as many as layout.GAUGE_HIGHS."""
    return (
        *_supply_gauges(status.supply),
        _wire(status),
        _missed(status),
        _rate(status),
        Gauge("Seen from", viewing.distance_words),
        Gauge("Light around", viewing.light_words, _other_light(viewing)),
        Gauge("Colours", viewing.colour_words),
    )


def _supply_gauges(supply: Supply | None) -> tuple[Gauge, Gauge]:
    if supply is None:
        return Gauge("Current", _UNKNOWN), Gauge("Lowest rail", _UNKNOWN)
    scale_a = max(supply.rated_a, supply.limit_a or 0.0)
    limit = "no limit set" if supply.limit_a is None else f"limit {supply.limit_a:.4g} A"
    current = Gauge(
        "Current",
        f"{supply.current_a:.1f} of {supply.rated_a:.4g} A",
        supply.trouble or limit,
        min(supply.current_a / scale_a, 1.0),
        None if supply.limit_a is None else supply.limit_a / scale_a,
        bool(supply.trouble),
    )
    rail = Gauge(
        "Lowest rail",
        f"{supply.lowest_v:.2f} of {supply.nominal_v:g} V",
        filled=min(supply.lowest_v / supply.nominal_v, 1.0),
    )
    return current, rail


def _wire(status: Status) -> Gauge:
    if status.wire_ns is None or status.period_ns is None:
        return Gauge("Wire time", _UNKNOWN)
    share = status.wire_ns / status.period_ns
    words = "longer than a frame" if share > 1 else f"{share:.0%} of a frame".replace("%", " %")
    value, over = f"{status.wire_ns / 1e6:.1f} ms", share > 1
    return Gauge("Wire time", value, words, min(share, 1.0), alarm=over)


def _missed(status: Status) -> Gauge:
    """How many frames were missed; below, how many of each kind."""
    words = ", ".join(f"{count} {how}" for count, how in status.missed if count)
    total = sum(count for count, _ in status.missed)
    return Gauge("Missed", f"{total} frame{'s' * (total != 1)}", words, alarm=bool(words))


def _rate(status: Status) -> Gauge:
    if status.frame_rate is None:
        return Gauge("Frames/s", _UNKNOWN)
    of = "" if status.wanted is None else f" of {status.wanted:g}"
    return Gauge("Frames/s", f"{status.frame_rate:.1f}{of}")


def _other_light(viewing: Viewing) -> str:
    """The keys for the ambient light, which changes the picture most."""
    if viewing.night:
        return "E: ends the night"
    return "PgDn: darker, E: night" if viewing.ambient_lx else "PgUp: lighter, E: night"
