"""Why a source gives no picture, in lines to read."""

from __future__ import annotations

import traceback

from emulator.errors import ForeglowError, SceneError
from emulator.view.status import Trouble

_MOST_CALLS = 20  # the last ones; a scene that calls itself without end has very many
CLOSING = "The clock continues; the picture comes back when you have fixed this."


def trouble_of(error: Exception) -> Trouble:
    """The error of a source, as lines to read; foreglow's own errors need no traceback."""
    if isinstance(error, SceneError):
        return Trouble(str(error), _lines(error.trace))
    if isinstance(error, ForeglowError):
        return Trouble(str(error))
    # The first frame is that of the caller.
    own = None if error.__traceback__ is None else error.__traceback__.tb_next
    report = traceback.TracebackException(type(error), error, own, limit=-_MOST_CALLS)
    summary = _readable(f"{type(error).__name__}: {report}")
    return Trouble(summary, _lines("".join(report.format())) if own else ())


def _lines(trace: str) -> tuple[str, ...]:
    """The lines of a traceback, without lines of marks, which need letters of one width."""
    return tuple(line for line in _readable(trace).splitlines() if line.strip(" ^~"))


def _readable(text: str) -> str:
    """The text without half characters (surrogates) of file names: no font can write them."""
    return text.encode("utf-8", "replace").decode("utf-8")
