"""Harmful text in files, folders and options."""

from __future__ import annotations

import json
import random
import shutil
from pathlib import Path

from tests.outside.generated_use import commands
from tests.outside.generated_use.payloads import (
    file_name,
    harmful,
    raw,
)
from tests.outside.generated_use.running import wall
from tests.outside.generated_use.trying import named_wall, quoted, tried


def display_texts(rng: random.Random, folder: Path) -> list[str]:
    """About, names of lines and supplies, the file's name: table, CSV, JSON, C, SVG, reports."""
    name = named_wall(rng, folder, printable=rng.random() < 0.8).name
    asked = rng.choice((
        ["map", name], ["map", name, "-o", "o.json"], ["map", name, "-o", "o.csv"],
        ["map", name, "-o", "o.h"],
        ["map", name, "-o", "o.c"], ["map", name, "-o", "o.svg"],
        ["map", name, "--format", "c", "-o", "o.h"],
        ["map", name, "--format", "json"], ["map", name, "--format", "svg"],
        ["check", name], ["check", name, "--json"], ["light", name, "--plot", "o.svg"],
        ["light", name, "--json"],
        ["power", name, "--plot", "o.svg"], ["power", name, "--json"],
        ["power", name, "--plan", "4.5"],
        ["power", name, "--plan", "4.5", "--write", "o.toml"],
        ["flash", name, "rows", "--seconds", "1", "--plot", "o.svg"],
        ["soak", name, "rows", "--hours", "0.002", "--fault", "none", "--plot", "o.svg"],
        ["record", name, "rows", "--seconds", "1", "-o", "o"],
        ["service", name, "rows", "--to", "vcd:x.vcd"],
        ["run", name, "rows", "--to", "vcd:o.vcd", "--for", "1s", "--log", "o.log"],
        ["listen", name, "--e131", "--address", "e131://127.0.0.1:0", "--to", "memory:", "--for",
            "1s"],
        ["render", name, "rows", "-o", "o.png"],
    ))  # fmt: skip
    return tried(asked, folder, rng, as_json="--json" in asked or asked[-1] == "json")


def display_faults(rng: random.Random, folder: Path) -> list[str]:
    """Harm where a display file is wrong: keys, values, paths, parts; raw bytes too."""
    path = wall(folder)
    text = path.read_text()
    bad = quoted(harmful(rng))
    change = rng.choice((
        ('"top-left"', bad), ("start", bad), ("[grid]", f"[{bad}]\nx = 1\n[grid]"),
        ('"WS2812B"', bad),
        ('"RGB"', bad), ("columns = 8", f"columns = {bad}"), ('start = "top-left"', f"map = {bad}"),
        ("[controller]", f"[canvas]\ncurve = {bad}\n[controller]"),
        ("rows = 4", f"rows = 4\ngaps = [{bad}]"),
        ("[controller]", f"[power]\nfeed = [{{ {bad} = 1 }}]\n[controller]"),
        ("[controller]", f"[cover]\nwalls = {bad}\n[controller]"),
        ("[controller]", f"[view]\n{bad} = {bad}\n{bad} = 1\n[controller]"),
        ("columns = 8", f"columns = [{bad}, {{ {bad} = {bad} }}]"),
    ))  # fmt: skip
    data = text.replace(*change, 1).encode()
    if rng.random() < 0.3:
        at = rng.randrange(len(data))
        data = data[:at] + raw(rng) + data[at:]
    path.write_bytes(data)
    return tried([rng.choice(("map", "check", "light", "power")), "wall.toml"], folder, rng)


def tables(rng: random.Random, folder: Path) -> list[str]:
    """Headings and cells of CSV maps and captures, names in a VCD, quoted bad lines."""
    commands.prepared(folder)
    bad = harmful(rng).replace("\n", " ")
    cell = rng.choice((bad, '"' + bad.replace('"', '""') + '"'))
    asked, data = rng.choice((
        (["check", "wall.toml", "--map", "bad.csv"], f"line,led,column,row,{cell}\n0,0,0,0,1\n"),
        (["check", "wall.toml", "--map", "bad.csv"], f"{cell},led,column,row\n0,0,0,0\n"),
        (["check", "wall.toml", "--map", "bad.csv"], f"line,led,column,row\n0,{cell},0,0\n"),
        (["check", "wall.toml", "--map", "bad.csv"], f"line,led,column,row\n{cell}\n"),
        (["decode", "bad.csv", "--chip", "WS2812B"], f"Time[s],{cell}\n0,0\n1e-6,1\n"),
        (["decode", "bad.csv", "--chip", "WS2812B"], f"Time[s],D0,{cell}\n0,0,1\n1e-6,1,{cell}\n"),
        (["decode", "bad.csv", "--chip", "WS2812B", "--json"], f"{cell}\n{cell},{cell}\n"),
        (["decode", "bad.csv", "--chip", "WS2812B"], f"Time[{cell}],D0\n0,0\n1e-6,1\n"),
        (["listen", "wall.toml", "--capture", "bad.csv", "--to", "memory:"],
            f"Time[s],{cell}\n0,{cell}\n"),
        (["decode", "bad.vcd", "--chip", "WS2812B"], None),
        (["decode", "bad.vcd", "--chip", "WS2812B", "--json"], None),
        (["decode", "bad.vcd", "--chip", bad], None),
        (["decode", "bad.vcd", "--display", "wall.toml"], None),
    ))  # fmt: skip
    if data is None:
        vcd = (folder / "capture.vcd").read_text()
        word = bad.replace(" ", "_")
        how = rng.randrange(5)
        if how == 0:  # a signal's name
            head, rest = vcd.split("$var", 1)
            line, rest = rest.split("$end", 1)
            parts = line.split()
            parts[3] = word
            vcd = f"{head}$var {' '.join(parts)} $end{rest}"
        elif how == 1:
            vcd = f"$comment {bad} $end\n$date {bad} $end\n$version {bad} $end\n" + vcd
        elif how == 2:
            vcd = vcd.replace("$enddefinitions", f"$scope module {word} $end\n$enddefinitions", 1)
        elif how == 3:
            vcd += f"\n{word}\n#{word}\n"
        else:
            vcd = vcd.replace("$timescale", f"$timescale {word} $end $timescale", 1)
        (folder / "bad.vcd").write_text(vcd)
    (folder / "bad.csv").write_bytes(
        (data or "").encode() + (raw(rng) if rng.random() < 0.2 else b"")
    )
    return tried(asked, folder, rng, as_json="--json" in asked)


