"""A function under test in its own process, so that nothing it does ends the check.

On Linux the process is a fork, which need not load modules again. Elsewhere it is a new
interpreter, `python -m harness.subject.called`, which first gets the name of the function and the
display as a pickle. The function is imported there. Requests and answers go through pipes, as JSON
followed by bytes:

    to the function   {"shape": [rows, columns, 3]}, a line; the picture
    from it           four bytes: the length of the JSON; {"lines": [bytes of each line], "took_ns":
                      …, "changed": …}; the lines, and the picture if it was changed; or
                      {"error": {"problem": …, "place": …, "fix": …}}
"""

from __future__ import annotations

import contextlib
import json
import os
import pickle
import signal
import subprocess
import sys
import warnings
from dataclasses import dataclass
from typing import IO, Any, NoReturn, Protocol

import numpy as np

from emulator.arrays import Bytes, Srgb
from emulator.bench import Bench
from emulator.clock import Clock, RealClock, queued_ns
from emulator.closing import Closing
from emulator.description.display import Display
from emulator.errors import ForeglowError, SubjectError
from emulator.processes import Arriving, Started, apart, end_all
from emulator.stopping import respected
from foreglow import mutated
from foreglow.names import PLACES
from harness.subject.byled import by_led, sets_leds
from harness.subject.printed import Printed
from harness.subject.subject import Subject, found, function

_PATIENCE_S = 30.0
_START_S = 30.0  # for a new interpreter, before it imports the function
_LOOK_S = 0.1  # between checks whether it has ended: a child of it may hold the pipe open


class CalledFunction(Closing):
    """A function, module:function, as the subject of a check; use it as a context manager.

    It is `f(picture)`, which returns bytes in wire order; or, if its first argument is called
    `leds` or `leds` is True, `f(leds, picture)`, which sets LEDs by number.

    patience_s: how long a picture, or the import, may take. Its standard input is empty; what it
    prints goes to standard error and is counted.

    Raises SubjectError if the function cannot be found. `subject.to_wire` raises SubjectError if
    the function raises, ends its process, or takes too long.
    """

    def __init__(
        self,
        name: str,
        display: Display,
        clock: Clock,
        *,
        leds: bool = False,
        patience_s: float = _PATIENCE_S,
    ) -> None:
        self._name, self._clock, self._patience_s = name, clock, patience_s
        self._took_ns, self._status = 0, ""
        self._printed = Printed()
        sys.stdout.flush()
        sys.stderr.flush()
        start = _fork if sys.platform == "linux" and hasattr(os, "fork") else _spawn
        self._process, asks, answers = start(_Wanted(name, display, leds), self._printed.write_end)
        self._asks, self._answers = os.fdopen(asks, "wb", buffering=0), Arriving(answers)
        self._came = b""
        self._printed.start()
        self.subject = Subject(
            name, self.to_wire, lambda: self._took_ns, lambda: self._printed.count
        )
        try:
            self._answer("importing", 0.0 if isinstance(self._process, _Forked) else _START_S)
        except BaseException:
            self.close()
            raise

    def to_wire(self, picture: Srgb) -> list[Bytes]:
        """The bytes (B,) of each line for a picture (rows, columns, 3), which it may change."""
        head = json.dumps({"shape": picture.shape}).encode() + b"\n"
        with contextlib.suppress(OSError):  # it has ended: the answer says so
            self._write(head + picture.tobytes())
        answer = self._answer("calling")
        self._took_ns = answer["took_ns"]
        lines = [np.frombuffer(self._take(count), np.uint8) for count in answer["lines"]]
        if answer["changed"]:
            changed = np.frombuffer(self._take(picture.nbytes), np.uint8)
            picture[...] = changed.reshape(picture.shape)
        return lines

    def close(self) -> None:
        """End the process and its children in its group; a second call does nothing."""
        if not self._asks.closed:
            self._asks.close()
            end_all(self._process)
            self._ended(wait=True)
            self._answers.close()
            self._printed.close()

    def _answer(self, doing: str, more_s: float = 0.0) -> dict[str, Any]:
        """The head of the next answer. Raises SubjectError if it is an error, or none comes."""
        self._until_ns = self._clock.now_ns() + round((self._patience_s + more_s) * 1e9)
        self._doing = doing
        answer: dict[str, Any] = json.loads(self._take(int.from_bytes(self._take(4), "big")))
        if "error" in answer:
            raise SubjectError(**answer["error"])
        return answer

    def _write(self, data: bytes) -> None:
        while data:
            data = data[self._asks.write(data) or 0 :]

    def _take(self, count: int) -> bytes:
        """The next `count` bytes of the answers."""
        while len(self._came) < count:
            came = self._answers.take(_LOOK_S)
            self._came += came or b""
            if came:
                continue
            if self._ended(wait=came is not None):
                raise SubjectError(
                    f"{self._name} {self._status} while {self._doing} it",
                    fix="let the function return, without exit or anything that kills the"
                    " process; see its output above.",
                )
            if self._clock.now_ns() > self._until_ns:
                raise SubjectError(
                    f"{self._name} gave no answer in {self._patience_s:g} s while {self._doing} it",
                    fix="look for an endless loop, or for something that it waits for.",
                )
        taken, self._came = self._came[:count], self._came[count:]
        return taken

    def _ended(self, wait: bool) -> str:
        """How the process has ended, in words; '' while it runs."""
        if not self._status:
            code = self._process.wait() if wait else self._process.poll()
            if code is not None:
                self._status = (
                    f"ended its process with status {code}"
                    if code >= 0
                    else f"had its process ended by signal {-code} ({signal.strsignal(-code)})"
                )
        return self._status


