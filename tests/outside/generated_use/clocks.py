"""The time of --now, on every clock that a scene may read."""

from __future__ import annotations

import datetime
import json
import random
import sys
import zoneinfo
from pathlib import Path

from tests.outside.generated_use import scenes
from tests.outside.generated_use.running import environment, run, wall

PYTHON = (sys.executable,)
ZONES = (
    "UTC", "Europe/Berlin", "America/New_York", "Asia/Kolkata", "Australia/Lord_Howe",
    "Pacific/Apia",
    "America/St_Johns", "Asia/Kathmandu", "Pacific/Kiritimati", "Africa/Casablanca",
)  # fmt: skip


def time_of_day(rng: random.Random, folder: Path) -> list[str]:
    """--now of render, record, soak, view: what a scene reads from every clock of Python."""
    wall(folder)
    zone = rng.choice(ZONES)
    year, month, day = rng.randint(1990, 2037), rng.randint(1, 12), rng.randint(1, 28)
    moment = datetime.datetime(
        year, month, day, rng.randint(0, 23), rng.randint(0, 59), rng.choice((0, 0, 30))
    )
    if rng.random() < 0.2:  # a night on which clocks are changed
        moment = moment.replace(
            month=rng.choice((3, 10)), day=rng.randint(25, 28), hour=rng.randint(0, 3)
        )
    style = rng.choice(
        ("import datetime", "from datetime import datetime as when, date, timezone", "both")
    )
    scenes.write(folder, f"""
import datetime, json
from datetime import date, timezone
from datetime import datetime as when
from time import localtime, strftime, time as seconds
assert {style!r}
def picture(time_s, display):
    with open("told.jsonl", "a") as file:
        print(json.dumps({{
            "at": time_s, "now": datetime.datetime.now().isoformat(),
            "from": when.now().isoformat(),
            "utc": when.now(timezone.utc).isoformat(), "date": date.today().isoformat(),
            "today": when.today().isoformat(), "time": time.time(), "from time": seconds(),
            "ns": time.time_ns() / 1e9, "local": list(localtime()[:6]),
            "text": strftime("%Y-%m-%dT%H:%M:%S"),
            "gmtime": list(time.gmtime()[:6]), "monotonic": time.monotonic(),
        }}), file=file)
    return _bright(time_s, display)
""")  # fmt: skip
    at = rng.choice((0, 0, 1.5, 90, 3600))
    form = rng.choice((moment.isoformat(timespec="minutes"), moment.isoformat()))
    asked = rng.choice((
        ["render", "wall.toml", "scene.py", "--at", f"{at}s", "-o", "x.png"],
        ["record", "wall.toml", "scene.py", "--seconds", "2", "-o", "x"],
        ["soak", "wall.toml", "scene.py", "--hours", "0.001", "--fault", "none"],
    ))  # fmt: skip
    if form.count(":") == 1:
        moment = moment.replace(second=0)
    ran = run([*asked, "--now", form], folder, env=environment(TZ=zone), limit_s=90)
    if ran.status not in (0, 1) or not (folder / "told.jsonl").exists():
        return [f"{asked} --now {form}, {zone}: exit status {ran.status}: {ran.said[-300:]}"]
    begin = moment.replace(tzinfo=zoneinfo.ZoneInfo(zone))
    exists = begin.astimezone(datetime.UTC).astimezone(begin.tzinfo).replace(tzinfo=None) == moment
    twice = begin.replace(fold=1).utcoffset() != begin.utcoffset()
    told: list[str] = []
    for line in (folder / "told.jsonl").read_text().splitlines():
        read = json.loads(line)
        if exists:
            told += _clocks(read, begin, zone, twice)
    return [f"{asked[0]} --now {form}, {zone}: {t}" for t in told[:4]]


def _clocks(read: dict[str, object], begin: datetime.datetime, zone: str, twice: bool) -> list[str]:
    """Complaints if a clock is more than a second off the moment that it should show."""
    due = begin.timestamp() + float(str(read["at"]))
    local = datetime.datetime.fromtimestamp(due, zoneinfo.ZoneInfo(zone)).replace(tzinfo=None)
    utc = datetime.datetime.fromtimestamp(due, datetime.UTC)

    def off(value: datetime.datetime, right: datetime.datetime) -> float:
        return abs((value - right).total_seconds())

    aside = 3600.0 if twice else 0.0  # either of the two hours of that name
    allowed = (0.0, aside)
    told = []
    naive = datetime.datetime.fromisoformat
    seen = {name: off(naive(str(read[name])), local) for name in ("now", "from", "today", "text")}
    seen["utc"] = off(naive(str(read["utc"])), utc)
    seen |= {name: abs(float(str(read[name])) - due) for name in ("time", "from time", "ns")}
    seen["local"] = off(datetime.datetime(*read["local"]), local)  # type: ignore[misc]
    seen["gmtime"] = off(datetime.datetime(*read["gmtime"], tzinfo=datetime.UTC), utc)  # type: ignore[misc]
    for name, error in seen.items():
        if all(abs(error - a) > 1.1 for a in allowed):
            told.append(f"{name} is {error:.1f} s off at {read['at']} s")
    if read["date"] not in (
        local.date().isoformat(),
        (local - datetime.timedelta(seconds=1)).date().isoformat(),
    ):
        told.append(f"date.today() is {read['date']}, not {local.date()}")
    return told


def bad_time(rng: random.Random, folder: Path) -> list[str]:
    """An invalid --now: exit status 2 and a sentence."""
    wall(folder)
    text = rng.choice(("yesterday", "25:00", "2026-13-01T00:00", "2026-02-30T10:00", "", "12",
        "1e9",
                       "2026-12-24T19:00:00:00", "9999-99-99", "0000-01-01T00:00",
                       "٢٠٢٦-12-24T19:00"))  # fmt: skip
    command = rng.choice((["render", "wall.toml", "rows", "-o", "x.png"],
                          ["record", "wall.toml", "rows", "--seconds", "1", "-o", "x"],
                          ["soak", "wall.toml", "rows", "--hours", "0.001"],
                          ["view", "wall.toml", "rows"]))  # fmt: skip
    ran = run([*command, f"--now={text}"], folder, limit_s=20)
    return [f"{command[0]} --now={text!r}: {t}" for t in ran.refused()]
