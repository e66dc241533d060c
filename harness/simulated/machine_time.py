"""The machine's time, simulated: sleeping takes no time, and every clock reads the bench's."""

from __future__ import annotations

import asyncio
import contextlib
import functools
import selectors
import sys
import threading
import time
import weakref
from collections.abc import Callable
from types import FunctionType, ModuleType
from typing import Any, ClassVar, Self

from emulator.clock import SECOND_NS, Clock, SimulatedClock
from emulator.errors import ForeglowError
from harness.simulated.day import day, moment

# The time of day when the clock shows 0: 18:00 on 1 January 2026, local time. So a show that reads
# the time of day looks the same on a laptop and on a CI machine in another time zone.
EVENING = time.mktime((2026, 1, 1, 18, 0, 0, 3, 1, -1))

# These keep the machine's time: they measure the tests, or wait for threads and processes.
_TESTING = {"_pytest", "coverage", "execnet", "hypothesis", "pluggy", "pytest", "xdist"}
_OWN_TIME = _TESTING | {"pytest_timeout", "multiprocessing", "socketserver", "subprocess"}


class MachineTime:
    """Runs the code in its `with` block, in this thread, on a simulated clock:

        with MachineTime(bench.clock) as machine_time:
            show(bench)  # its time.sleep(600) takes no time, and bench.clock advances by 600 s

    time.sleep advances the clock. time.monotonic and time.perf_counter read it, from 0, also in
    their _ns forms, and in modules that use `from time import …`. The time of day follows it too:
    time.time, localtime, strftime, datetime.now, date.today … asyncio's sleeps, timeouts and
    call_later advance the clock when nothing else is ready. So does waiting for a threading.Event
    with a timeout, if no other thread runs that could set it.

    These stay on the machine's time: other threads and processes, and waiting for them
    (Thread.join, queues, subprocess); pytest and hypothesis, except for the time of day; CPU time;
    a sleep, monotonic or perf_counter that code stored earlier, for example in an object or a
    default argument. An asyncio program's network and executors are asked once before the clock
    advances, so their timeouts pass at once.

    clock: the simulated clock. start: the time of day, in seconds since the epoch, when the clock
    shows 0; by default 18:00 on 1 January 2026. Entering it raises ForeglowError inside another
    MachineTime.
    """

    _entered: ClassVar[MachineTime | None] = None

    def __init__(self, clock: SimulatedClock, start: float = EVENING) -> None:
        self.clock = clock
        self._start_ns = round(start * SECOND_NS)
        self._thread = 0
        self._simulated = {name: self._in_place_of(name) for name in _SIMULATED}
        self._selects: list[tuple[Any, Callable[..., Any]]] = []
        self._day = contextlib.ExitStack()

    def step(self, seconds: float) -> None:
        """Set the time of day forward, or back if negative, as an operator or a time server does.

        time.sleep, time.monotonic and the bench's clock do not change.
        """
        self._start_ns += round(seconds * SECOND_NS)

    def set(self, text: str) -> None:
        """Set the time of day to one such as 2026-12-24T19:00, local time. See `step`.

        Raises ForeglowError for a text that is not a time of day.
        """
        self._start_ns = round(moment(text) * SECOND_NS) - self.clock.now_ns()

    def __enter__(self) -> Self:
        if MachineTime._entered is not None:
            raise ForeglowError(
                "the machine's time is simulated already",
                fix="use the MachineTime that is entered; with pytest, the fixture `machine_time`.",
            )
        MachineTime._entered = self
        self._thread = threading.get_ident()
        self._selects = [(kind, kind.select) for kind in _LOOP_SELECTORS]
        for kind, select in self._selects:
            kind.select = self._selecting(select)
        threading.Event.wait = self._wait  # type: ignore[method-assign]
        _places.replace({id(_REAL[name]): new for name, new in self._simulated.items()})
        self._day.enter_context(day(self._day_ns, self._is_here))
        return self

    def __exit__(self, *_: object) -> None:
        self._day.close()
        # Also in modules imported meanwhile, which hold the simulated functions.
        _places.replace({id(function): _REAL[name] for name, function in self._simulated.items()})
        threading.Event.wait = _EVENT_WAIT  # type: ignore[method-assign]
        for kind, select in self._selects:
            kind.select = select
        MachineTime._entered = None

    def _in_place_of(self, name: str) -> Callable[..., Any]:
        """The simulated function of that name; it calls the real one for code in `_OWN_TIME`."""
        real, simulated = _REAL[name], _SIMULATED[name]

        @functools.wraps(real)
        def function(*args: Any) -> Any:
            if not self._is_here(sys._getframe(1).f_globals.get("__name__", "")):
                return real(*args)
            return simulated(self, *args)

        return function

    def _is_here(self, module: str = "") -> bool:
        """Whether code of a module that runs now uses the simulated clock."""
        here = MachineTime._entered is self and threading.get_ident() == self._thread
        return here and module.partition(".")[0] not in _OWN_TIME

    def _day_ns(self) -> int:
        return self._start_ns + self.clock.now_ns()

    def _sleep_ns(self, nanoseconds: int) -> None:
        self.clock.wait_until(self.clock.now_ns() + nanoseconds)

    def _selecting(self, select: Callable[..., Any]) -> Callable[..., Any]:
        """The wait of an asyncio loop: returns what is ready, else advances to what is due next."""

        def jump(selector: Any, timeout: float | None = None) -> Any:
            loop = asyncio._get_running_loop() if self._is_here() else None
            if getattr(loop, "_selector", None) is not selector or timeout is None or timeout <= 0:
                return select(selector, timeout)
            ready = select(selector, 0)
            if not ready:
                self._sleep_ns(round(timeout * SECOND_NS))
            return ready

        return jump

    @property
    def _wait(self) -> Callable[..., bool]:
        def wait(event: threading.Event, timeout: float | None = None) -> bool:
            if timeout is None or not self._is_here() or threading.active_count() > 1:
                return _EVENT_WAIT(event, timeout)
            if not event.is_set():
                self._sleep_ns(round(max(timeout, 0) * SECOND_NS))
            return event.is_set()

        return wait


