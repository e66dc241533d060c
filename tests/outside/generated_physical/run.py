"""foreglow as a user runs it, in this process."""

from __future__ import annotations

import io
import json
import os
import sys
import tempfile
import traceback
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any

FELL = -2  # status where foreglow itself raised


@dataclass
class Answer:
    """What foreglow said: exit status, standard output and standard error."""

    status: int
    out: str
    err: str

    @property
    def data(self) -> Any:
        """The JSON that it printed, or None."""
        begin = self.out.find("{")
        if begin < 0:
            return None
        return json.JSONDecoder().raw_decode(self.out[begin:])[0]


@contextmanager
def folder() -> Iterator[Path]:
    """A folder of its own, and the way back."""
    here = os.getcwd()
    with tempfile.TemporaryDirectory() as made:
        os.chdir(made)
        try:
            yield Path(made)
        finally:
            os.chdir(here)


def foreglow(*argv: object) -> Answer:
    """Run the command, here and now."""
    from harness.cli import main

    old, out, err = sys.argv, io.StringIO(), io.StringIO()
    sys.argv = ["foreglow", *map(str, argv)]
    try:
        with redirect_stdout(out), redirect_stderr(err):
            status = main()
    except SystemExit as end:
        status = end.code
    except Exception:  # foreglow itself failed: report it, and go on with the run
        return Answer(FELL, out.getvalue(), traceback.format_exc())
    finally:
        sys.argv = old
    return Answer(int(status or 0), out.getvalue(), err.getvalue())
