"""How well a film was read, and a table of many films."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Mark:
    """How a film was read. Each LED that the plan places is one of these: right, where it is, or
    dark if it is; wrong, elsewhere; lost, called dark though it lights; flagged, uncertain.

    legible: of the LEDs, those that somebody could read who knew where they are (`Take.legible`).
    refused: 1 if the command gave no reading. named: how many faults it named.
    seconds: of the processor for a minute of film; mb: the most memory of any reading so far.
    """

    leds: int
    right: int = 0
    wrong: int = 0
    lost: int = 0
    flagged: int = 0
    legible: int = 0
    refused: int = 0
    named: int = 0
    seconds: float = 0.0
    mb: float = 0.0
    says: str = ""

    def __str__(self) -> str:
        return (
            f"right {self.right} of {self.leds} ({100 * self.right / max(self.leds, 1):.2f} %),"
            f" wrong {self.wrong}, lost {self.lost}, flagged {self.flagged},"
            f" legible {self.legible}; {self.seconds:.0f} s a minute, {self.mb:.0f} MB"
            f" {self.says}".rstrip()
        )


@dataclass(frozen=True)
class Row:
    """A film's mark, with its name, the kind of its setting, its wall, and what was judged."""

    film: str
    kind: str
    wall: str
    version: str
    mark: Mark


def rows_of(log: Path, version: str) -> list[Row]:
    """The last mark of each film at a version, from a file of a row a line."""
    read = [json.loads(line) for line in log.read_text().splitlines()]
    rows = {
        row["film"]: Row(**{**row, "mark": Mark(**row["mark"])})
        for row in read
        if row["version"] == version
    }
    return [*rows.values()]


def table(rows: list[Row]) -> list[str]:
    """Lines of a table, in Markdown: films of each kind and wall, and all of each kind."""
    lines = [
        "| setting | wall | films | refused | LEDs | legible | right | wrong | lost | flagged "
        "| films with a fault named | s a minute |",
        "|" + "---|" * 12,
    ]
    for kind in sorted({row.kind for row in rows}, reverse=True):
        of_kind = [row for row in rows if row.kind == kind]
        walls = sorted({row.wall for row in of_kind})
        for wall in walls:
            lines.append(_line(kind, wall, [row.mark for row in of_kind if row.wall == wall]))
        if len(walls) > 1:
            lines.append(_line(f"**{kind}**", "all", [row.mark for row in of_kind]))
    return lines


def _line(kind: str, wall: str, marks: list[Mark]) -> str:
    leds = sum(mark.leds for mark in marks)

    def share(name: str) -> str:
        count = sum(getattr(mark, name) for mark in marks)
        return f"{100 * count / leds:.2f} %" if count else "0"

    refused = sum(mark.refused for mark in marks)
    cells = [
        kind, wall, len(marks), refused, leds, share("legible"), share("right"), share("wrong"),
        share("lost"), share("flagged"), sum(mark.named > 0 for mark in marks),
        f"{sum(mark.seconds for mark in marks) / len(marks):.0f}",
    ]  # fmt: skip
    return "| " + " | ".join(map(str, cells)) + " |"