@dataclass(frozen=True)
class _Wanted:
    """What the child is to call, for which display, and whether it must be by LED."""

    name: str
    display: Display
    leds: bool

    def subject(self) -> Subject:
        """In the child. Raises SubjectError if there is no such function."""
        call = found(self.name)
        if self.leds or sets_leds(call):
            call = by_led(call, self.name, self.display)
        return function(self.name, call)


class _Forked:
    """A fork of this process, as subprocess.Popen would have it."""

    def __init__(self, pid: int) -> None:
        self.pid = pid
        self.returncode: int | None = None

    def poll(self) -> int | None:
        return self._look(os.WNOHANG)

    def wait(self) -> int | None:
        return self._look(0)

    def _look(self, how: int) -> int | None:
        if self.returncode is None:
            pid, status = os.waitpid(self.pid, how)
            if pid:
                self.returncode = os.waitstatus_to_exitcode(status)
        return self.returncode


def _fork(wanted: _Wanted, printed: int) -> tuple[_Process, int, int]:
    """The process, the end to ask by and the end of its answers."""
    asked, asks = os.pipe()
    answers, answered = os.pipe()
    with warnings.catch_warnings():
        # Python 3.12 warns if there are threads: those of numpy wait, and hold no lock of ours.
        warnings.simplefilter("ignore", DeprecationWarning)
        pid = os.fork()
    if pid == 0:
        os.close(asks)
        os.close(answers)
        with contextlib.suppress(OSError):
            os.setpgid(0, 0)  # so that its children end with it, and Ctrl-C is for the check
        _serve(wanted, os.fdopen(asked, "rb"), answered, printed)
    with contextlib.suppress(OSError):  # the child does this too: whichever is first
        os.setpgid(pid, pid)
    os.close(asked)
    os.close(answered)
    return _Forked(pid), asks, answers


