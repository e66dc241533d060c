"""`foreglow report compare`: what is new, gone and changed, and files that are not reports."""

from __future__ import annotations

import copy
import json
from pathlib import Path

import pytest

from harness.report.changes.changes import changes
from harness.report.changes.saved import load

ROWS = {
    "check": "map", "what": "rows 1, 3 and 5 run backwards", "where": "rows 1, 3, 5",
    "evidence": "3 of 9", "remedy": "reverse them.", "severity": "fault",
}  # fmt: skip
HOT = {**ROWS, "check": "power", "what": "a wire is warm", "severity": "note"}
REPORT = {
    "display": "sign",
    "subject": "show:to_wire",
    "verdict": "fail",
    "findings": [ROWS, HOT],
    "figures": {"map": {"leds_right": 6, "leds_wrong": [1, 2]}, "timing": {"worst_ms": 3.0}},
}


def saved(name, data):
    path = Path(name)
    path.write_text(json.dumps(data))
    return load(path)


@pytest.fixture
def between(tmp_path, monkeypatch):
    """A function of a change to the report: what the command then says has changed."""
    monkeypatch.chdir(tmp_path)

    def found(change):
        new = copy.deepcopy(REPORT)
        change(new)
        return changes(saved("old.json", REPORT), saved("new.json", new))

    return found


def test_the_same_report_has_no_changes(between):
    assert between(lambda new: None).none


def test_findings_in_another_order_are_the_same(between):
    assert between(lambda new: new["findings"].reverse()).none


def test_a_finding_that_is_gone_is_better(between):
    found = between(lambda new: new.update(findings=[HOT], verdict="pass"))
    assert [one["what"] for one in found.gone] == [ROWS["what"]]
    assert not found.worse
    assert not found.none


@pytest.mark.parametrize(
    ("severity", "worse"), [("fault", True), ("warning", True), ("note", False)]
)
def test_a_new_fault_or_warning_is_worse_a_remark_is_not(between, severity, worse):
    extra = {**ROWS, "what": "another thing", "severity": severity}
    found = between(lambda new: new["findings"].append(extra))
    assert [one["what"] for one in found.new] == ["another thing"]
    assert found.worse is worse


def test_a_finding_with_other_numbers_is_changed_and_neither_new_nor_gone(between):
    def fewer(new):
        new["findings"][0] |= {"what": "rows 1 and 3 run backwards", "where": "rows 1, 3"}

    found = between(lambda new: new["findings"][0].update(where="rows 1, 3", evidence="2 of 9"))
    ((before, after),) = found.changed
    assert (before["where"], after["where"]) == ("rows 1, 3, 5", "rows 1, 3")
    assert (found.new, found.gone, found.worse) == ((), (), False)
    found = between(fewer)
    assert (len(found.changed), found.new, found.gone) == (1, (), ())


def test_a_remark_that_becomes_a_fault_is_worse(between):
    assert between(lambda new: new["findings"][1].update(severity="fault")).worse


def test_each_finding_has_one_counterpart(between):
    found = between(lambda new: new["findings"].append(dict(ROWS)))
    assert found.new == (ROWS,)


def test_figures_go_by_name_and_those_of_the_machine_are_apart(between):
    def other(new):
        new["figures"] = {
            "map": {"leds_right": 9, "leds_wrong": []},
            "timing": {"worst_ms": 9.0},
            "light": {"mean_cdm2": 80.0},
        }

    found = between(other)
    assert found.figures == (
        ("map leds_right", 6, 9),
        ("map leds_wrong", [1, 2], []),
        ("light mean_cdm2", None, 80.0),
    )
    assert found.of_machine == (("timing worst_ms", 3.0, 9.0),)


def test_a_change_too_small_to_print_is_none(between):
    assert between(lambda new: new["figures"]["map"].update(leds_right=6.000001)).none
    assert not between(lambda new: new["figures"]["map"].update(leds_right=6.1)).none
    assert not between(lambda new: new["figures"]["map"].update(leds_right=True)).none


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "line 1: not JSON"),
        ('{\n"display": \n}', "line 3: not JSON"),
        ("[1]", "it names no display"),
        ('{"display": 5}', "it names no display"),
        ('{"display": "x"}', "neither findings nor figures"),
        ('{"display": "x", "findings": [{"what": 1}]}', "its findings are not those"),
        ('{"display": "x", "findings": 7}', "its findings are not those"),
        ("[" * 100_000, "not JSON"),
        (json.dumps({**REPORT, "figures": [1]}), "its figures are not those"),
        (json.dumps({**REPORT, "figures": {"wire": 10**400}}), "not JSON"),
        (json.dumps({**REPORT, "verdict": "odd"}), "its verdict is not that"),
        (json.dumps({**REPORT, "verdict": None}), "its verdict is not that"),
        (json.dumps({**REPORT, "findings": [{**HOT, "severity": "odd"}]}), "its findings are"),
        ("\ufeff" + json.dumps(REPORT), ""),
    ],
    ids=range(14),
)
def test_a_file_that_is_no_report_is_named_with_place_and_fix(foreglow, text, said):
    Path("good.json").write_text(json.dumps(REPORT))
    Path("bad.json").write_text(text)
    status, out, err = foreglow("report", "compare", "good.json", "bad.json")
    if not said:
        assert (status, "Nothing changed." in out) == (0, True)
        return
    assert status == 2
    assert "bad.json" in err
    assert said in " ".join(err.split())
    assert "Fix:" in err


def test_a_file_that_is_not_there_or_of_another_command(foreglow):
    Path("good.json").write_text(json.dumps(REPORT))
    status, _, err = foreglow("report", "compare", "good.json", "none.json")
    assert (status, "none.json" in err) == (2, True)
    Path("flash.json").write_text(json.dumps({"display": "sign", "below": True}))
    status, _, err = foreglow("report", "compare", "good.json", "flash.json")
    assert status == 2
    assert "different commands" in err


@pytest.mark.slow
def test_the_command_says_what_changed_and_whether_it_is_worse(foreglow):
    """Two real runs: the right map, and one with rows that run the wrong way."""
    reports = {}
    for name, fault in (("right", ()), ("wrong", ("--fault", "run-reversed run=1"))):
        reports[name] = foreglow("check", "sign", "--only", "map", "--json", *fault)
        Path(f"{name}.json").write_text(reports[name][1])
    status, out, _ = foreglow("report", "compare", "right.json", "wrong.json")
    assert status == 1
    assert "New" in out
    assert "pass" in out
    assert foreglow("report", "compare", "wrong.json", "right.json")[0] == 0
    data = json.loads(foreglow("report", "compare", "right.json", "wrong.json", "--json")[1])
    assert data["worse"]
    assert data["new"]
