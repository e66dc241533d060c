"""Changes the code in small ways and sees whether a test fails: `python -m tests.mutation`.

Needs the extra `mutation` (mutmut). Names of modules, as in `modules.py`, pick some; without
any, all are run. Prints each module's share of mutants noticed, and writes those that were not
to SURVIVORS.md, with the reasons that `equal.toml` gives where a change makes no difference.
Exit status 1 if fewer than 90 % were noticed. Takes from minutes to an hour a module.
"""

from __future__ import annotations

import argparse
import importlib.util
import sys
import tempfile
from pathlib import Path

from tests.mutation.modules import MODULES
from tests.mutation.run import mutate
from tests.mutation.survivors import WANTED, Outcome, unneeded, write


def main() -> int:
    """Run the modules asked for, one after the other."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("module", nargs="*", help=", ".join(MODULES))
    parser.add_argument("--jobs", type=int, default=1, help="processes at a time")
    parser.add_argument("--sample", type=int, help="at most so many mutants a module")
    parser.add_argument(
        "--reasons", action="store_true", help="only renew the list's reasons; tell those unneeded"
    )
    asked = parser.parse_args()
    if asked.reasons:
        write()
        print(*unneeded(), sep="\n")
        return 0
    unknown = sorted(set(asked.module) - set(MODULES))
    if unknown:
        parser.error(f"there is no module {', '.join(unknown)}; there are {', '.join(MODULES)}")
    if importlib.util.find_spec("mutmut") is None:
        parser.error("mutmut is not installed: pip install -e '.[test,mutation]'")
    below = False
    for name in asked.module or MODULES:
        module = MODULES[name]
        with tempfile.TemporaryDirectory(prefix="foreglow-mutation-") as folder:
            made, tested = mutate(module, Path(folder), asked.sample or module.sample, asked.jobs)
        outcome = Outcome(name, made, tuple(tested))
        print(outcome.line, flush=True)
        write(outcome)
        below |= outcome.share < WANTED
    return int(below)


if __name__ == "__main__":
    sys.exit(main())
