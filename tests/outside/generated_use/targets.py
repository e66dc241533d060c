"""Files that a command is asked to write: the user's own, links, devices, folders, odd names."""

from __future__ import annotations

import contextlib
import os
import random
import re
import signal
import socket
import stat
import time
from pathlib import Path

from tests.outside.generated_use import commands
from tests.outside.generated_use.commands import WRITERS, Writer
from tests.outside.generated_use.disk import can_mount, small_disk
from tests.outside.generated_use.processes import Going
from tests.outside.generated_use.running import run

ODD = (
    "a b", "ä ö", "日本", "100%", "-dash", "a'b", 'a"b', "{x}", "[red]", "a;b", "$HOME", "~",
    "a\\b", "*",
    "new\nline", "?q=1", "#f", "a&b", "tab\tx", ".hidden", "x" * 240, "esc\x1b[31m",
    "%n", "COM1",
)  # fmt: skip


def snapshot(folder: Path) -> dict[str, object]:
    """Every entry below a folder: kind, and what it holds."""
    found: dict[str, object] = {}
    for path in sorted(folder.rglob("*")):
        at = str(path.relative_to(folder))
        state = path.lstat()
        kind = stat.S_IFMT(state.st_mode)
        if stat.S_ISLNK(state.st_mode):
            found[at] = ("link", os.readlink(path))
        elif stat.S_ISREG(state.st_mode):
            found[at] = (kind, path.read_bytes(), state.st_mode & 0o7777, state.st_ino)
        else:
            found[at] = kind
    return found


def _changed(before: dict[str, object], after: dict[str, object], but: str = "") -> list[str]:
    return [
        f"{name!r} of the user's is {'gone' if name not in after else 'changed'}"
        for name, state in before.items()
        if after.get(name) != state and name != but
    ]


def _rests(before: dict[str, object], after: dict[str, object], but: str) -> list[str]:
    new = [n for n in after if n not in before and n != but and not n.startswith(but + "/")]
    return [f"left behind: {name!r}" for name in new if not name.startswith("foreglow-out")]


def _contents(rng: random.Random, folder: Path) -> bytes:
    """What a user's file may hold: also what looks like ours at a glance."""
    drawn = rng.randrange(10)
    if drawn == 0:
        return b""
    if drawn == 1:
        return b"foreglow\n"
    if drawn == 2:
        return (folder / "wall.toml").read_bytes()
    if drawn == 3:
        return b"line,led,column,row\n0,0,0,0\n"
    if drawn == 4:
        return b"<svg xmlns='http://www.w3.org/2000/svg'><text>foreglow is fine</text></svg>"
    if drawn == 5:
        return b"\x89PNG\r\n\x1a\n" + rng.randbytes(300)
    if drawn == 6:
        return b"My notes. Made by foreglow? No, by me. foreglow foreglow\n" * 3
    if drawn == 7:
        return b'{"made_by": "me", "about": "foreglow"}'
    if drawn == 8:
        return b"$comment made with foreglow in mind $end\n$timescale 1 ns $end\n"
    return rng.randbytes(rng.randint(1, 4000))


def theirs(rng: random.Random, folder: Path) -> list[str]:
    """A file of the user's or a way to it is the target: without --force nothing of it changes."""
    commands.prepared(folder)
    writer = rng.choice(WRITERS)
    name = f"target{commands.suffix(rng, writer).strip()}"
    target = folder / name
    place = folder / "theirs"
    place.mkdir()
    mine = place / f"precious{target.suffix}"
    mine.write_bytes(_contents(rng, folder))
    way = rng.choice(("file", "file", "file", "link", "hard", "folder", "read-only", "deep"))
    given = name
    if way == "file":
        target.write_bytes(mine.read_bytes())
    elif way == "link":
        target.symlink_to(rng.choice((mine, Path("theirs") / mine.name)))
    elif way == "hard":
        target.hardlink_to(mine)
    elif way == "folder":
        target.mkdir()
        (target / "precious").write_bytes(b"mine")
    elif way == "read-only":
        target.write_bytes(mine.read_bytes())
        target.chmod(0o444)
    else:
        given = f"theirs/../theirs/{mine.name}"
    before = snapshot(folder)
    ran = run(writer.asked(given), folder, limit_s=90)
    after = snapshot(folder)
    told = ran.fell()
    if writer.open_ended and writer.arguments[0] == "run":  # a log goes on below what it held
        for at in (name, str(mine.relative_to(folder))):
            old, new = before.get(at), after.get(at)
            if isinstance(old, tuple) and isinstance(new, tuple) and old[0] == new[0]:
                if not (isinstance(new[1], bytes) and new[1].startswith(old[1])):
                    told.append(f"{at} of the user's has changed")
            elif old != new:
                told.append(f"{at} of the user's is another thing now")
        return _with(told, writer, way, ran.said)
    told += _changed(before, after)
    told += _rests(before, after, name)
    if not writer.folder and ran.status == 0 and writer.arguments[0] != "run":
        told.append("exit status 0")
    return _with(told, writer, way, ran.said)


