"""Ways to write what an analyser saw: as programs of several makers and countries do.

Column names, preambles and comments are invented. VCD: IEEE 1364-2001, §18. ISO 8601 for dates.
Each dialect takes a `Seen`, names of its lines and a random source, and gives a `Written`.
"""

from __future__ import annotations

import gzip
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np

from tests.outside.generated_physical.sampler import Seen

MOST_ROWS = 60_000
Z = 2  # a level that is neither: 'z' in a VCD
ROUND = {"floor": np.floor, "nearest": np.round}


@dataclass
class Written:
    """A file: its name, its bytes, what must be said to `foreglow decode`, and how rough it is."""

    name: str
    content: bytes
    arguments: list[str] = field(default_factory=list)
    rough_ns: float = 0.0  # how far a written time may be from that of the sample
    lossy: bool = False  # refusing it is an answer, too


Dialect = Callable[[Seen, list[str], np.random.Generator], Written]


def ticks(seen: Seen, tick_ns: float, how: str, origin: int = 0) -> list[int]:
    """Times of all changes and of the end, in whole ticks."""
    at = np.append(seen.at, seen.count).astype(np.float64) - origin
    return [int(t) for t in ROUND[how](at * seen.step_ns / tick_ns + 1e-6)]


def rows(seen: Seen) -> list[list[int]]:
    """Levels of all changes, and once more at the end."""
    return [[int(v) for v in r] for r in [*seen.levels, seen.levels[-1]]]


def _fixed(ns: float, digits: int) -> str:
    return f"{ns * 1e-9:.{digits}f}"


def _text(lines: Iterable[str], newline: str = "\n", encoding: str = "utf-8") -> bytes:
    return (newline.join(lines) + newline).encode(encoding)


def seconds(digits: int = 9, origin: int = 0, newline: str = "\n", encoding: str = "utf-8"):
    """Plain: time in seconds, a row a change."""

    def write(seen: Seen, names: list[str], rng: np.random.Generator) -> Written:
        tick = 10.0 ** (9 - digits)
        lines = ["Time [s]," + ",".join(names)]
        for t, levels in zip(ticks(seen, tick, "nearest", origin), rows(seen), strict=True):
            lines.append(_fixed(t * tick, digits) + "," + ",".join(map(str, levels)))
        return Written("a.csv", _text(lines, newline, encoding), rough_ns=tick / 2)

    return write


def semicolons(seen: Seen, names: list[str], rng: np.random.Generator) -> Written:
    """A country with a decimal comma: preamble of `;` lines, quoted numbers, microseconds."""
    lines = ["; Messung 7", "; Gerät: Pegelschreiber", f"; Abtastrate;{seen.rate / 1e6:g} MHz", ""]
    lines.append(";".join(f'"{n}"' for n in ["Zeit [µs]", *names]))
    for t, levels in zip(ticks(seen, 1.0, "floor"), rows(seen), strict=True):
        number = f"{t / 1000:.3f}".replace(".", ",")
        lines.append(";".join([f'"{number}"', *(f'"{v}"' for v in levels)]))
    return Written("a.csv", _text(lines, "\r\n", "utf-8-sig"), rough_ns=1.0)


def units_row(seen: Seen, names: list[str], rng: np.random.Generator) -> Written:
    """A heading, and below it a row of units; nanoseconds with a fraction."""
    unit, level = [("ns", ""), ("ns", "level"), ("(ns)", "(V)"), ("[ns]", "[-]")][rng.integers(4)]
    lines = ["Time," + ",".join(names), f"{unit}," + ",".join(level for _ in names)]
    for t, levels in zip(ticks(seen, 0.1, "nearest"), rows(seen), strict=True):
        lines.append(f"{t / 10:.1f}," + ",".join(map(str, levels)))
    return Written("a.csv", _text(lines), rough_ns=0.05)


def picoseconds(seen: Seen, names: list[str], rng: np.random.Generator) -> Written:
    """Whole picoseconds, trailing commas, preamble of `#` lines."""
    lines = [f"# recorded with {len(names)} lines", "#", "time_ps," + ",".join(names) + ","]
    for t, levels in zip(ticks(seen, 1e-3, "floor"), rows(seen), strict=True):
        lines.append(f"{t}," + ",".join(map(str, levels)) + ",")
    return Written("a.csv", _text(lines), rough_ns=1e-3)


def high_low(seen: Seen, names: list[str], rng: np.random.Generator) -> Written:
    """H and L, tabs, UTF-16 with a byte order mark."""
    lines = ["Time (ns)\t" + "\t".join(names)]
    for t, levels in zip(ticks(seen, 1, "nearest"), rows(seen), strict=True):
        lines.append(f"{t}\t" + "\t".join("LH"[v] for v in levels))
    return Written("a.csv", _text(lines, "\r\n", "utf-16"), rough_ns=0.5)


