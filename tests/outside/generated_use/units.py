"""`foreglow service`: units for any folder, name and option, and what systemd starts from them."""

from __future__ import annotations

import contextlib
import itertools
import random
import re
import shutil
import signal
import socket
import subprocess
import time
from pathlib import Path

from tests.outside.generated_use import scenes
from tests.outside.generated_use.processes import Going, until
from tests.outside.generated_use.running import COMMAND, run, wall

PIECES = (
    "wall", "my wall", "100%", "%n", "%h%%", "$HOME", "${X}", "a'b", 'a"b', "a\\b", "ä",
    "日本", "-x",
    ";", "#1", "(1)", "&", "a=b", "*", "[x]", "~", "tab\there", "@", "!", "a, b", "\\x20", "$$",
    "{}",
)  # fmt: skip


def unit(rng: random.Random, folder: Path) -> list[str]:
    """systemd-analyze accepts the unit, and reads from it the very command that was asked for."""
    place, arguments = _asked(rng, folder)
    ran = run(["service", *arguments], place)
    told = ran.fell()
    if ran.status == 2 and any(ord(c) < 32 for c in "".join((str(place), *arguments))):
        return told  # no unit need hold control characters, if it says so
    if ran.status != 0:
        return [*told, f"exit status {ran.status}: {ran.said[-300:]}"]
    text = ran.out.decode()
    expected = [COMMAND, "run", *arguments]
    got = words(_value(text, "ExecStart"))
    if not _same(got, expected):
        told.append(f"starts {got}, asked for {expected}")
    if specified(_value(text, "WorkingDirectory")) != str(place):
        told.append(f"WorkingDirectory={_value(text, 'WorkingDirectory')!r}, it is {str(place)!r}")
    for key in ("Restart", "WatchdogSec", "MemoryMax", "WantedBy", "After", "StandardOutput"):
        if not _value(text, key):
            told.append(f"no {key}=")
    if shutil.which("systemd-analyze"):
        path = folder / "foreglow-test.service"
        path.write_text(text)
        verified = subprocess.run(
            ["systemd-analyze", "verify", str(path)], capture_output=True, text=True, check=False
        )
        if verified.returncode or str(path) in verified.stderr:
            told.append(f"systemd-analyze: {verified.stderr[-400:]}")
    return told


def _asked(rng: random.Random, folder: Path) -> tuple[Path, list[str]]:
    place = folder / rng.choice(PIECES)
    place.mkdir()
    name = rng.choice(PIECES) + ".toml"
    wall(place, name=name)
    scene = rng.choice(PIECES) + ".py"
    scenes.plain(place).rename(place / scene)
    arguments = [_named(name), _named(scene), "--to", "serial:///dev/ttyACM0"]
    if rng.random() < 0.5:
        arguments += ["--to", f"vcd:{rng.choice(PIECES)}.vcd?each=10min"]
    if rng.random() < 0.5:
        arguments += ["--record", _named(rng.choice(PIECES))]
    if rng.random() < 0.5:
        arguments += ["--otherwise", "aurora"]
    if rng.random() < 0.5:
        arguments += ["--patience", rng.choice(("2s", "10s"))]
    if rng.random() < 0.5:
        arguments += ["--memory", rng.choice(("500MB", "2GB"))]
    return place, arguments


def _named(name: str) -> str:
    return f"./{name}" if name.startswith("-") else name


def _same(got: list[str], asked: list[str]) -> bool:
    """The same words, whatever the order of options and whichever defaults are written out."""
    if got[:4] != asked[:4]:
        return False
    rest = list(got[4:])
    for option, value in zip(asked[4::2], asked[5::2], strict=True):
        at = next((n for n in range(len(rest) - 1) if rest[n : n + 2] == [option, value]), None)
        if at is None:
            return False
        del rest[at : at + 2]
    return all(option in ("--patience", "--memory", "--to") for option in rest[::2])


def _value(text: str, key: str) -> str:
    found = re.findall(rf"^{key}=(.*)$", text, re.MULTILINE)
    return found[-1] if found else ""


def specified(text: str) -> str:
    """Specifiers of systemd.unit(5) that stand for a percent sign."""
    return text.replace("%%", "%")


def words(line: str) -> list[str]:
    """A command line as systemd splits it: systemd.service(5), 'Command lines'."""
    found: list[str] = []
    at = 0
    while at < len(line):
        if line[at] in " \t":
            at += 1
            continue
        word, quote = "", ""
        while at < len(line) and (quote or line[at] not in " \t"):
            c = line[at]
            if c == "\\":
                piece, at = _escape(line, at + 1)
                word += piece
                continue
            if quote and c == quote:
                quote = ""
            elif (not quote and c in "'\"" and not word) or (not quote and c in "'\""):
                quote = c
            else:
                word += c
            at += 1
        found.append(specified(word).replace("$$", "$"))
    return found


def _escape(line: str, at: int) -> tuple[str, int]:
    simple = {"a": "\a", "b": "\b", "f": "\f", "n": "\n", "r": "\r", "t": "\t", "v": "\v", "s": " "}
    c = line[at]
    if c in simple:
        return simple[c], at + 1
    for letter, digits in (("x", 2), ("u", 4), ("U", 8)):
        if c == letter:
            return chr(int(line[at + 1 : at + 1 + digits], 16)), at + 1 + digits
    return c, at + 1


def notified(rng: random.Random, folder: Path) -> list[str]:
    """sd_notify(3), at a socket of ours: ready, alive as long as WATCHDOG_USEC asks, stopping."""
    wall(folder)
    scenes.write(folder, f"time.sleep({rng.choice((0, 0, 4, 7))})\npicture = _bright\n")
    abstract = rng.random() < 0.3
    name = f"\0foreglow-{time.monotonic_ns()}" if abstract else str(folder / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard:
        heard.bind(name)
        heard.settimeout(0.1)
        period_s = rng.choice((2.5, 3.5))
        env = {"NOTIFY_SOCKET": name.replace("\0", "@"), "WATCHDOG_USEC": f"{period_s * 1e6:.0f}"}
        arguments = ["run", "wall.toml", "scene.py", "--to", "e131://127.0.0.1:9"]
        arguments += ["--patience", "20s"]
        with Going(arguments, folder, **env) as going:
            got: list[tuple[float, str]] = []

            def more() -> bool:
                with contextlib.suppress(TimeoutError):
                    got.append((time.monotonic(), heard.recv(4096).decode()))
                return False

            until(lambda: more() or any("READY=1" in text for _, text in got), 20)
            until(more, max(3 * period_s, 9))
            going.kill(signal.SIGTERM)
            until(lambda: more() or going.ended, 15)
            until(more, 0.3)
        told = [] if any("READY=1" in t for _, t in got) else ["it is never ready"]
        alive = [at for at, text in got if "WATCHDOG=1" in text]
        begun = [at for at, text in got if "READY=1" in text or "WATCHDOG=1" in text]
        gaps = [round(b - a, 2) for a, b in itertools.pairwise(begun)]
        if len(alive) < 3 or max(gaps) > period_s:
            told.append(f"signs of life {gaps}, due every {period_s} s")
        if not any("STOPPING=1" in text for _, text in got):
            told.append("it does not say that it stops")
        return told
