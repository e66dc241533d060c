from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from emulator import load_display, parse_display
from emulator.canvas import limit_current, to_drives, to_wire
from emulator.power.wire import CAUTION
from harness.checks.check import run_checks
from harness.power import assess, power_findings
from harness.subject.subject import Subject, own_code
from harness.subject.trial import Trial


def wall(power="", controller="", part="WS2812B", columns=24, rows=24):
    text = (
        f"[grid]\ncolumns={columns}\nrows={rows}\n[chip]\npart='{part}'\n[wiring]\n"
        f"[controller]\n{controller}\n[power]\n{power}\n"
    )
    return parse_display(text, Path("wall.toml"))


def found(display):
    return power_findings(display, assess(display))


def report_on(display, to_wire_function=None):
    subject = Subject("test", to_wire_function) if to_wire_function else own_code(display)
    return run_checks(Trial(display, subject), ("power",))


@pytest.mark.parametrize("name", ["foyer", "banner", "sign"])
def test_the_demos_have_nothing_wrong(name):
    display = load_display(name)
    (result,) = report_on(display).results
    assert (result.verdict, result.findings) == ("pass", ())
    assert result.figures["converged"] is True
    assert result.figures["caution"] == CAUTION


# What is wrong, then the same fixed: a word the finding must say, how grave it is, and the
# sections with the fault and without.
BUS = "bus=[{awg=6}]\n"
CASES = {
    # 35.136 A at full white (20 mA a channel, 1 mA dark: common practice, no source).
    "overload": ("overloaded", "fault", BUS + "supply=[{amps=30}]", BUS + "supply=[{amps=44}]"),
    "overload, limited": (
        "overloaded", "fault", BUS + "supply=[{amps=30}]", BUS + "supply=[{amps=30}]\nlimit_a=24",
    ),
    "trip": (
        "it switches off", "fault", BUS + "supply=[{amps=30, overload='trip'}]",
        BUS + "supply=[{amps=44, overload='trip'}]",
    ),
    # 80 %: common practice, no source. 35.136 of 43.92 A.
    "above 80 %": (
        "above 80%", "warning", BUS + "supply=[{amps=43.9}]", BUS + "supply=[{amps=43.95}]",
    ),
    "limit above the rating": (
        "limit of 32 A is above the 30 A", "fault", BUS + "supply=[{amps=30}]\nlimit_a=32",
        BUS + "supply=[{amps=40}]\nlimit_a=32",
    ),
    "one of two supplies": (
        "supply 0 is overloaded", "fault", "supply=[{amps=10},{amps=40}]\nlimit_a=30",
        "supply=[{amps=22},{amps=40}]\nlimit_a=30",
    ),
    "far ends starve": (
        "LED 575 of line 0 gets", "fault", "feed=[{led=0}]\njumper={awg=18}", BUS,
    ),
    # A bus of AWG 14 carries 32 A by handbooks' chassis-wiring figures (from memory).
    "wire over its guidance": (
        "carries more than the guidance for AWG 14", "fault", "bus=[{awg=14}]", BUS,
    ),
    # 1.25 × 35.136 A asks for a fuse of 50 A, but AWG 12 carries 41 A (from memory).
    "no fuse fits": ("no common fuse", "warning", "bus=[{awg=12}]", BUS),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_a_finding_appears_with_the_fault_and_goes_with_it(case):
    words, severity, wrong, right = CASES[case]
    matching = [f for f in found(wall(wrong)) if words in f.what]
    assert [f.severity for f in matching] == [severity] * len(matching)
    assert matching
    assert found(wall(right)) == ()


@pytest.mark.parametrize("case", sorted(set(CASES) - {"far ends starve"}))
def test_findings_that_size_supplies_or_wires_carry_the_caution(case):
    _, _, wrong, _ = CASES[case]
    assert all(f.remedy.endswith(CAUTION) for f in found(wall(wrong)))


def test_an_overload_tells_how_much_and_what_would_do():
    (finding,) = found(wall(BUS + "supply=[{amps=30}]"))
    assert finding.evidence.startswith("35.14 A of 30 A, 117% of the rating")
    assert "under 24 A" in finding.remedy  # 80 % of 30 A
    assert "a supply of 44 A" in finding.remedy  # 35.136 / 0.8 = 43.92


def test_reddening_is_told_with_its_numbers_and_grows_from_warning_to_fault():
    """The more LEDs at the far end of a strip the limit allows, the lower their voltage."""
    seen = []
    for leds in (5, 30, 36, 60):
        display = wall(f"feed=[{{led=0}}]\nlimit_a={0.1 + leds * 0.06}", columns=100, rows=1)
        red = [f for f in found(display) if "of their light" in f.what]
        seen.append(red[0].severity if red else None)
    assert seen == sorted(seen, key=(None, "warning", "fault").index)
    assert seen[0] is None
    assert seen[-1] == "fault"


# ---- the data's levels -------------------------------------------------------------------------


def test_logic_of_3v3_is_too_low_for_a_chip_at_5v():
    """WS2812B datasheet: VIH = 0.7 VDD, 3.5 V at 5 V."""
    (finding,) = found(wall(BUS, "logic_volts=3.3"))
    assert finding.what == "3.3 V logic is too low for a chip at 5.0 V: it needs 3.50 V"
    assert finding.severity == "fault"
    assert finding.leds == (0,)
    assert "level shifter" in finding.remedy
    assert "no more than 4.7 V" in finding.remedy  # 3.3 / 0.7
    assert found(wall(BUS, "logic_volts=3.5")) == ()


def test_a_first_led_at_a_lower_voltage_takes_3v3_logic():
    display = wall("supply=[{volts=4.6}]", "logic_volts=3.3", columns=4, rows=2)
    assert found(display) == ()  # 0.7 × 4.6 V = 3.22 V


def test_a_first_led_with_a_supply_of_its_own_shifts_the_level():
    """A diode of 0.7 V before it: 0.7 × 4.3 V = 3.01 V from 3.3 V logic; the next needs 3.5 V."""
    shifting = "logic_volts=3.3\nfirst_led_volts={}"
    assert found(wall(BUS, shifting.format(4.3))) == ()
    (finding,) = found(wall(BUS, shifting.format(3.4)))
    assert finding.what == (
        "the first LED at 3.4 V passes the data on too low for a chip at 5.0 V: it needs 3.50 V"
    )
    (finding,) = found(wall(BUS, shifting.format(4.8)))
    assert finding.what == "3.3 V logic is too low for a chip at 4.8 V: it needs 3.36 V"


def test_a_12v_chip_is_taken_to_run_its_logic_from_5v():
    assert found(wall(BUS, "logic_volts=5", "WS2815", 9, 2)) == ()
    assert len(found(wall(BUS, "logic_volts=3.3", "WS2815", 9, 2))) == 1


def test_a_long_data_wire_is_a_warning():
    (finding,) = found(wall(BUS, "data_wire_m=4"))
    assert (finding.severity, "4 m of data wire" in finding.what) == ("warning", True)
    assert found(wall(BUS, "data_wire_m=0.5")) == ()


def test_a_missing_common_ground_is_a_fault():
    (finding,) = found(wall(BUS, "common_ground=false"))
    assert (finding.severity, "common ground" in finding.what) == ("fault", True)
    assert found(wall(BUS, "common_ground=true")) == ()


def test_voltages_that_were_not_found_are_not_to_be_relied_on():
    display = wall(BUS)
    assessment = assess(display)
    solver = dataclasses.replace(assessment.solver, converged=False)
    (finding,) = power_findings(display, dataclasses.replace(assessment, solver=solver))
    assert finding.severity == "fault"
    assert "do not rely" in finding.what


def test_the_worst_comes_first():
    severities = [f.severity for f in found(wall("bus=[{awg=12}]", "common_ground=false"))]
    assert severities == ["fault", "warning"]


# ---- the code under test -----------------------------------------------------------------------


def limited_wall(limit_a):
    return wall(BUS + f"supply=[{{amps=40}}]\nlimit_a={limit_a}")


def test_code_that_keeps_the_limit_passes():
    display = limited_wall(20)

    def keeps(picture):
        return to_wire(limit_current(to_drives(picture, display), display.chip, 20), display)

    report = report_on(display, keeps)
    assert (report.verdict, report.findings) == ("pass", ())
    assert report.results[0].figures["asked_most_a"] <= 20
    assert report.results[0].figures["asked_most_a"] > 19


def test_code_that_passes_the_limit_fails_with_the_amperes():
    display = limited_wall(20)
    report = report_on(display, lambda picture: to_wire(to_drives(picture, display), display))
    (finding,) = report.findings
    assert report.verdict == "fail"
    assert finding.what == "the code asks for 35.14 A; the limit is 20 A"
    assert "RGB (255, 255, 255)" in finding.evidence


def test_code_that_only_limits_white_is_caught_by_another_colour():
    display = limited_wall(20)

    def cheats(picture):
        white = picture.min() == 255
        return to_wire(to_drives(picture // 4 if white else picture, display), display)

    (finding,) = report_on(display, cheats).findings
    # Two channels of 576 LEDs: 576 × (40 + 1) mA.
    assert "the code asks for 23.62 A" in finding.what


def test_wires_that_are_only_assumed_are_only_noted():
    notes = found(wall("", columns=36, rows=20))
    assert notes
    assert {f.severity for f in notes} == {"note"}
    assert all("assumed" in f.what for f in notes)
