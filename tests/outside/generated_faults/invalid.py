"""Faults that cannot be: each is refused with an error and status 2, and nothing is written."""

from __future__ import annotations

from pathlib import Path

import numpy as np

import emulator
from tests.outside.generated_physical.run import FELL, folder, foreglow

SEED = 20261405
WALL = """[grid]
columns = 5
rows = 4
gaps = [{ column = 1, row = 1 }]
[chip]
part = "WS2812B"
[wiring]
lines = 2
"""  # line 0: LEDs 0 to 8, runs 0 to 2; line 1: LEDs 0 to 9, runs 3 and 4; feeds 0 to 4

SENTENCES = (
    "", " ", "=", "data-open", "data-open after", "data-open after=", "data-open =3", "data-open 3",
    "data-open after=3 after=4", "data-open after=3, line=0", "data-open after=three",
    "data-open after=3.5", "data-open after=1_0", "data-open after=0x3", "data-open after=٣",
    "data-open after=３", "data-open after=nan", "data-open after=inf", "data-open after=true",
    "data-open after=-2", "data-open after=8", "data-open after=9999999999999999999999",
    "data-open line=2 after=1", "data-open line=-1 after=1", "data-open behind=3",
    "data-opened after=3", "DATA-OPEN after=3 x=1", "data_open after=3", "kind=data-open after=3",
    "data-open after=3 kind=led-dark", "data-open after=3 share=0", "data-open after=3 share=1.1",
    "data-open after=3 share=-0.1", "data-open after=3 share=nan", "data-open after=3 share=1e-400",
    "data-open after=3 spell_s=0", "data-open after=3 spell_s=inf", "data-open after=3 seed=-1",
    "data-open after=3 seed=1.5", "data-open after=3 lit=yes", "data-open\0 after=3",
    "led-dark", "led-dark led=9", "led-dark line=1 led=10", "led-dark led=-1", "led-dark led=",
    "led-dark run=1", "led-swallows led=1 lit=maybe", "led-swallows led=1 lit=2",
    "led-joined led=0", "led-joined led=9", "run-reversed run=5", "run-reversed run=-1",
    "run-reversed", "runs-exchanged run=1", "runs-exchanged run=1 other=1",
    "runs-exchanged run=1 other=5", "run-short run=0 leds=0", "run-short run=0 leds=5",
    "run-short run=0 leds=6", "run-short run=0 leds=-1", "run-long run=0 leds=0",
    "run-long run=0 leds=1001", "run-long run=9", "outputs-exchanged other=0",
    "outputs-exchanged line=1 other=1", "outputs-exchanged other=2", "outputs-exchanged",
    "led-missing led=9", "led-extra after=-2", "led-extra after=9", "other-corner corner=middle",
    "other-corner corner=top-left", "other-corner corner=top_right", "other-corner",
    "against-arrow run=5", "other-chip first=3 last=2 chip=SK6812",
    "other-chip first=0 last=2", "other-chip first=0 last=2 chip=WS9999",
    "other-chip first=0 last=9 chip=SK6812", "other-chip first=-1 last=2 chip=SK6812",
    "other-chip first=0 last=2 chip=APA102", "channel-off led=1",
    "channel-off led=1 channel=white", "channel-off led=1 channel=R", "channel-off led=1 channel=",
    "channel-off led=9 channel=red", "channel-weak led=1 channel=red level=1.2",
    "channel-weak led=1 channel=red level=-0.1", "channel-weak led=1 channel=red level=nan",
    "other-batch first=2 last=1", "other-batch first=0 last=9", "other-batch first=0 last=1 red=5",
    "other-batch first=0 last=1 white=0.5", "low-logic line=2", "low-logic volts=0",
    "low-logic volts=-3", "low-logic volts=16", "low-logic threshold=0.2", "low-logic threshold=1",
    "low-logic volts=nan", "long-wire metres=0", "long-wire metres=-1", "long-wire line=3",
    "long-wire pf_per_m=0", "no-common-ground line=2", "no-common-ground share=2",
    "ground-lifted mohm=-1", "ground-lifted mohm=1e9", "motor-noise noise_v=0",
    "motor-noise noise_v=-1", "busy-computer pause_us=0", "busy-computer line=5",
    "clock-off", "clock-off percent=-91", "clock-off percent=1001", "clock-off percent=nan",
    "clock-off percent=ten", "spi-speed mhz=0", "spi-speed planned_mhz=0", "spi-speed mhz=101",
    "reset-short low_us=-1", "reset-short low_us=inf", "power-joint after=3",
    "power-joint after=3 conductor=minus", "power-joint after=-1 conductor=plus",
    "power-joint after=8 conductor=plus", "power-joint after=4 conductor=plus ohm=-1",
    "power-joint after=3 conductor=plus ohm=-0.5", "power-joint after=3 conductor=plus ohm=nan",
    "power-joint after=3 conductor=plus ohm=shut", "power-joint line=2 after=3 conductor=plus",
    "feed-missing feed=5", "feed-missing feed=-1", "feed-missing", "feed-joint feed=1",
    "feed-joint feed=9 conductor=plus", "bus-joint feed=9 conductor=plus",
    "bus-joint feed=1 conductor=both", "wrong-gauge feed=9", "wrong-gauge feed=1 awg=41",
    "wrong-gauge feed=1 awg=-4", "wrong-gauge feed=1 wire=jumper", "wrong-gauge feed=1 awg=20.5",
    "supply-small", "supply-small amps=0", "supply-small amps=-1", "supply-small supply=1 amps=2",
    "supply-small amps=nan", "supply-trips amps=0", "supply-trips amps=1 retry_s=0",
    "supply-low supply=1", "supply-low volts=0", "supply-low volts=61", "chips-reset volts=0",
    "chips-reset volts=-1", "cover-missing column=5 row=0", "cover-missing column=0 row=4",
    "cover-missing column=0", "cover-missing column=0 row=0 columns=6",
    "cover-missing column=4 row=0 columns=2", "cover-missing column=0 row=3 rows=2",
    "cover-missing column=0 row=0 rows=0", "cover-missing column=-1 row=0",
    "cover-missing column=1 row=1", "cover-cracked column=0 row=0 share=0",
    "cover-cracked column=0 row=0 share=1.5", "led-off-middle led=9",
    "led-off-middle led=1 right_mm=1001", "led-off-middle led=1 right_mm=nan",
    "front-dirty column=0 row=0 passes=1.1", "front-dirty column=0 row=0 passes=-1",
)  # fmt: skip

