"""Consoles with few characters, and Python started in other ways."""

from __future__ import annotations

import random
import sys
from pathlib import Path

from tests.outside.generated_use import commands, scenes
from tests.outside.generated_use.running import COMMAND, environment, run

COMMANDS = (
    ["--help"], ["map", "wall.toml"], ["check", "wall.toml"], ["light", "wall.toml"], ["chips"],
    ["power", "wall.toml"], ["schema"], ["flash", "wall.toml", "rows", "--seconds", "1"],
    ["render", "wall.toml", "rows", "-o", "x.png"], ["decode", "capture.vcd", "--chip", "WS2812B"],
    ["record", "wall.toml", "scene.py", "--seconds", "1", "-o", "x"], ["compare", "rec", "other"],
    ["export", "rec", "x.png"], ["check", "wall.toml", "--call", "mine:f"], ["run", "--help"],
    ["run", "wall.toml", "scene.py", "--to", "e131://127.0.0.1:9", "--for", "1s", "--log", "o.log"],
    ["soak", "wall.toml", "scene.py", "--hours", "0.001", "--fault", "none"],
    ["service", "wall.toml", "scene.py", "--to", "vcd:x.vcd"], ["map", "nowhere"],
    ["map", "wall.toml", "-o", "x.svg"], ["check", "wall.toml", "--program", "{py} mine.py {e131}"],
)  # fmt: skip


def _asked(rng: random.Random, folder: Path) -> list[str]:
    commands.prepared(folder)
    text = (folder / "wall.toml").read_text()
    (folder / "wall.toml").write_text('about = "Wand für 日本 ☃ – ½"\n' + text, encoding="utf-8")
    scenes.write(
        folder,
        """
def picture(time_s, display):
    if time_s > 0.5:
        print("☃ größer 日本", flush=True)
    return _bright(time_s, display)
""",
    )
    (folder / "mine.py").write_text(
        "def f(picture):\n    print('☃')\n    return picture.tobytes()\n"
    )
    return [part.replace("{py}", sys.executable) for part in rng.choice(COMMANDS)]


def consoles(rng: random.Random, folder: Path) -> list[str]:
    """Any command says what it says on a console of any encoding, width and kind."""
    asked = _asked(rng, folder)
    usual = run(asked, folder)
    for name in ("x", "x.png", "x.svg", "o.log"):
        path = folder / name
        if path.is_dir():
            path.rename(folder / "first")
        else:
            path.unlink(missing_ok=True)
    changed = {
        "PYTHONIOENCODING": rng.choice((None, "ascii", "cp1252", "latin-1", "cp437", "utf-16")),
        "LC_ALL": rng.choice((None, "C", "POSIX", "de_DE.ISO-8859-1", "nonsense")),
        "PYTHONUTF8": rng.choice((None, "0")), "PYTHONCOERCECLOCALE": rng.choice((None, "0")),
        "COLUMNS": rng.choice(("1", "20", "100", "10000", "x")),
        "TERM": rng.choice((None, "dumb", "xterm", "nonsense")),
        "HOME": rng.choice((str(folder / "none"), None, str(folder))),
        "NO_COLOR": rng.choice((None, "1")),
        "FORCE_COLOR": None, "TZ": rng.choice((None, "Nowhere/Land", "Asia/Kolkata", ":x")),
        "PATH": rng.choice(("", "/usr/bin:/bin")), "USER": None, "LOGNAME": None,
    }  # fmt: skip
    ran = run(asked, folder, env=environment(**changed))
    told = ran.fell()
    if ran.status != usual.status:
        told.append(f"exit status {ran.status}, else {usual.status}: {ran.said[-300:]!r}")
    return [f"{asked} {changed}: {t}" for t in told]


def interpreters(rng: random.Random, folder: Path) -> list[str]:
    """Options of Python change nothing: without assertions, with warnings as errors, apart."""
    asked = _asked(rng, folder)
    if "mine:f" in asked:
        asked = ["map", "wall.toml"]  # -I and -P find no module in the folder: that is their point
    usual = run(asked, folder)
    for name in ("x", "x.png", "x.svg", "o.log"):
        path = folder / name
        if path.is_dir():
            path.rename(folder / "first")
        else:
            path.unlink(missing_ok=True)
    options = rng.choice((
        ["-O"], ["-OO"], ["-I"], ["-P"], ["-B"], ["-X", "dev"], ["-X", "utf8=0"], ["-s", "-E"],
        ["-u"],
        ["-W", "error::DeprecationWarning:emulator"], ["-W", "error::ResourceWarning"], ["-b"],
        ["-X", "importtime"], ["-R"],
    ))  # fmt: skip
    how = rng.choice(([COMMAND], ["-m", "foreglow"]))
    ran = run(asked, folder, command=[sys.executable, *options, *how])
    told = ran.fell()
    if ran.status != usual.status:
        told.append(f"exit status {ran.status}, else {usual.status}: {ran.said[-300:]!r}")
    return [f"python {options} {how[0][-8:]} {asked}: {t}" for t in told]
