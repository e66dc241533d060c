"""A finding: what is wrong, where, what shows it, and what to do."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any, Literal

Severity = Literal["fault", "warning", "note"]


@dataclass(frozen=True)
class Finding:
    """One thing that a check found.

    check: name of the check. what: the finding in one sentence. where: the part of the display
    that it affects ('rows 1, 3, 5', 'line 0, LED 17'). evidence: the observations that show it.
    remedy: what to do. severity: a 'fault' makes the verdict 'fail', a 'warning' makes it
    'warning', a 'note' does not change it. leds: positions in the arrays of the display of the LEDs
    that it names, to mark on a drawing; empty if it names none, or all.
    """

    check: str
    what: str
    where: str
    evidence: str
    remedy: str
    severity: Severity = "fault"
    leds: tuple[int, ...] = field(default=(), compare=False, repr=False)

    def to_json(self) -> dict[str, Any]:
        """All fields in words, as JSON types; `where` names the LEDs."""
        data = asdict(self)
        del data["leds"]
        return data
