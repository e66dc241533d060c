"""Harmful text from scenes, boards, sources and code under test while something runs."""

from __future__ import annotations

import json
import random
import signal
import socket
import sys
import threading
import time
from pathlib import Path

from tests.outside.generated_use import scenes
from tests.outside.generated_use.board import Board
from tests.outside.generated_use.payloads import (
    file_name,
    harm_in,
    harm_in_file,
    harm_in_html,
    harm_in_text,
    harmful,
    raw,
)
from tests.outside.generated_use.processes import Going, until
from tests.outside.generated_use.running import run, wall
from tests.outside.generated_use.trying import named_wall, tried, written
from tests.outside.generated_use.universe import data_packet, sync_packet


def scene_texts(rng: random.Random, folder: Path) -> list[str]:
    """What a scene raises and prints: log, terminal and window of a show, and of other commands."""
    wall(folder)
    bad = harmful(rng)
    act = rng.choice((
        f"raise ValueError({bad!r})",
        f"raise type({bad!r}.replace(chr(0), ''), (Exception,), {{}})(1)",
        f"print({bad!r}, flush=True)", f"print({bad!r}, file=sys.stderr, flush=True)",
        f"os.write(1, {raw(rng)!r}); os.write(2, {raw(rng)!r})", f"raise SystemExit({bad!r})",
        f"__import__('warnings').warn({bad!r})", f"__import__('logging').error({bad!r})",
        f"threading.Thread(target=lambda: int({bad!r})).start()", f"return {bad!r}",
        f"subprocess.run(['printf', '%s', {bad.replace(chr(0), '')!r}])",
        f"exec(compile('1/0', {bad!r}.replace(chr(0), ''), 'exec'))",
        f"raise KeyError({bad!r}) from OSError({bad!r})",
        f"raise ExceptionGroup({bad!r}, [ValueError({bad!r})])",
        f"e = ValueError('x'); e.add_note({bad!r}); raise e", f"eval({bad!r}.replace(chr(0), ''))",
        f"raise UnicodeDecodeError('utf-8', b'x', 0, 1, {bad!r})",
    ))  # fmt: skip
    scenes.write(folder, f"""
def picture(time_s, display):
    if time_s > 0.2 or {rng.random() < 0.5}:
        {act}
    return _bright(time_s, display)
""")  # fmt: skip
    show = ["--to", "e131://127.0.0.1:9", "--for", "2s"]
    asked = rng.choice((
        ["run", "wall.toml", "scene.py", *show, "--log", "o.log"],
        ["run", "wall.toml", "rows", "--otherwise", "scene.py", *show],
    ))  # fmt: skip
    # Other commands play it in their own process: what it prints there is the user's own doing.
    if not any(word in act for word in ("print", "write", "warn", "log", "Thread", "compile")):
        asked = rng.choice((
            asked, ["soak", "wall.toml", "scene.py", "--hours", "0.001", "--fault", "none"],
            ["render", "wall.toml", "scene.py", "--at", "1s"],
            ["record", "wall.toml", "scene.py", "--seconds", "1", "-o", "o"],
            ["flash", "wall.toml", "scene.py", "--seconds", "1"],
            ["power", "wall.toml", "scene.py", "--seconds", "1"],
        ))  # fmt: skip
    told = tried(asked, folder, rng)
    # The traceback of the user's own code is what is wanted.
    return [f"{act[:60]}: {t}" for t in told if "traceback" not in t]


def network_names(rng: random.Random, folder: Path) -> list[str]:
    """Names of E1.31 sources, in the output of `listen` and `check --listen`."""
    wall(folder)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
        out.bind(("127.0.0.1", 0))
        port = _free_port()
        over = threading.Event()

        def send() -> None:
            n = 0
            while not over.is_set():
                for source in range(3):
                    packet = data_packet(
                        rng.randbytes(96), 1, cid=bytes([source]) * 16, sequence=n,
                        priority=100 + 10 * source,
                        name=named[source], start=rng.choice((0, 0, 0, 0xDD)),
                        sync=rng.choice((0, 0, 7)),
                    )  # fmt: skip
                    out.sendto(packet, ("127.0.0.1", port))
                if n % 5 == 0:
                    out.sendto(sync_packet(7, cid=bytes([2]) * 16, sequence=n), ("127.0.0.1", port))
                n += 1
                time.sleep(0.02)

        named = [raw(rng).replace(b"\0", b"")[:63] for _ in range(3)]
        thread = threading.Thread(target=send)
        thread.start()
        try:
            address = f"e131://127.0.0.1:{port}"
            asked = rng.choice((
                ["listen", "wall.toml", "--e131", "--address", address, "--to", "memory:", "--for",
                    "2s"],
                ["listen", "wall.toml", "--e131", "--address", address, "--to", "vcd:o.vcd",
                    "--for", "2s"],
                ["check", "wall.toml", "--listen", "2s", "--address", address],
                ["check", "wall.toml", "--listen", "2s", "--address", address, "--json"],
            ))  # fmt: skip
            return tried(asked, folder, rng, as_json="--json" in asked)
        finally:
            over.set()
            thread.join()


def _free_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def boards(rng: random.Random, folder: Path) -> list[str]:
    """What a serial board says it is."""
    wall(folder)
    board = Board(folder / "port", rng.choice((32, 31)), chip=raw(rng)[:60])
    try:
        asked = [
            "run",
            "wall.toml",
            "rows",
            "--to",
            f"serial://{folder}/port",
            "--for",
            "2s",
            "--log",
            "o.log",
        ]
        if rng.random() < 0.4:
            asked += ["--to", "vcd:o.vcd"]
        before = set(folder.rglob("*"))
        ran = run(asked, folder, limit_s=60)
        return written(ran, folder, before)
    finally:
        board.vanish()


