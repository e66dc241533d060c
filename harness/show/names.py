"""Checks the name of what a show shows before anything runs."""

from __future__ import annotations

import ast
from pathlib import Path

from emulator.errors import SceneError
from emulator.files import read_file
from harness.patterns.sources import check_known

_MOST_BYTES = 16 << 20  # of a scene


def check_name(name: str) -> None:
    """Check a name without running anything. Raises SceneError or UnknownNameError."""
    path = Path(name)
    if path.suffix == ".py":
        try:
            ast.parse(read_file(path, _MOST_BYTES), name)
        except OSError as error:
            raise SceneError(
                f"cannot be read ({error.strerror})", place=name, fix="name a scene file."
            ) from error
        except (SyntaxError, ValueError) as error:
            raise SceneError(f"{error}", place=name, fix="see the line it names.") from error
    elif not path.exists():
        check_known(name)