class OutsideClock(Clock):
    """The machine's own monotonic clock, also inside a MachineTime: for a window."""

    def __init__(self) -> None:
        self._begin_ns: int = _REAL["monotonic_ns"]()

    def now_ns(self) -> int:
        now_ns: int = _REAL["monotonic_ns"]()
        return now_ns - self._begin_ns

    def wait_until(self, time_ns: int) -> None:
        while (left_ns := time_ns - self.now_ns()) > 0:
            _REAL["sleep"](left_ns / SECOND_NS)


def _sleep(now: MachineTime, seconds: float) -> None:
    if seconds < 0:
        raise ValueError("sleep length must be non-negative")
    now._sleep_ns(round(seconds * SECOND_NS))


def _ctime(now: MachineTime, seconds: float | None = None) -> Any:
    return _REAL["ctime"](now._day_ns() / SECOND_NS if seconds is None else seconds)


_SIMULATED: dict[str, Callable[..., Any]] = {
    "sleep": _sleep,
    "monotonic": lambda now: now.clock.now_ns() / SECOND_NS,
    "monotonic_ns": lambda now: now.clock.now_ns(),
    "perf_counter": lambda now: now.clock.now_ns() / SECOND_NS,
    "perf_counter_ns": lambda now: now.clock.now_ns(),
    "ctime": _ctime,  # the one that time-machine leaves out
}
_REAL: dict[str, Callable[..., Any]] = {name: getattr(time, name) for name in _SIMULATED}
_EVENT_WAIT = threading.Event.wait
# What an asyncio loop waits with; Windows has another one.
_LOOP_SELECTORS: list[Any] = [
    kind
    for kind in (selectors.DefaultSelector, getattr(asyncio, "IocpProactor", None))
    if kind is not None
]


class _Places:
    """Where the functions of `time` are: in `time` itself, and in modules that imported them.

    It searches a module only if that is new or has more or fewer names than before. So entering and
    leaving costs little even with a thousand modules.
    """

    def __init__(self) -> None:
        self._known: dict[str, tuple[weakref.ref[ModuleType], int, tuple[str, ...]]] = {}

    def replace(self, functions: dict[int, Callable[..., Any]]) -> None:
        """Replace the functions with these ids."""
        for key, module in list(sys.modules.items()):
            if not isinstance(module, ModuleType) or _keeps_its_time(key):
                continue
            names = object.__getattribute__(module, "__dict__")  # without loading a lazy one
            known = self._known.get(key)
            if known is None or known[0]() is not module or known[1] != len(names):
                taken = tuple(name for name, value in names.items() if _is_of_time(value))
                known = self._known[key] = weakref.ref(module), len(names), taken
            for name in known[2]:
                if (function := functions.get(id(names.get(name)))) is not None:
                    names[name] = function


def _is_of_time(value: object) -> bool:
    """Whether it is a function of `time` that can be simulated, or such a simulated one."""
    if isinstance(value, FunctionType):
        value = getattr(value, "__wrapped__", None)
    return id(value) in _REAL_IDS


@functools.cache
def _keeps_its_time(name: str) -> bool:
    """Whether a module of that name is this one, of the standard library, or keeps its own time."""
    top = name.partition(".")[0]
    library = top in _OWN_TIME or (top in sys.stdlib_module_names and top != "__main__")
    return name != "time" and (library or name == __name__)


_REAL_IDS = {id(function) for function in _REAL.values()}
_places = _Places()
