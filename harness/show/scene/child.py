"""The process a scene runs in: `python -m harness.show.scene.child KEEPER DISPLAY SCENE [MEMORY]`.

KEEPER is the process id of its parent. The process ends with it, even in an endless loop. MEMORY is
how many bytes the scene may take, in addition to what this process has at the start.

It reads requests from its standard input and writes answers to its standard output. The scene and
its forks get neither: what they print and what their sources log goes to standard error, and their
standard input is empty.
"""

from __future__ import annotations

import contextlib
import io
import logging
import os
import sys
from typing import BinaryIO

import numpy as np
import psutil

from emulator.description.display import Display
from emulator.description.load import load_display
from emulator.errors import ForeglowError, SceneError, SourceError
from harness.patterns.sources import PictureAt, named_source
from harness.show.scene.lineage import end_with_parent
from harness.show.scene.message import encode_picture, encode_trouble, read_request
from harness.show.scene.player import checked, scene_error


def main() -> int:
    """Answer until the requests end; status 1 after an error, which the last answer names."""
    keeper, display_name, scene, *memory = sys.argv[1:]
    end_with_parent(int(keeper))
    requests, answers = _pipes()
    _tell_of_sources()
    me = os.getpid()
    if memory:
        _bound_memory(int(memory[0]))
    try:
        display = load_display(display_name)
        # Without reload: a show does not change by itself when its file is saved.
        source = named_source(scene, display, reload=False)
    except ForeglowError as error:
        told = SceneError(f"{type(error).__name__}: {error.what}", fix=error.fix)
        answers.write(encode_trouble(told))
        answers.flush()
        return 1
    going_on = True
    while going_on and (time_s := read_request(requests)) is not None:
        answer, going_on = _answer(source, time_s, display)
        if os.getpid() != me:  # the scene has forked, and this is the fork
            os._exit(0)
        try:
            answers.write(answer)
            answers.flush()
        except BrokenPipeError:  # the show has gone
            return 1
    source.close()
    return int(not going_on)


def _answer(source: PictureAt, time_s: float, display: Display) -> tuple[bytes, bool]:
    """The answer to a request, and whether you can ask the scene again."""
    try:
        return encode_picture(checked(np.asarray(source(time_s)), display)), True
    except Exception as error:
        told = scene_error(error)
        return encode_trouble(told), isinstance(told, SourceError)


def _bound_memory(most: int) -> None:
    """Make requests for far more memory than is left fail at once.

    The show itself looks at the memory only now and then; a large array comes faster than that.
    """
    with contextlib.suppress(ImportError, OSError, ValueError, AttributeError):
        import resource  # not on Windows

        # setrlimit(2), RLIMIT_DATA: private memory that can be written, taken or only reserved
        now = psutil.Process().memory_info().data
        resource.setrlimit(resource.RLIMIT_DATA, (now + most, resource.RLIM_INFINITY))


def _tell_of_sources() -> None:
    """Send what cameras, feeds and fallbacks log (lost, back again) to standard error.

    The scene itself decides about its own logging.
    """
    sources = logging.getLogger("emulator")
    sources.setLevel(logging.INFO)
    sources.propagate = False
    sources.addHandler(logging.StreamHandler())


def _pipes() -> tuple[BinaryIO, BinaryIO]:
    """The two pipes, moved so that the scene's `print` and `input` do not use them."""
    requests, answers = os.dup(0), os.dup(1)
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)
    os.close(nothing)
    os.dup2(2, 1)
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(line_buffering=True)  # logged when it is printed, not 8 KiB later
    if hasattr(os, "register_at_fork"):
        os.register_at_fork(after_in_child=lambda: _cut_off(requests, answers))
    return os.fdopen(requests, "rb"), os.fdopen(answers, "wb")


def _cut_off(*pipes: int) -> None:
    """In a fork: disconnect the pipes from the show.

    Their numbers stay in use, so that no file opened later gets data meant for the show.
    """
    nothing = os.open(os.devnull, os.O_RDWR)
    for pipe in pipes:
        os.dup2(nothing, pipe, inheritable=False)
    os.close(nothing)


if __name__ == "__main__":
    sys.exit(main())
