"""Runs a command, in a pipe or on a terminal, and searches all that it prints and writes."""

from __future__ import annotations

import json
import os
import pty
import random
import select
import signal
import subprocess
import time
from pathlib import Path

from tests.outside.generated_use.payloads import (
    file_name,
    harm_in,
    harm_in_file,
    harmful,
    no_json,
)
from tests.outside.generated_use.running import COMMAND, TRACEBACK, Ran, environment, run


def quoted(text: str) -> str:
    """A TOML string: JSON's escapes are TOML's, except for DEL, which may not stand alone."""
    return json.dumps(text).replace("\x7f", "\\u007f")


def named_wall(rng: random.Random, folder: Path, printable: bool = False) -> Path:
    """A good display file whose every free text does harm."""
    about, *named = (quoted(harmful(rng, printable).replace("\n", " ")) for _ in range(4))
    text = f"""\
about = {about}
[grid]
columns = 8
rows = 4
pitch_mm = 20
[chip]
part = "WS2812B"
[[line]]
name = {named[0]}
run = [{{ from = [0, 0], to = [7, 0] }}, {{ from = [7, 1], to = [0, 1] }}]
[[line]]
name = {named[1]}
run = [{{ from = [0, 2], to = [7, 2] }}, {{ from = [7, 3], to = [0, 3] }}]
[power]
supply = [{{ name = {named[2]}, amps = 0.2 }}]
"""
    path = folder / (file_name(rng) + ".toml" if rng.random() < 0.4 else "wall.toml")
    path.write_text(text)
    return path


def written(ran: Ran, folder: Path, before: set[Path]) -> list[str]:
    """Harm in what was said, and in the files that are new."""
    told = harm_in(ran.out) + harm_in(ran.err) + ran.fell()
    for path in sorted(set(folder.rglob("*")) - before):
        if path.is_file() and not path.is_symlink():
            told += harm_in_file(path)
    return told


def tried(
    arguments: list[str], folder: Path, rng: random.Random, as_json: bool = False
) -> list[str]:
    """Run it, in a pipe or on a terminal; report any harm."""
    before = set(folder.rglob("*"))
    if rng.random() < 0.3:
        said = _on_a_terminal(arguments, folder)
        told = harm_in(said, terminal=True)
        told += [f"a traceback: {said[-400:]!r}"] if TRACEBACK in said else []
    else:
        ran = run(arguments, folder, limit_s=60)
        told = written(ran, folder, before)
        if as_json and ran.out.strip():
            told += no_json(ran.out)
    return [f"{' '.join(arguments)!r}: {t}" for t in told]


def _on_a_terminal(arguments: list[str], folder: Path) -> bytes:
    there, away = pty.openpty()
    process = subprocess.Popen(
        [COMMAND, *arguments], cwd=folder, stdin=away, stdout=away, stderr=away,
        start_new_session=True,
        env=environment(TERM="xterm-256color", COLUMNS="100", NO_COLOR=None),
    )  # fmt: skip
    os.close(away)
    said, end = b"", time.monotonic() + 60
    while time.monotonic() < end:
        if select.select([there], [], [], 0.1)[0]:
            try:
                said += os.read(there, 65536)
            except OSError:
                break
        elif process.poll() is not None:
            break
    if process.poll() is None and time.monotonic() >= end:
        os.killpg(process.pid, signal.SIGKILL)
    process.wait(10)
    os.close(there)
    return said
