"""Display files as people write them: any size, part, wiring and state of `[power]`, in any style.

Every comment is unique, so that a test finds it in a file that was written again. TOML
1.0: tables and arrays of tables in any order, inline tables, dotted and quoted keys, LF or CR LF.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

VOLTS = {"WS2812B": 5.0, "SK6812": 5.0, "APA102": 5.0, "SK6812-RGBW": 5.0, "WS2815": 12.0}


@dataclass
class File:
    """A display file: what it says, as text and as data, and its comments."""

    text: str
    data: dict[str, Any]
    comments: list[str] = field(default_factory=list)
    newline: str = "\n"


def draw(rng: np.random.Generator, stated: float = 0.45, most: int = 220) -> File:
    """A wall of at most so many cells; each key of `[power]` is stated with that chance."""
    part = str(rng.choice(list(VOLTS)))
    columns = int(rng.integers(1, 31))
    rows = int(rng.integers(1, max(2, min(20, most // columns) + 1)))
    pitch = float(rng.choice([6.944, 10, 16.667, 33.333, 50, 62.5, 100]))
    grid: dict[str, Any] = {"columns": columns, "rows": rows, "pitch_mm": pitch}
    if rng.random() < 0.2:
        grid["row_pitch_mm"] = round(pitch * float(rng.uniform(0.8, 1.6)), 2)
    if columns > 4 and rows > 3 and rng.random() < 0.35:
        gap = {"column": int(rng.integers(1, columns - 2)), "row": int(rng.integers(1, rows - 1))}
        grid["gaps"] = [gap | ({"columns": 2} if rng.random() < 0.5 else {})]
    data: dict[str, Any] = {"about": "Wand über dem Büffet “Süd”", "grid": grid}
    data["chip"] = {"part": part}
    if rng.random() < 0.3:
        data["chip"]["channel_ma"] = round(float(rng.uniform(5, 25)), 1)
    if rng.random() < 0.2:
        data["chip"]["dark_ma"] = round(float(rng.uniform(0.2, 2)), 2)
    along = str(rng.choice(["rows", "columns"]))
    strips = rows if along == "rows" else columns
    lines = int(rng.integers(1, min(4, strips) + 1)) if rng.random() < 0.4 else 1
    data["wiring"] = {
        "start": str(rng.choice(["top-left", "top-right", "bottom-left", "bottom-right"])),
        "along": along, "path": str(rng.choice(["serpentine", "progressive"])), "lines": lines,
    }  # fmt: skip
    data["power"] = _power(rng, data, stated)
    if rng.random() < 0.3:
        data["view"] = {"distance_m": 4.5}
    return write(data, rng)


def leds_of_lines(data: dict[str, Any]) -> list[int]:
    """How many LEDs each line has: blocks of strips, the first ones larger."""
    grid, wiring = data["grid"], data["wiring"]
    lit = np.ones((grid["rows"], grid["columns"]), bool)
    for gap in grid.get("gaps", []):
        r, c = gap["row"], gap["column"]
        lit[r : r + gap.get("rows", 1), c : c + gap.get("columns", 1)] = False
    strips = lit.sum(axis=1 if wiring["along"] == "rows" else 0)
    if wiring["start"].startswith("bottom" if wiring["along"] == "rows" else ("never",)):
        strips = strips[::-1]
    if wiring["along"] == "columns" and wiring["start"].endswith("right"):
        strips = strips[::-1]
    return [int(s.sum()) for s in np.array_split(strips, wiring["lines"])]


def full_amps(data: dict[str, Any]) -> tuple[float, float]:
    """(all channels of all LEDs at full drive, none): the catalogue's 20 mA a channel and 1 mA."""
    leds, chip = sum(leds_of_lines(data)), data["chip"]
    channels = 4 if chip["part"].endswith("W") else 3
    dark = chip.get("dark_ma", 1.0)
    return leds * (channels * chip.get("channel_ma", 20.0) + dark) / 1e3, leds * dark / 1e3


def _wire(rng: np.random.Generator, thick: bool) -> dict[str, Any]:
    if rng.random() < 0.3:
        return {"mm2": float(rng.choice([4, 6, 10] if thick else [0.75, 1, 1.5, 2.5]))}
    return {"awg": int(rng.choice([8, 10, 12] if thick else [14, 16, 18, 20]))}


