"""Lets `foreglow mutate` put a mistake into the code that this process imports.

The pytest plugin and the command `foreglow` ask for it when they start. For other Python programs
that run tests: `python -m foreglow.mutated -m unittest`, or with a script in place of the module.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from foreglow.names import PLACES

ORDER = "FOREGLOW_MUTATION"  # the variable that names the file with the mistake


def install() -> None:
    """Put the mistake that the environment names, if any, into this process."""
    if ORDER in os.environ:
        # Only the tests of a mistake need it: all others start without it.
        from harness.mutate.hook import install as put_in

        put_in(Path(os.environ[ORDER]))


def main() -> None:
    """Install, then run a module or a script as `python` would."""
    import runpy  # the command and the plugin start without it

    path = list(sys.path)
    sys.path[:0] = map(str, PLACES)
    install()
    sys.path[:] = path
    _, *words = sys.argv
    if words[0] == "-m":
        sys.argv = words[1:]
        runpy.run_module(words[1], run_name="__main__", alter_sys=True)
    else:
        sys.argv = words
        sys.path[0] = str(Path(words[0]).resolve().parent)
        runpy.run_path(words[0], run_name="__main__")


if __name__ == "__main__":
    main()
