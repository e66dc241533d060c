"""`foreglow campaign` against brute force: every pattern played on a Bench with the fault.

Judged are faults of wiring and strip, which are there or not: what the drives and the light of all
LEDs are in every picture, compared with the wall as planned.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

import emulator
from harness.patterns.pattern import PATTERNS
from tests.outside.generated_find import cases, eyes
from tests.outside.generated_physical.run import folder, foreglow

DRIVES = {
    "run-reversed", "runs-exchanged", "run-short", "run-long", "outputs-exchanged", "led-missing",
    "led-extra", "other-corner", "led-dark", "led-swallows", "data-open", "led-joined",
    "against-arrow",
}  # fmt: skip
LIGHT = DRIVES | {"channel-off", "channel-on", "channel-weak"}


def shown(display: emulator.Display, fault: str = "") -> dict[str, list[tuple]]:
    """Of each pattern, for each of its pictures the drives and the light of all LEDs."""
    made = {}
    for name, pattern in PATTERNS.items():
        if pattern.for_camera:
            continue  # a campaign plays those for people
        bench = emulator.Bench(display, faults=[fault] if fault else [])
        made[name] = []
        for picture in pattern.pictures(display):
            bench.send(picture)
            made[name].append((bench.drives.copy(), bench.light.copy()))
    return made


def wrong(n: int, most: tuple[int, int] = (5, 5), judge: float = 1.0) -> tuple[int, list[str]]:
    """How many faults of wall `n` were judged, and where the campaign and the bench differ.

    most: columns and rows. judge: the share of faults that are played.
    """
    rng = np.random.default_rng([cases.SEED, n, 2])
    text = cases.wall(rng, most)
    display = emulator.parse_display(text, Path("wall.toml"))
    with folder() as place:
        (place / "wall.toml").write_text(text)
        answer = foreglow("campaign", "wall.toml", "--json", "--pairs", "0", "--workers", "1")
    if answer.data is None:
        return 0, [f"wall {n}, status {answer.status}: {answer.err[-300:]}"]
    whole, seen_of = shown(display), dict[tuple, str]()
    judged, said = 0, []
    for row in answer.data["each"]:
        fault = row["fault"]
        kind = fault.split()[0]
        share = judge if kind in DRIVES else 0.4 * judge
        if kind not in LIGHT or "share=" in fault or rng.random() > share:
            continue
        judged += 1
        built = shown(display, fault)
        exact, by_eye = set[str](), set[str]()
        for name, pictures in built.items():
            for (d, light), (d0, light0) in zip(pictures, whole[name], strict=True):
                if (d != d0).any():
                    exact.add(name)
                for a, b in zip(light0, light, strict=True):
                    if (a != b).any():
                        key = (*a, *b)
                        seen_of.setdefault(key, eyes.look(a, b))
                        if seen_of[key] != eyes.FINE:
                            by_eye.add(name)
        found = set(row["detected_by"])
        if kind in DRIVES and ("exact" in found) != bool(exact):
            said.append(f"wall {n}, {fault}: exact {'exact' in found}, played {sorted(exact)}")
        if ("eye" in found) != bool(by_eye):
            said.append(f"wall {n}, {fault}: eye {'eye' in found}, played {sorted(by_eye)}")
        if by_eye ^ set(row["patterns"]):
            said.append(f"wall {n}, {fault}: by {sorted(row['patterns'])}, played {sorted(by_eye)}")
    return judged, said