def _power(rng: np.random.Generator, data: dict[str, Any], stated: float) -> dict[str, Any]:
    full, dark = full_amps(data)
    lines, made = leds_of_lines(data), {}
    said = rng.random(10) < stated
    supplies = 1
    if said[0]:
        supplies = int(rng.integers(1, len(lines) + 1))
        made["supply"] = []
        for n in range(supplies):
            one: dict[str, Any] = {"name": f"supply of side {n}"} if rng.random() < 0.5 else {}
            if rng.random() < 0.8:
                one["amps"] = round(full / supplies * float(rng.uniform(1.3, 3)) + 1, 1)
            if rng.random() < 0.2:
                one["volts"] = VOLTS[data["chip"]["part"]] + 0.1
            if rng.random() < 0.2:
                one["source_ohm"] = round(float(rng.uniform(0.0005, 0.01)) / (1 + full / 5), 5)
            made["supply"].append(one or {"overload": "trip"})
    if said[1]:
        made["limit_a"] = round(dark + (full - dark) * float(rng.uniform(0.1, 1.1)), 2)
    if said[2] or said[4] or supplies > 1:  # else runs without a feed have no power
        made["jumper"] = _wire(rng, False) | {"length_m": round(float(rng.uniform(0.03, 0.3)), 3)}
    if said[3]:
        made["bus"] = []
        for n in range(supplies):
            bus = _wire(rng, True) | {"to_first_m": round(float(rng.uniform(0.1, 1.5)), 2)}
            if rng.random() < 0.5:
                bus["between_m"] = round(float(rng.uniform(0.02, 0.3)), 3)
            made["bus"].append(bus | ({"supply": n} if n else {}))
    if said[4] or supplies > 1:
        made["feed"] = []
        for n, leds in enumerate(lines):
            for led in sorted({0, leds - 1} if rng.random() < 0.6 else {0}):
                feed: dict[str, Any] = {"line": n, "led": int(led), "supply": n % supplies}
                if rng.random() < 0.5:
                    feed |= _wire(rng, False)
                if rng.random() < 0.4:
                    feed["length_m"] = round(float(rng.uniform(0.05, 0.5)), 2)
                if rng.random() < 0.2:
                    feed["connector_mohm"] = float(rng.integers(0, 12))
                made["feed"].append({k: v for k, v in feed.items() if v or k == "led"})
    if said[5]:
        made["rail_ohm_per_m"] = round(float(rng.uniform(0.02, 0.25)), 3)
    if said[6]:
        made["copper_c"] = float(rng.integers(5, 60))
    if said[7]:
        made["hours_a_day"] = float(rng.integers(1, 24))
        made["price_per_kwh"] = 0.27
    return made


class _Writer:
    """Puts data into TOML in a style that changes as it goes."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng, self.comments = rng, list[str]()

    def chance(self, of: float) -> bool:
        return bool(self.rng.random() < of)

    def comment(self, of: float = 0.3) -> str:
        if not self.chance(of):
            return ""
        words = [
            "größer geht nicht",
            'a "quoted" word',
            "x = 3",
            "[power]",
            "siehe Plan {7}",
            "\té",
        ]
        self.comments.append(f"# c{len(self.comments)}c {self.rng.choice(words)}")
        return "   " + self.comments[-1]

    def value(self, value: Any, indent: str = "    ") -> str:
        if isinstance(value, bool):
            return str(value).lower()
        if isinstance(value, str):
            return f"'{value}'" if self.chance(0.3) else f'"{value}"'
        if isinstance(value, dict):
            pad = " " if self.chance(0.6) else ""
            inside = [f"{k}{' = ' if self.chance(0.7) else '='}{self.value(v)}"
                      for k, v in self.shuffled(value)]  # fmt: skip
            return "{" + pad + ", ".join(inside) + pad + "}"
        if isinstance(value, list):
            if value and isinstance(value[0], dict) and self.chance(0.6):
                rows = [f"{indent}{self.value(v)},{self.comment()}" for v in value]
                return "\n".join([f"[{self.comment()}", *rows, "]"])
            return "[" + ", ".join(self.value(v) for v in value) + "]"
        if isinstance(value, float) and value == int(value) and self.chance(0.5):
            return str(int(value))
        return str(value)

    def shuffled(self, table: dict[str, Any]) -> list[tuple[str, Any]]:
        items = list(table.items())
        if self.chance(0.6):
            self.rng.shuffle(items)  # type: ignore[arg-type]
        return items

    def table(self, name: str, table: dict[str, Any]) -> list[str]:
        plain, after = [], []
        for key, value in self.shuffled(table):
            if (
                isinstance(value, list)
                and value
                and isinstance(value[0], dict)
                and self.chance(0.4)
            ):
                for one in value:
                    after += [f"[[{name}.{key}]]{self.comment()}"]
                    after += [self.pair(k, v) for k, v in self.shuffled(one)]
            elif isinstance(value, dict) and self.chance(0.4):
                after += [f"[{name}.{key}]{self.comment()}"]
                after += [self.pair(k, v) for k, v in self.shuffled(value)]
            else:
                plain.append(self.pair(key, value))
        head = [] if not plain and after and self.chance(0.5) else [f"[{name}]{self.comment()}"]
        return head + plain + after

    def pair(self, key: str, value: Any) -> str:
        name = f'"{key}"' if self.chance(0.1) else key
        end = self.comment() if not (isinstance(value, list) and "\n" in str(value)) else ""
        return f"{name}{' = ' if self.chance(0.8) else '='}{self.value(value)}{end}"


def write(data: dict[str, Any], rng: np.random.Generator) -> File:
    """The data in some style."""
    pen = _Writer(rng)
    lines = [pen.comment(0.7).strip(), pen.pair("about", data["about"])]
    tables = [(k, v) for k, v in data.items() if isinstance(v, dict)]
    rng.shuffle(tables)  # type: ignore[arg-type]
    for name, table in tables:
        lines.append("")
        if pen.chance(0.4):
            lines.append(pen.comment(1).strip())
        if table or pen.chance(0.5):
            lines += pen.table(name, table)
    if pen.chance(0.4):
        lines.append(pen.comment(1).strip())
    newline = "\r\n" if pen.chance(0.25) else "\n"
    text = "\n".join(lines) + ("\n" if pen.chance(0.85) else "")
    return File(text.replace("\n", newline), data, pen.comments, newline)