def _with(told: list[str], writer: Writer, way: str, said: str) -> list[str]:
    return [f"{' '.join(writer.arguments)}, {way}: {t} — {said[-200:]!r}" for t in told]


def display_itself(rng: random.Random, folder: Path) -> list[str]:
    """The display file, or any way to it, is the target: never, not even with --force."""
    commands.prepared(folder)
    writer = rng.choice(
        [w for w in WRITERS if "wall.toml" in w.arguments or w.arguments[0] == "export"]
    )
    way = rng.choice(("itself", "dotted", "link", "hard", "absolute", "linked folder"))
    ending = commands.suffix(rng, writer).strip()
    given = {
        "itself": "wall.toml",
        "dotted": "./x/../wall.toml",
        "absolute": str(folder / "wall.toml"),
    }
    (folder / "x").mkdir()
    if way == "link":
        (folder / f"target{ending}").symlink_to("wall.toml")
    elif way == "hard":
        (folder / f"target{ending}").hardlink_to(folder / "wall.toml")
    elif way == "linked folder":
        (folder / "y").symlink_to(".")
        given[way] = "y/wall.toml"
    target = given.get(way, f"target{ending}")
    before = snapshot(folder)
    arguments = writer.asked(target, force=rng.random() < 0.7)
    if rng.random() < 0.5 and "wall.toml" in arguments:
        arguments[arguments.index("wall.toml")] = rng.choice(
            (str(folder / "wall.toml"), "./wall.toml")
        )
    ran = run(arguments, folder, limit_s=90)
    after = snapshot(folder)
    told = ran.fell()
    if before["wall.toml"] != after.get("wall.toml"):
        told.append("the display file has changed")
    same = (folder / target).resolve() == (folder / "wall.toml").resolve() or way == "hard"
    if ran.status == 0 and same and writer.arguments[0] not in ("run", "record", "listen"):
        told.append("exit status 0")
    return _with(told, writer, way, ran.said)


def own_again(rng: random.Random, folder: Path) -> list[str]:
    """What foreglow wrote it overwrites again; CSV carries no mark and needs --force."""
    commands.prepared(folder)
    writer = rng.choice([w for w in WRITERS if w.force])
    ending = commands.suffix(rng, writer)
    target = f"target{ending}"
    first = run(writer.asked(target), folder, limit_s=90)
    told = first.fell()
    if first.status not in (0, 1) or not (folder / target).exists():
        return _with([f"not written, exit status {first.status}"], writer, target, first.said)
    wrote = (folder / target).read_bytes()
    again = run(writer.asked(target, force=ending == ".csv"), folder, limit_s=90)
    told += again.fell()
    if again.status != first.status:
        told.append(f"not overwritten, exit status {again.status}")
    mine = b"mine, " + wrote[: rng.randint(0, 3)]
    (folder / target).write_bytes(mine)
    refused = run(writer.asked(target), folder, limit_s=90)
    if refused.status != 2 or (folder / target).read_bytes() != mine:
        told.append(f"the user's is overwritten, exit status {refused.status}")
    forced = run(writer.asked(target, force=True), folder, limit_s=90)
    if forced.status != first.status or (folder / target).read_bytes() == mine:
        told.append(
            f"--force does not overwrite, exit status {forced.status}: {forced.said[-200:]}"
        )
    return _with(told, writer, target, again.said)


