"""Default places of results, full disks, and two commands at once."""

from __future__ import annotations

import random
import shutil
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tests.outside.generated_use import commands
from tests.outside.generated_use.commands import WRITERS
from tests.outside.generated_use.disk import can_mount, small_disk
from tests.outside.generated_use.running import run
from tests.outside.generated_use.targets import snapshot

UNTOLD = (
    ["check", "wall.toml", "--only", "wire"], ["render", "wall.toml", "rows", "--width", "64"],
    ["light", "wall.toml"], ["power", "wall.toml"],
    ["flash", "wall.toml", "rows", "--seconds", "1"],
    ["soak", "wall.toml", "rows", "--hours", "0.002", "--fault", "none"],
    ["compare", "rec", "other"], ["decode", "capture.vcd", "--display", "wall.toml"],
    ["listen", "wall.toml", "--capture", "capture.vcd", "--to", "memory:"],
    ["power", "wall.toml", "rows", "--seconds", "1"],
)  # fmt: skip


def untold(rng: random.Random, folder: Path) -> list[str]:
    """The user's files are where a command writes by default: they stay unchanged."""
    first, second = folder / "first", folder / "second"
    for place in (first, second):
        place.mkdir()
        commands.prepared(place)
    asked = rng.choice(UNTOLD)
    before = set(snapshot(first))
    ran = run(asked, first)
    told = ran.fell()
    new = [n for n in snapshot(first) if n not in before and (first / n).is_file()]
    if not new:
        return [f"{asked} writes nothing: {ran.said[-200:]}"] if asked[0] != "decode" else []
    way = rng.choice(("file", "file", "folder is a file", "link"))
    target = second / rng.choice(new)
    precious = second / "precious"
    precious.write_bytes(b"mine")
    if way == "folder is a file" and target.parent != second:
        target.parent.write_bytes(b"mine")
    else:
        target.parent.mkdir(exist_ok=True)
        if way == "link":
            target.symlink_to(precious)
        else:
            target.write_bytes(rng.choice((b"", b"mine", rng.randbytes(500))))
    theirs = snapshot(second)
    ran = run(asked, second)
    after = snapshot(second)
    told += ran.fell()
    told += [f"{n} of the user's has changed" for n, was in theirs.items() if after.get(n) != was]
    told += [f"hidden: {n}" for n in after if Path(n).name.startswith(".")]
    return [f"{' '.join(asked)}, {way} at {target.name}: {t} — {ran.said[-200:]!r}" for t in told]


def full(rng: random.Random, folder: Path) -> list[str]:
    """The disk is full in the middle: what was there stays whole, and nothing is left behind."""
    if not can_mount():
        return []
    commands.prepared(folder)
    writer = rng.choice([w for w in WRITERS if not w.open_ended and w.arguments[0] != "run"])
    ending = commands.suffix(rng, writer).strip()
    with small_disk(folder / "disk", 4096):
        target = f"disk/target{ending}"
        was = b""
        if writer.force and rng.random() < 0.6:
            done = run(writer.asked(target), folder)
            if (folder / target).exists():
                was = (folder / target).read_bytes()
            elif done.status not in (0, 1):
                return []
        room = rng.choice((0, 0, 4096, 8192))
        _fill(folder / "disk/ballast", room)
        before = snapshot(folder / "disk")
        ran = run(writer.asked(target, force=ending == ".csv"), folder, limit_s=90)
        after = snapshot(folder / "disk")
        told = ran.fell()
        if ran.status in (0, 1) and not writer.folder:
            if not (folder / target).exists() or not (folder / target).stat().st_size:
                told.append(f"exit status {ran.status}, and nothing is there")
        elif was and (folder / target).read_bytes() != was:
            told.append("what was there is not whole")
        elif not was and not writer.folder and writer.arguments[0] != "listen":
            told += [f"left behind: {n}" for n in after if n not in before]
        told += [f"hidden: {n}" for n in after if Path(n).name.startswith(".")]
        return [
            f"{' '.join(writer.arguments)}, {room} B left: {t} — {ran.said[-200:]!r}" for t in told
        ]


def _fill(path: Path, room: int) -> None:
    """Leave only so many bytes on the disk."""
    free = shutil.disk_usage(path.parent).free
    path.write_bytes(bytes(max(0, free - room)))


def at_once(rng: random.Random, folder: Path) -> list[str]:
    """Several commands write one file at the same time: it is whole, nothing crashes or is left."""
    commands.prepared(folder)
    writer = rng.choice([w for w in WRITERS if w.force])
    target = f"target{commands.suffix(rng, writer).strip()}"
    before = set(snapshot(folder))
    with ThreadPoolExecutor(3) as pool:
        runs = list(pool.map(lambda _: run(writer.asked(target, force=True), folder), range(3)))
    told = [t for ran in runs for t in ran.fell()]
    if {ran.status for ran in runs} - {0, 1}:
        told.append(f"exit status {[ran.status for ran in runs]}: {runs[0].said[-200:]}")
    left = [n for n in snapshot(folder) if n not in before and n != target]
    told += [f"left behind: {n}" for n in left if not n.startswith("foreglow-out")]
    return [f"{' '.join(writer.arguments)}: {t}" for t in told]
