"""A small disk: a tmpfs of some kilobytes, if the system allows mounting one."""

from __future__ import annotations

import contextlib
import os
import subprocess
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory


@contextlib.contextmanager
def small_disk(folder: Path, kilobytes: int, read_only: bool = False) -> Iterator[None]:
    """Mount it on `folder`, which is made."""
    folder.mkdir(exist_ok=True)
    mode = "ro" if read_only else "rw"
    options = ["-t", "tmpfs", "-o", f"size={kilobytes}k,{mode}", "none", str(folder)]
    subprocess.run(["mount", *options], check=True, capture_output=True)
    try:
        yield
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True, capture_output=True)


@cache
def can_mount() -> bool:
    """Whether we may."""
    if os.geteuid() != 0:
        return False
    refused = (OSError, subprocess.CalledProcessError)
    with TemporaryDirectory() as place, contextlib.suppress(*refused), small_disk(Path(place), 64):
        return True
    return False