def strange(rng: random.Random, folder: Path) -> list[str]:
    """Devices, pipes, sockets, missing and closed folders, odd names, wrong endings."""
    commands.prepared(folder)
    writer = rng.choice(WRITERS)
    ending = commands.suffix(rng, writer).strip()
    way = rng.choice((
        "full", "fifo", "socket", "dangling", "loop", "missing", "closed", "below a file", "odd",
        "odd",
        "wrong ending", "no ending", "long",
    ))  # fmt: skip
    if way == "closed" and os.geteuid() == 0 and not can_mount():
        way = "missing"
    target, good = f"target{ending}", False
    with contextlib.ExitStack() as stack:
        path = folder / target
        if way == "full":
            target = rng.choice(("/dev/full", "linked" + ending))
            (folder / ("linked" + ending)).symlink_to("/dev/full")
        elif way == "fifo":
            os.mkfifo(path)
        elif way == "socket":
            heard = stack.enter_context(socket.socket(socket.AF_UNIX))
            heard.bind(str(path))
        elif way == "dangling":
            path.symlink_to("nowhere" + ending)
        elif way == "loop":
            path.symlink_to(target)
        elif way == "missing":
            target = f"none/at all/{target}"
        elif way == "closed":
            if os.geteuid() == 0:  # root writes everywhere but here
                stack.enter_context(small_disk(folder / "closed", 64, read_only=True))
            else:
                (folder / "closed").mkdir(mode=0o555)
            target = f"closed/{target}"
        elif way == "below a file":
            target = f"wall.toml/{target}"
        elif way == "odd":
            good = True
            target = rng.choice(ODD)[: 250 - len(ending)] + ending
            target = f"./{target}" if target.startswith("-") else target
        elif way == "wrong ending":
            target = f"target{rng.choice(('.docx', '.exe', '.toml.bak', '.jpeg2', '.PNGX', '.py'))}"
        elif way == "no ending":
            target = rng.choice(("target", "target.", "..", "."))
        else:
            target = "x" * 300 + ending
        before = snapshot(folder)
        ran = run(writer.asked(target), folder, limit_s=90)
        after = snapshot(folder)
        told = ran.fell()
        name = target.removeprefix("./")
        told += _changed(before, after)
        if stat.S_ISCHR(os.stat("/dev/full").st_mode) is False:
            told.append("/dev/full is not a device any more")
        if ran.status == 2 or not good:
            told += [t for t in _rests(before, after, name) if way != "dangling"]
        if good and not writer.open_ended and not any(c in target for c in "?#"):
            if ran.status not in (0, 1) and not _control(target):
                told.append(f"exit status {ran.status} for a name as good as any")
            elif ran.status in (0, 1) and not (folder / target).exists():
                told.append("not written")
        bad = way in ("fifo", "socket", "loop", "missing", "closed", "below a file", "long", "full")
        if bad and ran.status not in (1, 2):
            told.append(f"exit status {ran.status}")
        by_ending = writer.suffixes and not (writer.folder or writer.open_ended)
        by_ending = by_ending and not any(
            a.startswith(("vcd:", "--format")) for a in writer.arguments
        )
        if way == "wrong ending" and by_ending and ran.status != 2:
            told.append(f"exit status {ran.status}")
        if way == "missing" and (folder / "none").exists():
            told.append("a folder was made in silence")
        return _with(told, writer, f"{way} {target[:40]!r}", ran.said)


def _control(name: str) -> bool:
    return bool(re.search(r"[\x00-\x1f\x7f]", name))


def killed(rng: random.Random, folder: Path) -> list[str]:
    """SIGKILL in the middle of writing: the next call leaves the file whole, and nothing hidden."""
    commands.prepared(folder)
    writer = rng.choice([w for w in WRITERS if not w.open_ended])
    target = f"target{commands.suffix(rng, writer).strip()}"
    before = snapshot(folder)
    kills = rng.randint(1, 3)
    for _ in range(kills):
        with Going(writer.asked(target), folder) as going:
            going.wait(rng.uniform(0.6, 2.5))
            going.kill(signal.SIGKILL)
            going.wait(5)
            time.sleep(0.1)
    told = _changed(before, snapshot(folder))
    if writer.folder or not writer.force:
        # What a kill left is read, or refused in a sentence; a whole second is not lost.
        ran = run(writer.asked(target), folder, limit_s=90)
        told += ran.fell()
        extra = [n for n in snapshot(folder) if Path(n).name.startswith(".")]
        return _with(told + [f"hidden: {n}" for n in extra], writer, "killed", ran.said)
    ran = run(writer.asked(target, force=True), folder, limit_s=90)
    after = snapshot(folder)
    told += ran.fell() + _changed(before, after) + _rests(before, after, target)
    if ran.status not in (0, 1) or not (folder / target).exists():
        told.append(f"not written afterwards, exit status {ran.status}")
    return _with(told, writer, "killed", ran.said)
