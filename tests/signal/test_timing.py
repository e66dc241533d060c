"""Verdicts on timing: exact and sampled, marginal pulses, early frames, clocks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator.description.chips import CHIPS, Clocked, OneWire, Span
from emulator.signal import clocked, onewire
from emulator.signal.timing import Symbol, Timing, TimingVerdict, judge, judge_clock
from emulator.signal.waveform import Waveform

WIRES = {part: chip.wire for part, chip in CHIPS.items() if isinstance(chip.wire, OneWire)}
WS2812B = WIRES["WS2812B"]  # T0H 250–550, T0L 700–1000, T1H 650–950, T1L 300–600, reset 50 µs


def line(widths: list[int], resolution: int = 1, first: bool = False) -> Waveform:
    edges = np.cumsum([0, *widths], dtype=np.int64)
    return Waveform(edges, first, -100_000, int(edges[-1]) + 100_000, resolution)


def symbol(timing: Timing, name: str) -> Symbol:
    return next(symbol for symbol in timing.symbols if symbol.name == name)


def verdicts(timing: Timing) -> dict[str, TimingVerdict]:
    return {symbol.name: symbol.verdict for symbol in timing.symbols if symbol.count}


@pytest.mark.parametrize("part", WIRES)
def test_nominal_timing_passes_for_its_own_chip(part: str) -> None:
    data = np.random.default_rng(3).integers(0, 256, (3, 40), dtype=np.uint8)
    timing = judge(onewire.encode(data, WIRES[part]), WIRES[part])
    assert set(verdicts(timing)) == {"T0H", "T0L", "T1H", "T1L", "reset"}
    assert timing.verdict == "pass"
    assert symbol(timing, "reset").count == 2


def test_counts_and_figures_worked_by_hand() -> None:
    # bits 0 1 1 0 | reset | 1: the lows before the reset and at the end are neither T0L nor T1L.
    timing = judge(line([400, 850, 800, 450, 820, 430, 410, 60_000, 780]), WS2812B)
    found = {s.name: (s.count, s.min_ns, s.median_ns, s.max_ns, s.verdict) for s in timing.symbols}
    assert found == {
        "T0H": (2, 400, 400, 410, "pass"),
        "T0L": (1, 850, 850, 850, "pass"),
        "T1H": (3, 780, 800, 820, "pass"),
        "T1L": (2, 430, 430, 450, "pass"),
        "reset": (1, 60_000, 60_000, 60_000, "pass"),
    }
    assert timing.verdict == "pass"


@pytest.mark.parametrize(
    ("widths", "name", "expected"),
    [
        ([250, 850, 400], "T0H", "pass"),
        ([249, 850, 400], "T0H", "fail"),
        ([550, 850, 400], "T0H", "pass"),
        ([551, 850, 400], "T0H", "fail"),
        ([400, 1000, 400], "T0L", "pass"),
        ([400, 1001, 400], "T0L", "fail"),
        ([650, 450, 400], "T1H", "pass"),
        ([649, 450, 400], "T1H", "fail"),
        ([800, 299, 400], "T1L", "fail"),
        ([800, 300, 400], "T1L", "pass"),
    ],
)
def test_marginal_times_of_an_exact_line(
    widths: list[int], name: str, expected: TimingVerdict
) -> None:
    timing = judge(line(widths), WS2812B)
    assert symbol(timing, name).verdict == expected
    assert timing.verdict == expected


@pytest.mark.parametrize(
    ("high", "resolution", "expected"),
    [
        (400, 150, "pass"),  # between 250 and 550: within
        (400, 151, "cannot tell"),
        (300, 100, "cannot tell"),  # 200 to 400
        (149, 100, "fail"),  # 49 to 249
        (150, 100, "cannot tell"),  # 50 to 250: the two touch
    ],
)
def test_a_sampled_time_stands_for_a_range(
    high: int, resolution: int, expected: TimingVerdict
) -> None:
    timing = judge(line([high, 850, 400], resolution), WS2812B)
    assert symbol(timing, "T0H").verdict == expected


@given(st.data())
def test_a_sampled_line_is_never_judged_against_the_exact_one(data: st.DataObject) -> None:
    def around(span: Span) -> st.SearchStrategy[int]:
        return st.integers(span.least - 60, span.most + 60)

    # A controller's pulses are steady, which is what telling 0 from 1 in coarse samples rests on.
    zero_high = data.draw(around(WS2812B.t0h).filter(lambda t: t < 540))
    one_high = data.draw(around(WS2812B.t1h).filter(lambda t: t > 660))
    sent = data.draw(
        st.lists(
            st.one_of(
                st.tuples(st.just(zero_high), around(WS2812B.t0l)),
                st.tuples(st.just(one_high), around(WS2812B.t1l)),
            ),
            min_size=2,
            max_size=20,
        )
    )
    exact = line([width for pair in sent for width in pair][:-1])
    step = data.draw(st.integers(2, 60))
    phase = data.draw(st.integers(0, step - 1))
    sampled = -(-(exact.edges_ns + phase) // step) * step
    coarse = judge(Waveform(sampled, False, -100_000, 10**6, step), WS2812B)
    truth = verdicts(judge(exact, WS2812B))
    told = verdicts(coarse)
    assert told.keys() == truth.keys()
    assert {told[name] for name in told} <= {"pass", "fail", "cannot tell"}
    assert all(told[name] in (truth[name], "cannot tell") for name in told)


def test_an_early_frame_is_a_reset_too_short_and_no_bit() -> None:
    byte = [400, 850] * 7 + [400]
    timing = judge(line([*byte, 20_000, *byte]), WS2812B)
    assert timing.early == 1
    assert verdicts(timing) == {"T0H": "pass", "T0L": "pass", "reset": "fail"}
    assert symbol(timing, "reset").min_ns == 20_000
    assert timing.verdict == "fail"


def test_a_pause_within_a_byte_is_a_low_too_long() -> None:
    timing = judge(line([400, 850, 400, 20_000, 400, 850, 400]), WS2812B)
    assert timing.early == 0
    assert symbol(timing, "T0L").verdict == "fail"
    assert symbol(timing, "reset").count == 0


def test_a_pause_the_chip_allows_is_no_early_frame() -> None:
    byte = [400, 850] * 7 + [400]
    # WS2813 datasheet: T0L may last 100 µs, reset is 300 µs.
    allowed = judge(line([*byte, 90_000, *byte]), WIRES["WS2813B"])
    assert (allowed.early, allowed.verdict) == (0, "pass")
    early = judge(line([*byte, 110_000, *byte]), WIRES["WS2813B"])
    assert (early.early, early.verdict) == (1, "fail")


@pytest.mark.parametrize(
    ("gap", "early", "expected"),
    [
        (49_749, 1, "fail"),
        (49_750, 0, "cannot tell"),
        (49_900, 0, "cannot tell"),
        (50_200, 0, "cannot tell"),
        (50_250, 0, "pass"),
    ],
)
def test_a_sampled_reset_near_its_limit(gap: int, early: int, expected: TimingVerdict) -> None:
    byte = [400, 850] * 7 + [400]
    timing = judge(line([*byte, gap, *byte], 250), WS2812B)
    assert (timing.early, symbol(timing, "reset").verdict) == (early, expected)


def test_glitches_fail() -> None:
    timing = judge(line([400, 850, 400, 20_000, 40, 40_000, 400]), WS2812B)
    assert (timing.glitches, timing.verdict) == (1, "fail")


def test_nothing_seen_cannot_be_told() -> None:
    silent = Waveform(np.zeros(0, dtype=np.int64), False, 0, 10**6)
    timing = judge(silent, WS2812B)
    assert timing.verdict == "cannot tell"
    assert [s.count for s in timing.symbols] == [0] * 5


def test_given_timing_is_judged_as_given() -> None:
    fast = replace(WS2812B, t1h=Span(0, 1000, 0), t1l=Span(0, 250, 0))
    timing = judge(onewire.encode(np.array([255, 0], dtype=np.uint8), fast), WS2812B)
    assert verdicts(timing) == {"T0H": "pass", "T0L": "pass", "T1H": "fail", "T1L": "fail"}


def test_a_clock_is_judged_by_its_shortest_period_and_its_rests() -> None:
    wire = CHIPS["WS2801"].wire
    assert isinstance(wire, Clocked)
    frames = np.ones((2, 3), dtype=np.uint8)
    for hz, expected in ((25e6, "pass"), (26e6, "fail")):  # 40 ns; 26 MHz rounds to 38 ns
        clock, _ = clocked.encode(frames, hz, rest_ns=500_000)
        timing = judge_clock(clock, wire)
        assert verdicts(timing) == {"clock": expected, "rest": "pass"}
        assert symbol(timing, "clock").count == 46  # 24 bits have 23 periods, twice
    assert verdicts(judge_clock(clock, Clocked("end frame", 10**6))) == {"clock": "fail"}


@given(st.lists(st.integers(1, 200_000), max_size=50), st.booleans(), st.sampled_from([1, 250]))
def test_any_edges_are_judged(widths: list[int], first: bool, resolution: int) -> None:
    edges = np.cumsum(widths, dtype=np.int64)
    wave = Waveform(edges, first, 0, int(edges[-1]) if widths else 0, resolution)
    bits = onewire.decode(wave, WS2812B).bits.size
    timing = judge(wave, WS2812B)
    counts = {s.name: s.count for s in timing.symbols}
    assert counts["T0H"] + counts["T1H"] == bits
    assert counts["T0L"] + counts["T1L"] + counts["reset"] == max(bits - 1, 0)
    for chip in ("WS2801", "APA102"):
        wire = CHIPS[chip].wire
        assert isinstance(wire, Clocked)
        periods = sum(s.count for s in judge_clock(wave, wire).symbols)
        assert periods == max(wave.rises_ns.size - 1, 0)