TABLES = (
    "fault = 3\n",
    'fault = "data-open after=3"\n',
    'fault = ["data-open after=3"]\n',
    '[fault]\nkind = "data-open"\nafter = 3\n',
    "[[fault]]\n",
    "[[fault]]\nafter = 3\n",
    '[[fault]]\nkind = "data-open"\nafter = 3\n[fault.more]\nx = 1\n',
    *(f"[[fault]]\n{keys}\n".replace("; ", "\n") for keys in (
        "kind = 3",
        'kind = ""',
        'kind = ["data-open"]; after = 3',
        'kind = "data-open"; after = "3"',
        'kind = "data-open"; after = true',
        'kind = "data-open"; after = 3.0',
        'kind = "data-open"; after = 3.5',
        'kind = "data-open"; after = [3]',
        'kind = "data-open"; after = {}',
        'kind = "data-open"; after = 2026-11-28',
        'kind = "data-open"; after = nan',
        'kind = "data-open"; after = inf',
        'kind = "data-open"',
        'kind = "data-open after=3"',
        'kind = "data-open"; after = 3; share = "1"',
        'kind = "data-open"; after = 3; share = true',
        'kind = "data-open"; after = 3; lines = 0',
        'kind = "led-swallows"; led = 1; lit = "yes"',
        'kind = "led-swallows"; led = 1; lit = 1',
        'kind = "power-joint"; after = 3; conductor = "plus"; ohm = "shut"',
        'kind = "power-joint"; after = 3; conductor = "plus"; ohm = nan',
        'kind = "power-joint"; after = 3; conductor = "plus"; ohm = true',
        'kind = "power-joint"; after = 3; conductor = "plus"; ohm = "0.5"',
        'kind = "low-logic"; volts = "3.3"',
        'kind = "low-logic"; line = false',
        'kind = "channel-off"; led = 1; channel = 0',
        'kind = "other-corner"; corner = ["top-right"]',
        'kind = "other-chip"; first = 0; last = 1; chip = 2812',
        'kind = "data-open"; after = 99999999999999999999999',
        'kind = "data-open"; after = 3; spell_s = -inf',
    )),
)  # fmt: skip
COMMANDS = (
    ("record", "wall.toml", "rows", "--seconds", "0.1", "-o", "rec"),
    ("render", "wall.toml", "rows", "-o", "out.png"),
    ("check", "wall.toml", "--only", "wire"),
    ("soak", "wall.toml", "rows", "--hours", "0.001"),
    ("run", "wall.toml", "rows", "--to", "memory:", "--seconds", "0.1"),
    ("listen", "wall.toml", "--serial", "--seconds", "0.1"),
)


