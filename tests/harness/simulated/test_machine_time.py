from __future__ import annotations

import asyncio
import datetime
import queue
import selectors
import subprocess
import sys
import threading
import time
import types

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import ForeglowError, RealClock, SimulatedClock
from harness.simulated.machine_time import EVENING, MachineTime, OutsideClock

NAMES = "sleep monotonic monotonic_ns perf_counter perf_counter_ns time time_ns localtime ctime"


@pytest.fixture
def machine():
    with MachineTime(SimulatedClock()) as machine:
        yield machine


def test_the_start_is_the_evening_it_says():
    assert datetime.datetime(2026, 1, 1, 18).timestamp() == EVENING  # local time


@given(st.lists(st.floats(0, 1e5), max_size=20))
def test_every_clock_moves_on_by_what_is_slept(sleeps):
    clock, total_ns = SimulatedClock(), sum(round(s * 1e9) for s in sleeps)
    with MachineTime(clock):
        for seconds in sleeps:
            time.sleep(seconds)
        assert clock.now_ns() == time.monotonic_ns() == time.perf_counter_ns() == total_ns
        assert time.monotonic() == time.perf_counter() == total_ns / 1e9
        assert time.time_ns() == int(EVENING) * 10**9 + total_ns
        assert time.time() == pytest.approx(EVENING + total_ns / 1e9, abs=1e-6)


def test_the_calendar_follows(machine):
    time.sleep(24 * 3600 + 61)
    # Against datetime's own calendar.
    then = datetime.datetime.fromtimestamp(EVENING, datetime.UTC) + datetime.timedelta(1, 61)
    assert time.strftime("%Y-%m-%d %H:%M:%S", time.gmtime()) == f"{then:%Y-%m-%d %H:%M:%S}"
    assert time.localtime() == time.localtime(then.timestamp())
    assert time.ctime() == time.ctime(then.timestamp())
    here = datetime.datetime.fromtimestamp(then.timestamp())
    assert time.strftime("%d %H:%M:%S") == f"{here:%d %H:%M:%S}"
    assert time.gmtime(0).tm_year == 1970  # a time passed in stays as it is


def test_the_time_of_day_is_set_back_and_nothing_else_is(machine):
    time.sleep(10)
    machine.step(-3600)
    assert time.time() == EVENING + 10 - 3600
    assert time.monotonic() == 10
    assert machine.clock.now_ns() == 10_000_000_000


def test_the_time_of_day_is_the_one_that_is_set(machine):
    time.sleep(10)
    machine.set("2026-12-24T19:00")
    time.sleep(90)
    assert datetime.datetime.now() == datetime.datetime(2026, 12, 24, 19, 1, 30)
    assert datetime.date.today() == datetime.date(2026, 12, 24)
    assert time.strftime("%H:%M:%S") == "19:01:30"
    assert time.monotonic() == 100
    machine.set("2026-12-24T19:00+02:00")
    assert datetime.datetime.now(datetime.UTC).hour == 17
    with pytest.raises(ForeglowError, match="Fix: write 2026-12-24T19:00"):
        machine.set("tonight")


def now_of_theirs(now=datetime.datetime.now):
    return now


def test_datetime_goes_by_it_wherever_its_functions_were_put(machine):
    now = now_of_theirs()
    time.sleep(600)
    assert now() == datetime.datetime(2026, 1, 1, 18, 10)  # EVENING, local time
    assert now(datetime.UTC).timestamp() == EVENING + 600
    kept = {"now": time.time}
    assert kept["now"]() == EVENING + 600


def test_another_thread_sees_the_time_of_day_of_the_machine(machine):
    told = queue.Queue()
    thread = threading.Thread(target=lambda: told.put(datetime.datetime.now()))
    thread.start()
    thread.join()
    assert told.get() != datetime.datetime.now()


def test_sleeping_a_negative_time_is_an_error_as_in_the_real_one(machine):
    with pytest.raises(ValueError, match="non-negative"):
        time.sleep(-1)


def test_the_real_clock_of_foreglow_runs_on_it(machine):
    clock = RealClock()
    clock.wait_until(600_000_000_000)
    assert machine.clock.now_ns() == 600_000_000_000


def test_the_clock_outside_does_not(machine):
    outside = OutsideClock()
    outside.wait_until(1_000_000)
    assert outside.now_ns() >= 1_000_000
    assert machine.clock.now_ns() == 0


