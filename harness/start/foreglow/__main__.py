"""The command: `foreglow`, or `python -m foreglow`, in any folder."""

from __future__ import annotations

import importlib
import os
import sys

from foreglow import mutated
from foreglow.names import HOME, OURS


def main() -> None:
    """Load foreglow's own packages, whatever else is on the path; then run the command."""
    # Before numpy is loaded: our matrices are small, and threads over them only wait.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    path = list(sys.path)
    sys.path.insert(0, str(HOME))
    for name in OURS:
        importlib.import_module(name)
    sys.path[:] = path
    mutated.install()
    # Ours are found only now.
    from harness.cli import main as command

    command()


if __name__ == "__main__":
    main()