def as_table(sentence: str) -> str | None:
    """The same as a table, with plain numbers as numbers; None if it does not list parameters."""
    kind, *pairs = sentence.split()
    lines = [f'kind = "{kind}"']
    for pair in pairs:
        key, equals, value = pair.partition("=")
        if not (equals and key.isidentifier() and value):
            return None
        try:
            float(value)
            lines.append(f"{key} = {value}" if value.isascii() and "_" not in value else "")
        except ValueError:
            lines.append(f'{key} = "{value}"')
    return "[[fault]]\n" + "\n".join(lines) + "\n"


def cases() -> list[tuple[str, str]]:
    """(sentence, '') or ('', table)."""
    told = [(s, "") for s in SENTENCES]
    told += [("", as_table(s)) for s in SENTENCES if s.strip() and "\0" not in s and as_table(s)]
    return told + [("", t) for t in TABLES]


def wrong(n: int) -> list[str]:
    sentence, table = cases()[n % len(cases())]
    said = []
    text = WALL + table if table.startswith("[") else table + WALL
    try:
        display = emulator.parse_display(text, Path("wall.toml"))
        emulator.Bench(display, faults=[] if table else [sentence])
        said.append("a bench takes it")
    except emulator.ForeglowError as error:
        if len(str(error)) < 30 or "Fix:" not in str(error):
            said.append(f"a poor error: {error}")
    except Exception as error:
        said.append(f"a bench raises {type(error).__name__}: {error}")
    rng = np.random.default_rng([SEED, n])
    command = COMMANDS[int(rng.integers(len(COMMANDS)))]
    with folder() as place:
        (place / "wall.toml").write_text(text, encoding="utf-8")
        before = sorted(p.name for p in place.rglob("*"))
        answer = foreglow(*command, *([] if table else ["--fault", sentence]))
        new = sorted({p.name for p in place.rglob("*")} - set(before))
    if answer.status == FELL or "Traceback" in answer.err + answer.out:
        said.append(f"{command[0]} falls: {answer.err[-300:]}")
    elif answer.status != 2:
        said.append(f"{command[0]}: status {answer.status}, {(answer.err + answer.out)[-200:]!r}")
    elif "Error" not in answer.err and "rror" not in answer.err + answer.out:
        said.append(f"{command[0]}: no error: {answer.err[-200:]!r}")
    if new and answer.status == 2:
        said.append(f"{command[0]} left {new}")
    return said


def story(n: int) -> str:
    sentence, table = cases()[n % len(cases())]
    return repr(sentence or table)
