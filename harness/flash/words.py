"""Flashes in words: how often, when, where, over how much of the field."""

from __future__ import annotations

from harness.flash.judge import MOST_FLASHES, Flashing


def described(kind: Flashing) -> str:
    """One kind in words: how often, when, where, over how much of the field."""
    if not kind.most and not kind.in_step:
        return f"no {kind.kind} flash"
    plural = "es" if kind.most != 1 else ""
    place = (
        f"{kind.most} {kind.kind} flash{plural} at column {kind.column}, row {kind.row} from"
        f" {kind.from_ns / 1e9:.2f} s to {kind.to_ns / 1e9:.2f} s"
    )
    if kind.area_sr:
        place += (
            f"; more than {MOST_FLASHES} a second on {kind.area_sr:.4f} sr,"
            f" {kind.area_share:.0%} of a 10° field"
        )
    if kind.in_step > MOST_FLASHES:
        place += f"; {kind.in_step} a second of a field as a whole"
    return place