def _spawn(wanted: _Wanted, printed: int) -> tuple[_Process, int, int]:
    """As `_fork`, in a new interpreter that finds the modules that this one finds."""
    process = subprocess.Popen(
        [sys.executable, "-P", "-m", "harness.subject.called"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=printed,
        env={
            **os.environ,
            "PYTHONPATH": os.pathsep.join([*map(str, PLACES), *map(os.path.abspath, sys.path)]),
        },
        **apart(),
    )
    assert process.stdin is not None
    assert process.stdout is not None
    with process.stdin as first, process.stdout as answers:
        asks, answered = os.dup(first.fileno()), os.dup(answers.fileno())
        with contextlib.suppress(OSError):  # it has ended: the answer says so
            pickle.dump(wanted, first)
            first.flush()
    return process, asks, answered


class _Process(Started, Protocol):
    """What `_fork` and `_spawn` start."""

    def poll(self) -> int | None:
        """Its status, as in subprocess.Popen; None while it runs."""

    def wait(self) -> int | None:
        """Its status, once it has ended."""


def _serve(wanted: _Wanted, requests: IO[bytes], answered: int, printed: int) -> NoReturn:
    """In the child: import the function, and answer until the pipe is closed."""
    for number in respected("SIGINT", "SIGTERM", "SIGHUP"):
        signal.signal(number, signal.SIG_DFL)
    nothing = os.open(os.devnull, os.O_RDONLY)
    for end, place in ((nothing, 0), (printed, 1), (printed, 2)):
        os.dup2(end, place)
    sys.stdin = os.fdopen(0, closefd=False)
    sys.stdout = os.fdopen(1, "w", 1, errors="replace", closefd=False)
    sys.stderr = os.fdopen(2, "w", 1, errors="replace", closefd=False)
    answers = os.fdopen(answered, "wb")
    try:
        try:
            subject = wanted.subject()
        except SubjectError as error:
            _send(answers, {"error": _parts(error)})
            os._exit(0)
        _send(answers, {})
        _serve_pictures(subject, Bench(wanted.display, keep=1), requests, answers)
    finally:  # whatever was raised: do not unwind the parent's stack in the child
        with contextlib.suppress(BaseException):
            sys.stdout.flush()
        os._exit(0)


def _serve_pictures(
    subject: Subject, bench: Bench, requests: IO[bytes], answers: IO[bytes]
) -> None:
    clock = RealClock()
    while head := requests.readline():
        shape = tuple(json.loads(head)["shape"])
        asked = requests.read(int(np.prod(shape)))
        picture = np.frombuffer(asked, np.uint8).reshape(shape).copy()
        begin_ns = clock.now_ns() - queued_ns()
        try:
            sent = subject.to_wire(picture)
            took_ns = max(clock.now_ns() - queued_ns() - begin_ns, 0)
            lines = [line.tobytes() for line in bench.split(sent)]
        except SubjectError as error:
            _send(answers, {"error": _parts(error)})
            continue
        except ForeglowError as error:
            _send(
                answers, {"error": _parts(error) | {"problem": error.what, "place": subject.name}}
            )
            continue
        except KeyboardInterrupt:
            told = f"KeyboardInterrupt while calling {subject.name}"
            _send(answers, {"error": {"problem": told, "fix": "see what raises it."}})
            continue
        after = picture.tobytes()
        changed = after != asked
        _send(
            answers,
            {"lines": [*map(len, lines)], "took_ns": took_ns, "changed": changed},
            *lines,
            after if changed else b"",
        )


def _parts(error: ForeglowError) -> dict[str, str]:
    return {"problem": error.problem, "place": error.place, "fix": error.fix}


def _send(answers: IO[bytes], head: dict[str, Any], *data: bytes) -> None:
    said = json.dumps(head).encode()
    answers.write(len(said).to_bytes(4, "big") + said + b"".join(data))
    answers.flush()


def main() -> NoReturn:
    """The process that `_spawn` starts."""
    mutated.install()
    requests = os.fdopen(os.dup(0), "rb")
    _serve(pickle.load(requests), requests, os.dup(1), 2)


if __name__ == "__main__":
    main()