def dated(digits: int = 9, comma: bool = False):
    """Times of day with a date, as ISO 8601 has them."""

    def write(seen: Seen, names: list[str], rng: np.random.Generator) -> Written:
        tick = 10 ** (9 - digits)
        begin, start = datetime(2024, 5, 31, 23, 59, 59), int(rng.integers(0, 10**9))
        cut = ";" if comma else ","
        lines = ["Timestamp" + cut + cut.join(names)]
        for t, levels in zip(ticks(seen, tick, "nearest"), rows(seen), strict=True):
            whole, part = divmod(start // tick * tick + t * tick, 10**9)
            text = (begin + timedelta(seconds=whole)).strftime("%Y-%m-%d %H:%M:%S")
            text += (",." if comma else ".,")[0] + f"{part // tick:0{digits}d}"
            lines.append(text + cut + cut.join(map(str, levels)))
        return Written("a.csv", _text(lines), rough_ns=tick / 2)

    return write


def every_sample(seen: Seen, names: list[str], rng: np.random.Generator) -> Written:
    """A row a sample, times in exponents."""
    lines = ["Time(s)," + ",".join(names)]
    for n, levels in enumerate(seen.every()):
        lines.append(f"{n * seen.step_ns * 1e-9:.9E}," + ",".join(map(str, levels)))
    return Written("a.csv", _text(lines), rough_ns=seen.count * seen.step_ns * 5e-10)


def numbered(seen: Seen, names: list[str], rng: np.random.Generator) -> Written:
    """A row a change; the number of the sample comes before its time."""
    lines = ["Sample,Time [ns]," + ",".join(names)]
    for n, t, levels in zip(
        [*seen.at, seen.count], ticks(seen, 1, "nearest"), rows(seen), strict=True
    ):
        lines.append(f"{n},{t}," + ",".join(map(str, levels)))
    return Written("a.csv", _text(lines), rough_ns=0.5, lossy=True)


def only_levels(seen: Seen, names: list[str], rng: np.random.Generator) -> Written:
    """No time at all: the rate must be said."""
    lines = [f"; {seen.rate:g} Hz", ",".join(names)]
    lines += [",".join(map(str, levels)) for levels in seen.every()]
    return Written("a.csv", _text(lines), ["--rate", f"{seen.rate / 1e6:.9g}MHz"])


def bus_bits(seen: Seen, names: list[str], rng: np.random.Generator) -> Written:
    """The bits of one bus as columns."""
    heads = [f"D[{n}]" for n in range(len(names))]
    lines = ["Time [us]," + ",".join(heads)]
    for t, levels in zip(ticks(seen, 1, "nearest"), rows(seen), strict=True):
        lines.append(f"{t / 1000:.3f}," + ",".join(map(str, levels)))
    return Written("a.csv", _text(lines), rough_ns=0.5)


def six_digits(seen: Seen, names: list[str], rng: np.random.Generator) -> Written:
    """Times cut to six digits, as a careless export does: rougher the later."""
    lines = ["time_s," + ",".join(names)]
    at = np.append(seen.at, seen.count) * seen.step_ns * 1e-9
    for t, levels in zip(at, rows(seen), strict=True):
        lines.append(f"{t:.5e}," + ",".join(map(str, levels)))
    return Written("a.csv", _text(lines), rough_ns=at[-1] * 1e9 * 5e-6, lossy=True)


def volts(seen: Seen, names: list[str], rng: np.random.Generator) -> Written:
    """A scope's volts, which are not levels: may be refused, must not be misread."""
    lines = ["Time [s]," + ",".join(names), "s," + ",".join("V" for _ in names)]
    for t, levels in zip(ticks(seen, 1, "nearest"), rows(seen), strict=True):
        noisy = [f"{3.3 * v + rng.normal(0, 0.02):.4f}" for v in levels]
        lines.append(f"{t * 1e-9:.9f}," + ",".join(noisy))
    return Written("a.csv", _text(lines), rough_ns=0.5, lossy=True)


def vcd(unit: str = "1 ns", tick_ns: float = 1.0, how: str = "nearest", style: str = "scalar"):
    """A value change dump: scalars, a bus of its own, bits of a bus, or one among others."""

    def write(seen: Seen, names: list[str], rng: np.random.Generator) -> Written:
        ids = [chr(33 + n) for n in range(len(names))]
        head = ["$date", "   today", "$end", "$version none $end"]
        head += [f"$timescale {unit} $end"] if rng.random() < 0.5 else [
            "$timescale", f"\t{unit}", "$end"]  # fmt: skip
        head.append("$scope module top $end")
        if style == "bus":
            head.append(f"$var wire {len(names)} ! D [{len(names) - 1}:0] $end")
        elif style == "bits":
            head += [f"$var wire 1 {i} D [{n}] $end" for n, i in enumerate(ids)]
        elif style == "joined bits":
            head += [f"$var reg 1 {i} D[{n}] $end" for n, i in enumerate(ids)]
        else:
            head += [f"$var wire 1 {i} {n} $end" for n, i in zip(names, ids, strict=True)]
        if style == "among":
            head += ["$scope module inner $end", "$var real 64 zz level $end", "$upscope $end"]
        head += ["$upscope $end", "$enddefinitions $end"]
        lines, old = [], [None] * len(names)
        first = True
        for t, levels in zip(ticks(seen, tick_ns, how), rows(seen), strict=True):
            lines.append(f"#{t}")
            if first:
                lines.append("$dumpvars")
            if style == "bus" and levels != old:
                word = "".join("01z"[v] for v in reversed(levels))
                lines.append(f"b{word if rng.random() < 0.5 else word.lstrip('0') or '0'} !")
            elif style != "bus":
                lines += [
                    f"{'01z'[v]}{i}" for v, o, i in zip(levels, old, ids, strict=True) if v != o
                ]
            if style == "among" and rng.random() < 0.05:
                lines.append(f"r{rng.random():.3g} zz")
            if first:
                lines.append("$end")
            first, old = False, levels
        rough = tick_ns / 2 if how == "nearest" else tick_ns
        return Written("a.vcd", _text(head + lines), rough_ns=rough)

    return write


def with_rate(dialect: Dialect) -> Dialect:
    """The same, and the rate said."""

    def write(seen: Seen, names: list[str], rng: np.random.Generator) -> Written:
        made = dialect(seen, names, rng)
        made.arguments += ["--rate", f"{seen.rate / 1e6:.9g}MHz"]
        return made

    return write


def raw(seen: Seen, names: list[str], rng: np.random.Generator) -> Written:
    """A byte a sample; the lines are some of its bits, the others make noise."""
    bits = rng.permutation(8)[: len(names)]
    every = seen.every()
    other = np.uint8(sum(1 << int(b) for b in set(range(8)) - set(bits.tolist())))
    samples = rng.integers(0, 256, len(every)).astype(np.uint8) & other
    for n, bit in enumerate(bits):
        samples |= every[:, n] << np.uint8(bit)
    said = ["--rate", f"{seen.rate / 1e6:.9g}MHz"]
    for bit in bits:
        said += ["--bit", str(bit)]
    return Written("a.bin", samples.tobytes(), said)


def packed(order: str):
    """One line, eight samples a byte, the earliest highest ('big') or lowest ('little')."""

    def write(seen: Seen, names: list[str], rng: np.random.Generator) -> Written:
        every = seen.every()[:, 0]
        said = ["--rate", f"{seen.rate / 1e6:.9g}MHz", "--packed"]
        return Written("a.raw", np.packbits(every, bitorder=order).tobytes(), said)

    return write


def zipped(dialect: Dialect) -> Dialect:
    """The same, gzipped (RFC 1952)."""

    def write(seen: Seen, names: list[str], rng: np.random.Generator) -> Written:
        made = dialect(seen, names, rng)
        return replace(made, name=made.name + ".gz", content=gzip.compress(made.content, 1))

    return write


CHANGES: dict[str, Dialect] = {
    "seconds": seconds(),
    "seconds, 10 ns": seconds(8),
    "seconds, 100 ns": seconds(7),
    "dates, 10 ns": dated(8),
    "seconds, ps, negative": seconds(12, origin=1000),
    "seconds, CR LF": seconds(newline="\r\n", encoding="utf-8-sig"),
    "seconds, rate said": with_rate(seconds()),
    "UTF-16": seconds(encoding="utf-16"),
    "semicolons": semicolons,
    "units row": units_row,
    "ps": picoseconds,
    "H and L": high_low,
    "dates": dated(),
    "dates, comma": dated(9, comma=True),
    "bus bits": bus_bits,
    "numbered": numbered,
    "six digits": six_digits,
    "volts": volts,
    "vcd ns": vcd(),
    "vcd ns floor": vcd(how="floor"),
    "vcd 10 ns": vcd("10 ns", 10),
    "vcd 10ns floor": vcd("10ns", 10, "floor"),
    "vcd 100 ns": vcd("100 ns", 100),
    "vcd ps": vcd("1ps", 1e-3),
    "vcd 100 ps floor": vcd("100 ps", 0.1, "floor"),
    "vcd bus": vcd(style="bus"),
    "vcd bits": vcd("1 ps", 1e-3, style="bits"),
    "vcd joined bits": vcd(style="joined bits"),
    "vcd among others": vcd(style="among"),
    "vcd rate said": with_rate(vcd()),
    "vcd gz": zipped(vcd()),
    "csv gz": zipped(seconds()),
}
SAMPLES: dict[str, Dialect] = {
    "every sample": every_sample,
    "only levels": only_levels,
    "raw": raw,
    "packed": packed("big"),
    "packed, earliest lowest": packed("little"),
}
