"""The process a scene runs in: `python -m harness.show.child DISPLAY SCENE`.

It reads requests from its standard input and writes answers to its standard output. The scene
gets neither: what it prints goes to standard error, as does what the sources in it tell, and it
finds nothing to read. Where the show has gone, whatever ended it, the process ends as well, also in
the middle of an endless loop.
"""

from __future__ import annotations

import io
import logging
import os
import select
import signal
import sys
import threading
from typing import BinaryIO

import numpy as np

from emulator.description.display import Display
from emulator.description.load import load_display
from emulator.errors import ForeglowError, SceneError, SourceError
from harness.show.message import encode_picture, encode_trouble, read_request
from harness.show.player import checked, scene_error
from harness.sources import PictureAt, named_source

_GRACE_S = 1.0  # for the scene to give back what it holds, once the show has gone


def main() -> int:
    """Answer until nobody asks; status 1 after an error, which the last answer names."""
    requests, answers = _pipes()
    _tell_of_sources()
    os.register_at_fork(after_in_child=lambda: os.close(answers.fileno()))  # else it had no end
    threading.Thread(target=_end_after, args=(answers.fileno(),), daemon=True).start()
    try:
        display = load_display(sys.argv[1])
        # Without reload: a show does not change by itself when its file is saved.
        source = named_source(sys.argv[2], display, reload=False)
    except ForeglowError as error:
        answers.write(encode_trouble(SceneError(f"{type(error).__name__}: {error}")))
        answers.flush()
        return 1
    going_on = True
    while going_on and (time_s := read_request(requests)) is not None:
        answer, going_on = _answer(source, time_s, display)
        try:
            answers.write(answer)
            answers.flush()
        except BrokenPipeError:  # the show has gone
            return 1
    source.close()
    return int(not going_on)


def _answer(source: PictureAt, time_s: float, display: Display) -> tuple[bytes, bool]:
    """The answer to a request, and whether the scene can be asked again."""
    try:
        return encode_picture(checked(np.asarray(source(time_s)), display)), True
    except Exception as error:
        told = scene_error(error)
        return encode_trouble(told), isinstance(told, SourceError)


def _end_after(answers: int) -> None:
    """End this process and its group when nobody is left to read from a pipe."""
    reader = select.poll()
    reader.register(answers, 0)  # an error is told unasked: poll(2), POLLERR
    reader.poll()
    threading.Event().wait(_GRACE_S)
    os.killpg(0, signal.SIGKILL)


def _tell_of_sources() -> None:
    """What cameras, feeds and fallbacks log, back again as well as lost, goes to standard error.

    The logging of the scene itself is left to the scene.
    """
    sources = logging.getLogger("emulator")
    sources.setLevel(logging.INFO)
    sources.propagate = False
    sources.addHandler(logging.StreamHandler())


def _pipes() -> tuple[BinaryIO, BinaryIO]:
    """The two pipes, out of the reach of the scene's `print` and `input`."""
    requests, answers = os.dup(0), os.dup(1)
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)
    os.close(nothing)
    os.dup2(2, 1)
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(line_buffering=True)  # told when it is printed, not 8 KiB later
    return os.fdopen(requests, "rb"), os.fdopen(answers, "wb")


if __name__ == "__main__":
    sys.exit(main())