def test_a_module_that_took_the_functions_by_name_is_on_it_too():
    module = types.ModuleType("shown_here")
    sys.modules["shown_here"] = module
    try:
        exec("from time import sleep as rest, monotonic", vars(module))
        real = module.rest
        with MachineTime(SimulatedClock()) as machine:
            module.rest(90)
            assert module.monotonic() == 90
            # A module imported meanwhile gets the simulated functions; the real ones at the end.
            exec("from time import time_ns", vars(module))
            assert module.time_ns() == int(EVENING + 90) * 10**9
        assert machine.clock.now_ns() == 90_000_000_000
        assert module.rest is real is time.sleep
        assert module.time_ns is time.time_ns
    finally:
        del sys.modules["shown_here"]


def patched():
    return threading.Event.wait, selectors.DefaultSelector.select


@pytest.mark.parametrize("ending", [None, ValueError, KeyboardInterrupt, SystemExit])
def test_everything_is_put_back_on_every_way_out(ending):
    before = [getattr(time, name) for name in NAMES.split()], *patched()
    try:
        with MachineTime(SimulatedClock()):
            assert time.sleep is not before[0][0]
            assert not set(patched()) & set(before[1:])
            if ending is not None:
                raise ending
    except (ValueError, KeyboardInterrupt, SystemExit):
        pass
    assert ([getattr(time, name) for name in NAMES.split()], *patched()) == before
    assert MachineTime(SimulatedClock()).__enter__().__exit__() is None


def test_a_function_kept_from_it_is_the_real_one_afterwards():
    with MachineTime(SimulatedClock()):
        kept = time.monotonic
        assert kept() == 0
    assert kept() > 0


def test_one_within_another_is_refused_and_changes_nothing(machine):
    time.sleep(3)
    with pytest.raises(ForeglowError, match="simulated already"), MachineTime(SimulatedClock()):
        pass
    assert time.monotonic() == 3


# asyncio ---------------------------------------------------------------------------------


def test_sleeps_of_asyncio_jump_in_order(machine):
    seen = []

    async def note(seconds):
        await asyncio.sleep(seconds)
        seen.append((seconds, time.monotonic()))

    async def program():
        asyncio.get_running_loop().call_later(1800, lambda: seen.append("called"))
        await asyncio.gather(note(3600), note(0.25), note(60))

    asyncio.run(program())
    assert seen == [(0.25, 0.25), (60, 60), "called", (3600, 3600)]


def test_a_timeout_of_asyncio_passes(machine):
    async def program():
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(asyncio.Event().wait(), 30)
        async with asyncio.timeout(30):
            await asyncio.sleep(29)

    asyncio.run(program())
    assert time.monotonic() == 59


def test_the_same_sleeps_of_asyncio_and_time_end_at_the_same_time(machine):
    async def program():
        for _ in range(3000):
            await asyncio.sleep(1 / 30)

    asyncio.run(program())
    assert abs(machine.clock.now_ns() - 100 * 10**9) <= 3000  # 1/30 s is 1/3 ns off each


def test_what_is_ready_in_asyncio_comes_before_a_jump(machine):
    async def program():
        reader, writer = await asyncio.open_connection(sock=mine)
        theirs.sendall(b"frame\n")
        line = await asyncio.wait_for(reader.readline(), 5)
        writer.close()
        return line

    import socket

    mine, theirs = socket.socketpair()
    with theirs:
        assert asyncio.run(program()) == b"frame\n"
    assert time.monotonic() == 0


# Threads and processes -------------------------------------------------------------------


def test_an_event_nobody_can_set_jumps(machine):
    if threading.active_count() > 1:  # a plugin of this run has one: then it really waits
        assert not threading.Event().wait(0.001)
        return
    assert not threading.Event().wait(1800)
    assert time.monotonic() == 1800


def test_another_thread_stays_on_the_machines_time_and_is_waited_for(machine):
    begun, told, done = threading.Event(), queue.Queue(), threading.Event()

    def work():
        begun.wait()
        time.sleep(0.002)
        told.put(time.monotonic())
        done.set()

    thread = threading.Thread(target=work)
    thread.start()
    begun.set()
    assert done.wait(60)
    assert told.get(timeout=60) > 0
    thread.join()
    assert time.monotonic() == 0


def test_waiting_for_a_process_does_not_move_the_clock(machine):
    process = subprocess.Popen([sys.executable, "-c", "pass"])
    assert process.wait(timeout=60) == 0
    assert time.monotonic() == 0