def code_under_test(rng: random.Random, folder: Path) -> list[str]:
    """Functions and programs under test: exceptions, prints, what they return."""
    wall(folder)
    bad = harmful(rng)
    act = rng.choice((
        f"raise ValueError({bad!r})", f"print({bad!r}, flush=True)",
        f"print({bad!r}, file=sys.stderr, flush=True)",
        f"return {bad!r}", f"os.write(2, {raw(rng)!r})",
        f"raise type({bad.replace(chr(0), '')!r}, (Exception,), {{}})",
        f"return type({bad.replace(chr(0), '')!r}, (), {{'__repr__': lambda s: {bad!r}}})()",
        f"sys.exit({bad!r})",
        f"os.write(1, {raw(rng)!r})",
    ))  # fmt: skip
    if rng.random() < 0.5:
        (folder / "show.py").write_text(
            f"import os, sys\ndef f(picture):\n    {act}\n    return picture.tobytes()\n"
        )
        asked = ["check", "wall.toml", "--call", "show:f"]
    else:
        (folder / "show.py").write_text(
            f"import os, sys\ndef f():\n    {act}\n"
            "for line in sys.stdin:\n    f()\n    sys.exit(3)\n"
        )
        way = rng.choice(("{port}", "{e131}"))
        asked = ["check", "wall.toml", "--program", f"{sys.executable} show.py {way}"]
    asked += ["--json"] if rng.random() < 0.3 else []
    told = tried(asked, folder, rng, as_json="--json" in asked)
    return [f"{act[:60]}: {t}" for t in told if "traceback" not in t]


def guests_pages(rng: random.Random, folder: Path) -> list[str]:
    """What notebooks show of a display, and the page of failures that the pytest plugin writes."""
    path = named_wall(rng, folder, printable=True)
    path = path.rename(folder / "wall.toml")
    told = []
    (folder / "shown.py").write_text("""
import json, sys
import numpy as np
import emulator
from emulator.light.still import still
display = emulator.load_display("wall.toml")
bench = emulator.Bench(display)
bench.send(np.full(display.picture_shape, 99, np.uint8))
shown = {}
for thing in (display, bench, still(display, np.full(display.picture_shape, 99, np.uint8))):
    for name in ("_repr_html_", "_repr_svg_", "__repr__", "__str__"):
        if hasattr(thing, name):
            shown[type(thing).__name__ + name] = getattr(thing, name)()
json.dump(shown, sys.stdout)
""")
    ran = run(["shown.py"], folder, command=(sys.executable,))
    if ran.status:
        return [f"objects do not show themselves: {ran.said[-500:]}"]
    for name, text in json.loads(ran.out).items():
        judge = harm_in_html if "html" in name or "svg" in name else harm_in_text
        told += [f"{name}: {t}" for t in judge(text)]
    bad = harmful(rng)
    (folder / "test_bad.py").write_text(f"""
import numpy as np
import pytest
from harness.assertions import assert_dark, assert_map

@pytest.mark.parametrize("x", [{bad!r}, "b"])
def test_dark(bench, display, x):
    bench.send(np.full(display.picture_shape, 99, np.uint8))
    print({bad!r})
    assert_dark(bench)

def test_map(display):
    assert_map(display, lambda picture: picture[::-1].tobytes())
""")
    asked = ["-m", "pytest", "-q", "-p", "no:cacheprovider", "--foreglow-display", "wall.toml"]
    ran = run([*asked, "test_bad.py"], folder, command=(sys.executable,), limit_s=120)
    if ran.status != 1:
        told.append(f"pytest: {ran.said[-500:]}")
    pages = list(folder.glob("foreglow-failures/**/*.html"))
    if not pages:
        told.append(f"no page of failures: {ran.said[-300:]}")
    for page in [p for p in folder.glob("foreglow-failures/**/*") if p.is_file()]:
        told += harm_in_file(page)
        told += harm_in(page.name.encode())
    return told


def logged(rng: random.Random, folder: Path) -> list[str]:
    """A show with harmful text in all input: its log is clean, and has each failure."""
    named_wall(rng, folder, printable=True).rename(folder / "wall.toml")
    bad = harmful(rng)
    scenes.write(folder, f"""
_n = 0
def picture(time_s, display):
    global _n
    _n += 1
    print({bad!r}, flush=True)
    if _n > {rng.randint(1, 9)}:
        raise RuntimeError({bad!r})
    return _bright(time_s, display)
""")  # fmt: skip
    arguments = ["run", "wall.toml", "scene.py", "--to", "e131://127.0.0.1:9", "--log", "o.log"]
    with Going([*arguments, "--to", f"vcd:{folder}/none/{file_name(rng)}.vcd"], folder) as going:
        until(lambda: "RuntimeError" in going.said or going.ended, 15)
        going.kill(signal.SIGTERM)
        status = going.wait(15)
        told = harm_in(going.said.encode()) + harm_in((folder / "o.log").read_bytes())
        if status != 0:
            told.append(f"exit status {status}: {going.said[-300:]}")
        if "RuntimeError" not in (folder / "o.log").read_text():
            told.append("the failure is not in the log")
        return told
