"""The program that runs a firmware under simavr: built from live.c at its first use."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
from pathlib import Path

from emulator.errors import UnsupportedError
from emulator.files import whole_file

SOURCE = Path(__file__).parent / "live.c"
_PREFIXES = (Path("/usr"), Path("/usr/local"), Path("/opt/homebrew"))
_NEEDED = ("sim_avr.h", "avr_uart.h", "avr_spi.h")  # the headers must fit the library


def simulator() -> Path:
    """The program, in the user's folder for caches; built if none fits the source and simavr.

    Raises UnsupportedError if gcc or simavr is missing or cannot build it.
    """
    prefix = next((p for p in _PREFIXES if (p / "include/simavr/sim_avr.h").is_file()), None)
    compiler = shutil.which("gcc") or shutil.which("cc")
    if compiler is None or prefix is None:
        missing = "a C compiler" if compiler is None else "simavr's library"
        raise UnsupportedError(
            f"a firmware runs under simavr, but {missing} is not installed",
            fix="apt-get install gcc libc6-dev libsimavr-dev, or as your system calls them.",
        )
    headers = prefix / "include" / "simavr"
    digest = hashlib.sha256(SOURCE.read_bytes())
    for name in _NEEDED:
        digest.update((headers / name).read_bytes())
    program = _cache() / f"firmware-{digest.hexdigest()[:16]}"
    if not program.is_file():
        _build(compiler, prefix, program)
    return program


def _build(compiler: str, prefix: Path, program: Path) -> None:
    with whole_file(program) as beside:
        command = [compiler, "-std=gnu11", "-O2", f"-I{prefix}/include/simavr", str(SOURCE)]
        command += ["-o", str(beside), f"-L{prefix}/lib", "-lsimavr"]
        done = subprocess.run(command, capture_output=True, text=True, errors="replace")
        if done.returncode:
            said = "\n    ".join(done.stderr.strip().splitlines()[-6:])
            raise UnsupportedError(
                f"the program that runs a firmware cannot be built:\n    {said}",
                fix="apt-get install gcc libc6-dev libsimavr-dev; simavr 1.6 is known to work.",
            )
    program.chmod(0o755)


def _cache() -> Path:
    """The folder for files that a program can make again (XDG Base Directory)."""
    told = os.environ.get("XDG_CACHE_HOME", "")
    return (Path(told) if os.path.isabs(told) else Path.home() / ".cache") / "foreglow"
