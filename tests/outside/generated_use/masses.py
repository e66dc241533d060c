"""Faults by the megabyte: what they cost, and how many of them are reported."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from pathlib import Path

from tests.outside.generated_use.running import run, wall

MOST_MB = 500

BASE = '[grid]\ncolumns = {c}\nrows = {r}\npitch_mm = 20\n[chip]\npart = "WS2812B"\n'
WIRING = '[wiring]\nstart = "top-left"\nalong = "rows"\npath = "progressive"\n'


def _keys(rng: random.Random, n: int) -> str:
    table = rng.choice(("grid", "chip", "canvas", "view", "cover", "power", "controller"))
    rows = [f"{rng.choice(('strat', 'colums', 'k'))}{i} = {i}" for i in range(n)]
    text = BASE.format(c=8, r=4) + WIRING
    if f"[{table}]\n" in text:
        return text.replace(f"[{table}]\n", f"[{table}]\n" + "\n".join(rows) + "\n")
    return text + f"[{table}]\n" + "\n".join(rows)


def _tables(rng: random.Random, n: int) -> str:
    return BASE.format(c=8, r=4) + WIRING + "".join(f"[wirin{i}]\nstart = 1\n" for i in range(n))


def _duplicates(rng: random.Random, n: int) -> str:
    return BASE.format(c=8, r=4) + WIRING + 'start = "top-left"\n' * n


def _runs(rng: random.Random, n: int) -> str:
    c, r = rng.choice(((8, 4), (100, 100)))
    run_ = rng.choice(("{{ from = [0, 0], to = [7, 0] }}", "{{ from = [{i}, 0], to = [7, 3] }}",
                       "{{ from = [7, {j}], to = [0, {j}] }}",
                       "{{ from = [-1, {i}], to = [0, 0] }}",
                       "{{ from = [0], to = 7 }}", "{{ form = [0, 0], to = [7, 0] }}"))  # fmt: skip
    runs = ",\n".join(run_.format(i=i, j=i % 4) for i in range(n))
    return BASE.format(c=c, r=r) + f"[[line]]\nrun = [{runs}]\n"


def _lines(rng: random.Random, n: int) -> str:
    body = rng.choice(
        ("", "run = []\n", "run = [{ from = [0, 0], to = [1, 0] }]\n", "nam = 1\n", 'name = "a"\n')
    )
    return BASE.format(c=8, r=4) + f"[[line]]\n{body}" * n


def _gaps(rng: random.Random, n: int) -> str:
    c = rng.choice((8, 60))
    gap = rng.choice(("{{ column = {k}, row = 0 }}",
        "{{ column = 0, row = 0, columns = 2, rows = 2 }}",
                      "{{ column = {i}, row = {i} }}", "{{ colum = 1 }}", "3"))  # fmt: skip
    gaps = ", ".join(gap.format(i=i, k=i % c) for i in range(n))
    return (
        BASE.format(c=c, r=c).replace("pitch_mm = 20\n", f"pitch_mm = 20\ngaps = [{gaps}]\n")
        + WIRING
    )


def _feeds(rng: random.Random, n: int) -> str:
    feed = rng.choice(("{{ led = {i} }}", "{{ led = {i}, supply = {i} }}",
        "{{ line = {i}, led = 0 }}",
                       "{{ led = 0, awg = {i} }}", "{{ lde = 0 }}", "{{ led = 'a' }}"))  # fmt: skip
    feeds = ",\n".join(feed.format(i=i) for i in range(n))
    return BASE.format(c=8, r=4) + WIRING + f"[power]\nfeed = [\n{feeds}\n]\n"


def _supplies(rng: random.Random, n: int) -> str:
    supply = rng.choice(
        ("{{ amps = -{i} }}", "{{ volts = 'x' }}", "{{ amp = {i} }}", "{{ amps = {i} }}")
    )
    supplies = ", ".join(supply.format(i=i + 1) for i in range(n))
    return BASE.format(c=8, r=4) + WIRING + f"[power]\nsupply = [{supplies}]\n"


def _nested(rng: random.Random, n: int) -> str:
    n *= 4
    way = rng.choice(
        ("[" * n, "{ a = " * n, "a" + ".a" * n + " = 1", '"' + "x" * n * 8, "'''" + "\n" * n)
    )
    return BASE.format(c=8, r=4) + WIRING + "[view]\ndistance_m = " + way + "\n"


def _syntax(rng: random.Random, n: int) -> str:
    row = rng.choice(("= = =\n", "x\n", "[[[]]]\n", "a = [1,\n", "\u2028 = 1\n", "a = 0x\n"))
    return BASE.format(c=8, r=4) + WIRING + row * n


def _values(rng: random.Random, n: int) -> str:
    value = rng.choice(("9" * n * 4, "[" + "1," * n * 3 + "]", '"' + "\\u001b[31m" * n + '"',
                        "{" + ", ".join(f"k{i} = 1" for i in range(n)) + "}",
                        "1" + "_1" * n))  # fmt: skip
    return BASE.format(c=8, r=4).replace("columns = 8", f"columns = {value}") + WIRING


def _comments(rng: random.Random, n: int) -> str:
    return "".join(f"# {'x' * 20} {i}\n" for i in range(n)) + BASE.format(c=8, r=4) + WIRING


def _strings(rng: random.Random, n: int) -> str:
    return BASE.format(c=8, r=4) + WIRING.replace("start", f'reel = "{"y" * n * 8}"\nstart')


TOML: tuple[Callable[[random.Random, int], str], ...] = (
    _keys, _tables, _duplicates, _runs, _lines, _gaps, _feeds, _supplies, _nested, _syntax, _values,
    _comments, _strings,
)  # fmt: skip


def _cells(rng: random.Random, n: int) -> str:
    row = rng.choice((
        "0,{i},0,0", "0,{i},{k},{j}", "0,0,0,0", "x,y,z,w", "0,{i},0", "0,{i},0,0,0,0", "{i},0,0,0",
        "-1,-1,-1,-1", "0,{i},99999999999999999999,0", "0,{i},1.5,0", ",,,", '"0,{i},0,0',
        "0;{i};0;0",
        "0,{i},0,\x1b[31m",
    ))  # fmt: skip
    heading = rng.choice(
        ("line,led,column,row", "line,led,column,row", "led,row,column", "a,b,c,d")
    )
    return heading + "\n" + "\n".join(row.format(i=i, k=i % 8, j=i // 8) for i in range(n)) + "\n"


def many_faults(rng: random.Random, folder: Path) -> list[str]:
    """Half a megabyte of faults, and nearly one: the cost doubles; 20 and a number are named."""
    wall(folder)
    make = rng.choice((*TOML, *TOML, _cells, _cells))
    seed = rng.random()

    def sized(most: int) -> str:
        one = len(make(random.Random(seed), 1000)) - len(make(random.Random(seed), 500))
        n = max(1, int(most * 500 / max(one, 1)))
        text = make(random.Random(seed), n)
        return make(random.Random(seed), int(n * most / len(text))) if len(text) > most else text

    if make is _cells:
        asked = ["check", "wall.toml", "--map", "bad.csv", "--only", "map"]
        name = "bad.csv"
    else:
        asked = [rng.choice(("map", "check", "light")), "bad.toml"]
        name = "bad.toml"
    took = []
    for size in (0, 480_000, 960_000):
        text = sized(size) if size else BASE.format(c=8, r=4) + WIRING
        if make is _cells and not size:
            text = make(random.Random(seed), 1)
        (folder / name).write_text(text)
        ran = run(asked, folder, limit_s=60)
        took.append(ran)
    none, half, whole = took
    told = whole.fell(MOST_MB) + half.fell(MOST_MB)
    if whole.status == 0 and make is not _comments:
        return told  # these are not faults: nothing to report
    # A ratio of two runs, without the start that both need. Below 1 s any ratio is fine.
    slow, slower = half.cpu_s - none.cpu_s, whole.cpu_s - none.cpu_s
    if slower > 1.5 and slower > 3 * max(slow, 0.05):
        told.append(f"CPU {slow:.1f} s for half, {slower:.1f} s for the whole")
    if slower > 4:
        told.append(f"CPU {slower:.1f} s")
    if whole.peak_mb > none.peak_mb + 250:
        told.append(f"memory {none.peak_mb:.0f} → {whole.peak_mb:.0f} MB")
    if len(whole.said) > 20_000:
        told.append(f"{len(whole.said)} characters of faults")
    faults = len(re.findall(r"(?m)\bline \d+[:,]", whole.err.decode(errors="replace")))
    if faults > 22:
        told.append(f"{faults} faults are reported")
    if faults >= 20 and not re.search(r"\b(more|further|other|rest)\b", whole.said):
        told.append(f"the rest is not counted: {whole.said[-300:]!r}")
    return [f"{make.__name__} {asked[0]}: {t}" for t in told]
