"""`report compare` of two reports that differ in known places, and of files that are not one."""

from __future__ import annotations

import copy
import json
import random
from pathlib import Path
from typing import Any

from tests.outside.generated_pages.walls import HOSTILE
from tests.outside.generated_physical.run import FELL, folder, foreglow

ORDER = ("pass", "warning", "fail")


def _report(r: random.Random) -> dict[str, Any]:
    """A report as `check --json` prints one; the words of its findings are all different."""
    findings = [
        {
            "check": r.choice(("map", "colour", "levels")),
            "what": f"{r.choice(HOSTILE)} {n}",
            "where": f"LED {n}",
            "evidence": f"seen {n}",
            "remedy": f"repair {n}",
            "severity": r.choice(("fault", "warning", "note")),
        }
        for n in range(r.randint(0, 5))
    ]
    figures = {
        "map": {"verdict": "pass", "leds": 24, "leds_right": 24, "frames": 7, "hidden_lit": []},
        "power": {"asked_most_a": r.uniform(0.5, 90), "limit_a": None, "supply_share": [0.7, 0.3]},
        "light": {"mean_cdm2": r.uniform(1, 900), "letter_mm": 166.7},
    }
    return {
        "display": "w",
        "subject": "code:to_wire",
        "verdict": _verdict(findings),
        "findings": findings,
        "figures": figures,
    }


def _verdict(findings: list[dict[str, str]]) -> str:
    kinds = {one["severity"] for one in findings}
    return "fail" if "fault" in kinds else "warning" if "warning" in kinds else "pass"


def _change(r: random.Random, report: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """The newer report, and what `compare --json` has to say of it."""
    new = copy.deepcopy(report)
    true: dict[str, Any] = {"new": [], "gone": [], "changed": [], "figures": []}
    findings = new["findings"]
    for n in sorted(r.sample(range(len(findings)), r.randint(0, len(findings))), reverse=True):
        if r.random() < 0.5:
            true["gone"].append(findings.pop(n))
        else:
            old = dict(findings[n])
            findings[n]["evidence"] += " " + r.choice(HOSTILE)
            true["changed"].append([old, dict(findings[n])])
    for n in range(r.randint(0, 2)):
        made = {
            "check": "wire",
            "what": f"another {n} {r.choice(HOSTILE)}",
            "where": "LED 9",
            "evidence": "seen",
            "remedy": "repair",
            "severity": r.choice(("fault", "note")),
        }
        findings.insert(r.randint(0, len(findings)), made)
        true["new"].append(dict(made))
    power, light = new["figures"]["power"], new["figures"]["light"]
    if r.random() < 0.5:
        power["asked_most_a"] *= r.choice((0.5, 1.002, 3))
        true["figures"].append(
            [
                "power asked_most_a",
                report["figures"]["power"]["asked_most_a"],
                power["asked_most_a"],
            ]
        )
    if r.random() < 0.3:
        power["supply_share"][1] = 0.4
        true["figures"].append(["power supply_share", [0.7, 0.3], [0.7, 0.4]])
    if r.random() < 0.3:
        new["figures"]["map"]["leds_right"] = 23
        true["figures"].append(["map leds_right", 24, 23])
    light["mean_cdm2"] *= r.choice((1.0, 1.0005, 0.9995))  # below a thousandth: says nothing
    r.shuffle(findings)
    new["verdict"] = _verdict(findings)
    was, now = report["verdict"], new["verdict"]
    true["verdict"] = [was, now]
    true["worse"] = ORDER.index(now) > ORDER.index(was) or any(
        one["severity"] != "note" for one in true["new"]
    )
    return new, true


def _key(one: Any) -> str:
    return json.dumps(one, sort_keys=True)


def faults(number: int) -> list[str]:
    """What a comparison says wrongly."""
    r = random.Random(f"compare {number}")
    old = _report(r)
    new, true = _change(r, old)
    with folder() as place:
        for name, report in (("old.json", old), ("new.json", new)):
            (place / name).write_text(json.dumps(report), encoding="utf-8")
        answer, told = (
            foreglow("report", "compare", "old.json", "new.json", *more)
            for more in (["--json"], [])
        )
    wrong = []
    if answer.data is None or FELL in (answer.status, told.status):
        return [f"compare: {answer.err[-500:]} {told.err[-500:]}"]
    for key in ("new", "gone", "changed", "figures"):
        said, expected = (sorted(map(_key, which[key])) for which in (answer.data, true))
        if said != expected:
            wrong.append(f"{key}: {said}, not {expected}")
    for key in ("verdict", "worse"):
        if answer.data[key] != true[key]:
            wrong.append(f"{key}: {answer.data[key]}, not {true[key]}")
    if not answer.status == told.status == int(true["worse"]):
        wrong.append(f"status {answer.status} and {told.status}, worse is {true['worse']}")
    lively = [c for c in told.out if c in "\x1b\r\u202e\u2066\u2028"]
    if lively:
        wrong.append(f"the terminal gets {lively}")
    same = not any(true[key] for key in ("new", "gone", "changed", "figures"))
    if same != ("Nothing changed" in told.out):
        wrong.append(f"says {told.out[:80]!r}, the same: {same}")
    return wrong


def not_refused() -> list[str]:
    """Files that are not reports, and are taken, or refused without the file's name."""
    good = _report(random.Random("good"))
    finding = {
        "check": "map",
        "what": "a",
        "where": "b",
        "evidence": "c",
        "remedy": "d",
        "severity": "fault",
    }
    text = json.dumps(good)
    broken: dict[str, bytes] = {
        "empty": b"",
        "cut off": text[: len(text) // 2].encode(),
        "nothing": b"null",
        "number": b"3",
        "list": b"[]",
        "object": b"{}",
        "deep": b"[" * 100_000,
        "bytes": bytes(range(256)),
        "utf-16": text.encode("utf-16"),
        "page": b"<!doctype html><title>r</title>",
        "two": (text + text).encode(),
        "digits": b'{"display": ' + b"9" * 5000 + b"}",
        **{
            f"{key} {value!r}": json.dumps({**good, key: value}).encode()
            for key, value in (
                ("findings", 3),
                ("findings", ["a"]),
                ("findings", {}),
                ("findings", [[]]),
                ("findings", [{**finding, "what": None}]),
                ("findings", [{"what": "x"}]),
                ("findings", [{**finding, "severity": "odd"}]),
                ("figures", [1]),
                ("figures", "x"),
                ("verdict", 7),
                ("verdict", "odd"),
                ("verdict", None),
                ("display", 3),
            )
        },
        "other command": b'{"display": "w", "limit_a": null, "verdict": "pass", "findings": []}',
    }
    wrong = []
    with folder() as place:
        Path("good.json").write_text(text, encoding="utf-8")
        Path("folder.json").mkdir()
        for name, content in broken.items():
            (place / "bad.json").write_bytes(content)
            for pair in (("good.json", "bad.json"), ("bad.json", "good.json")):
                wrong += _refusal(name, pair, "bad.json")
        for bad in ("none.json", "folder.json"):
            wrong += _refusal(bad, ("good.json", bad), bad)
    return wrong


def _refusal(name: str, pair: tuple[str, str], bad: str) -> list[str]:
    answer = foreglow("report", "compare", *pair)
    clear = bad in answer.err and "Fix: " in answer.err and "Traceback" not in answer.err
    if answer.status == 2 and clear and not answer.out:
        return []
    return [f"{name}: status {answer.status}: {(answer.out + answer.err)[-250:]!r}"]
