"""foreglow as a user runs it, `foreglow check WALL … --json`, here or in a process of its own."""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
import sys
import tempfile
import traceback
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[3]
ENTRY = "import sys; from foreglow.__main__ import main; sys.exit(main())"
FELL = -2  # status where foreglow itself raised
LEFT_OUT = {"power", "light", "flash"}  # they judge supplies, covers and flashes, not the code


@dataclass
class Report:
    """What foreglow said."""

    status: int
    findings: list[dict[str, str]] = field(default_factory=list)
    figures: dict[str, Any] = field(default_factory=dict)
    out: str = ""
    clean: bool = True  # standard output is JSON and nothing else
    took_s: float = 0.0

    def text(self, *severities: str) -> list[str]:
        """One text a finding: what, where and evidence, in lower case."""
        return [
            " | ".join(f.get(k, "") for k in ("what", "where", "evidence")).lower()
            for f in self.findings
            if not severities or f["severity"] in severities
        ]


@cache
def checks() -> str:
    """The checks that judge code, by the list that foreglow prints."""
    with tempfile.TemporaryDirectory() as folder:
        _, out, err = _apart(["check", "foyer", "--only", "none-of-them"], folder, 60)
    names = re.findall(r"\w+", (out + err).split("use one of")[1])
    return ",".join(n for n in names if n not in LEFT_OUT)


def without(name: str) -> str:
    """The checks that judge code, except for one."""
    return ",".join(n for n in checks().split(",") if n != name)


def check(
    toml: str,
    *arguments: str,
    files: dict[str, str] | None = None,
    apart: bool = False,
    only: str | None = None,
    limit_s: float = 120,
) -> Report:
    """Run `foreglow check` in a folder of its own; `apart` in a process of its own."""
    argv = ["check", "wall.toml", *arguments, "--json", "--sheet", "sheet.png"]
    argv += ["--only", only or checks()]
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "wall.toml").write_text(toml)
        for name, text in (files or {}).items():
            (Path(folder) / name).write_text(text)
        run = _apart if apart else _within
        return _read(*run(argv, folder, limit_s))


def _apart(argv: list[str], folder: str, limit_s: float) -> tuple[int, str, str]:
    try:
        done = subprocess.run(
            [sys.executable, "-c", ENTRY, *argv],
            capture_output=True, text=True, cwd=folder, timeout=limit_s, check=False,
            env=os.environ | {"PYTHONPATH": str(ROOT)}, errors="replace",
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return -1, "", f"no answer within {limit_s} s"
    return done.returncode, done.stdout, done.stderr


def _within(argv: list[str], folder: str, limit_s: float) -> tuple[int, str, str]:
    from foreglow.__main__ import main

    here, old = os.getcwd(), sys.argv
    out, err = io.StringIO(), io.StringIO()
    os.chdir(folder)
    sys.argv = ["foreglow", *argv]
    sys.path.insert(0, folder)
    try:
        with redirect_stdout(out), redirect_stderr(err):
            status = main()
    except SystemExit as end:
        status = end.code
    except Exception:  # foreglow itself failed: report it, and go on with the run
        return FELL, out.getvalue(), traceback.format_exc()
    finally:
        os.chdir(here)
        sys.argv = old
        sys.path.remove(folder)
    return int(status or 0), out.getvalue(), err.getvalue()


def _read(status: int, out: str, err: str) -> Report:
    begin = out.find('{\n  "display"')
    if begin < 0:
        return Report(status, out=out + err)
    data, end = json.JSONDecoder().raw_decode(out[begin:])
    clean = not out[:begin].strip() and not out[begin + end :].strip()
    return Report(status, data["findings"], data["figures"], out=err, clean=clean)