def names(rng: random.Random, folder: Path) -> list[str]:
    """File names, options and words that are not known, on the command line."""
    commands.prepared(folder)
    name = file_name(rng)
    (folder / (name + ".csv")).write_text("line,led,column,row\n0,0,0,0\n")
    (folder / (name + ".py")).write_text("picture = None\n")
    shutil.copytree(folder / "rec", folder / name)
    asked = rng.choice((
        ["map", name], ["map", name + ".toml"], [name], ["map", "wall.toml", "--" + name],
        ["map", "wall.toml", "--format", name], ["map", "wall.toml", "-o", name + ".svg"],
        ["map", "wall.toml", "-o", f"none{name}/x.svg"], ["map", "wall.toml", "-o", name + ".docx"],
        ["check", "wall.toml", "--only", name], ["check", "wall.toml", "--call", name],
        ["check", "wall.toml", "--call", f"{name}:f"],
        ["check", "wall.toml", "--map", name + ".csv"],
        ["check", "wall.toml", "--program", name],
        ["check", "wall.toml", "--program", f"'{name}' {{port}}"],
        ["render", "wall.toml", name], ["render", "wall.toml", name + ".py"],
        ["render", "wall.toml", "--at", name],
        ["render", "wall.toml", "--now", name],
        ["render", "wall.toml", "rows", "-o", name + ".png"],
        ["render", "wall.toml", "--compare", name], ["export", name, name + ".png"],
        ["export", name + "x", "x.png"],
        ["compare", name, "other"], ["compare", name, "rec"],
        ["export", name, "x.csv", "--from", name],
        ["record", "wall.toml", "rows", "--seconds", "1", "-o", name + "2"],
        ["light", "wall.toml", "--distance", name],
        ["run", "wall.toml", "rows", "--to", name],
        ["run", "wall.toml", "rows", "--to", f"{name}:x"],
        ["run", "wall.toml", "rows", "--to", f"serial:///{name}", "--for", "1s"],
        ["run", "wall.toml", "rows", "--to", f"e131://127.0.0.1?{name}=1"],
        ["run", "wall.toml", "rows", "--to", f"vcd:{name}.vcd", "--for", "1s", "--log", "o.log"],
        ["run", "wall.toml", name + ".py", "--to", "e131://127.0.0.1:9", "--for", "1s", "--log",
            "o.log"],
        ["soak", "wall.toml", "rows", "--fault", name], ["power", "wall.toml", "--measured", name],
        ["listen", "wall.toml", "--e131", "--address", f"e131://{name}"],
        ["decode", name + ".vcd", "--chip", name],
        ["service", "wall.toml", name + ".py", "--to", f"vcd:{name}"],
        ["new", name + ".toml", "--columns", "3"],
        ["new", name + ".toml", "--columns", "4", "--rows", "3"],
        ["new", "n.toml", "--columns", "4", "--rows", name],
        ["listen", "wall.toml", "--serial", "--name", name + "p", "--to", "memory:", "--for", "1s"],
    ))  # fmt: skip
    return tried(asked, folder, rng)


def recordings(rng: random.Random, folder: Path) -> list[str]:
    """A recording's index says what display and file it is of."""
    commands.prepared(folder)
    index = folder / "rec/index.jsonl"
    head, *rest = index.read_text().splitlines()
    fields = json.loads(head)
    for key in rng.sample(sorted(fields), rng.randint(1, 3)):
        fields[key] = (
            harmful(rng) if rng.random() < 0.7 or key in ("display", "file") else fields[key]
        )
    if rng.random() < 0.3:
        rest[0] = rng.choice(
            (rest[0].replace("000000.npz", json.dumps(harmful(rng))[1:-1]), harmful(rng))
        )
    index.write_text("\n".join((json.dumps(fields), *rest)) + "\n")
    asked = rng.choice((
        ["export", "rec", "o.png"], ["export", "rec", "o.csv"],
        ["export", "rec", "o.csv", "--display", "wall.toml"],
        ["export", "rec", "o.png", "--display", "wall.toml"], ["compare", "rec", "other"],
        ["compare", "rec", "other", "--json"],
        ["compare", "other", "rec", "--display", "wall.toml"],
        ["flash", "wall.toml", "rec", "--plot", "o.svg"], ["flash", "wall.toml", "rec", "--json"],
        ["render", "wall.toml", "rec", "-o", "o.png"],
    ))  # fmt: skip
    return tried(asked, folder, rng, as_json="--json" in asked)
