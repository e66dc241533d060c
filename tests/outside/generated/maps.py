"""Wrong maps, alone and two or three together, as CSV files and as functions."""

from __future__ import annotations

import re
from functools import cache

import numpy as np

from tests.outside.generated.cases import Case
from tests.outside.generated.mistakes import MISTAKES, Mistake, fits, line_shuffled
from tests.outside.generated.run import Report, without
from tests.outside.generated.walls import WALLS, Array, Wall
from tests.outside.generated.words import groups

SEED = 22
SINGLES = 8  # cases of each kind alone
COMPOSITES = 160  # of two or three together
NAMES = ("square", "plain", "rgbw", "clocked", "foyer", "two", "small", "large")


def compose(wall: Wall, mistakes: list[Mistake], random: np.random.Generator) -> Case | None:
    """A case of these mistakes one after another; None where they cancel."""
    shown, parts = wall.cells, []
    half = np.zeros(wall.leds, bool)
    for mistake in mistakes:
        before = shown
        part = mistake(wall, shown, random)
        shown = part.shown
        half |= part.half if part.half is not None else False
        if np.array_equal(before, shown) and part.half is None:
            return None
        parts.append(part)
    shown = np.where(on_wall(wall, shown)[:, None], shown, -1)
    wrong = (shown != wall.cells).any(axis=1) | half
    if wrong.sum() == 0:
        return None
    bijective = not half.any() and {*map(tuple, shown.tolist())} == {
        *map(tuple, wall.cells.tolist())
    }
    as_map = bijective and random.random() < 0.5

    def to_wire(picture: Array) -> bytes:
        light = wall.light(wall.gather(picture, shown))
        light = np.where(half[:, None], light / 2, light)
        return b"".join(wall.frames(np.rint(light * 255).astype(int)))

    rows = [(*wall.names(k), *cell) for k, cell in enumerate(shown.tolist())]
    kind = parts[0].kind if len(parts) == 1 else f"{len(parts)} together"
    return Case(
        kind, wall, "; then ".join(p.truth for p in parts), lambda: to_wire,
        tuple(p.named for p in parts), wrong=wrong, lies=lies,
        otherwise=explained if len(parts) > 1 or "grid" in kind else None,
        style="map" if as_map else "call",
        csv="line,led,column,row\n" + "".join(",".join(map(str, r)) + "\n" for r in rows),
        only=without("patterns"),
        notes={"shown": shown, "half": half.any(), "parts": len(parts),
               "kinds": [p.kind for p in parts]},
    )  # fmt: skip


def on_wall(wall: Wall, shown: Array) -> Array:
    return np.array([c >= 0 and r >= 0 and c < wall.columns and r < wall.rows
                     and not wall.is_gap((c, r)) for c, r in shown.tolist()])  # fmt: skip


MEANT = re.compile(
    r"(?:line (\d+), )?LED (\d+) was meant for column (\d+), row (\d+) and shows column (\d+), "
    r"row (\d+)", re.IGNORECASE,
)  # fmt: skip


def lies(case: Case, report: Report) -> list[str]:
    """Right groups that are accused, false cells, and colour faults although there are none."""
    wall, out = case.wall, []
    wrong, shown = case.wrong, case.notes["shown"]
    assert wrong is not None
    for f in report.findings:
        text = f"{f['what']} | {f['where']} | {f['evidence']}"
        if f["check"] in ("colour", "levels", "time") and not case.notes["half"]:
            out.append(f"{f['check']} is right | {text}")
        kept = re.search(r"(are|is) right", f["what"])
        if f["check"] == "map" and not kept and not any(groups(f["what"], wall)):
            for name, leds in groups(f["where"], wall):
                if np.mean(wrong[leds]) < 0.5:
                    out.append(f"{name!r}: {wrong[leds].sum()} of {len(leds)} are wrong | {text}")
        for match in MEANT.finditer(text):
            k = int(wall.bounds[int(match[1] or 0)]) + int(match[2])
            own, other = map(int, match.group(3, 4)), map(int, match.group(5, 6))
            if (*own,) != (*wall.cells[k],) or (*other,) != (*shown[k],):
                out.append(f"LED {k} is at {wall.cells[k]} and shows {shown[k]} | {text}")
        for n in re.findall(r"(\d+) LEDs? of \d+ affected", f["evidence"]):
            if int(n) > wrong.sum() and case.notes["parts"] == 1:  # of several, one may fix one
                out.append(f"{wrong.sum()} LEDs are wrong, not {n} | {text}")
    return out


def explained(case: Case, report: Report) -> bool:
    """The findings, few of them, name all LEDs that are wrong: other words for the same."""
    covered = np.zeros(case.wall.leds, bool)
    for f in report.findings:
        if re.search(r"nothing that is one cell|always lit|no (further )?pattern", f["what"]):
            return False
        texts = [f["what"]] if any(groups(f["what"], case.wall)) else [f["where"]]
        for _, leds in groups(texts[0], case.wall):
            covered[leds] = True
    assert case.wrong is not None
    most = 2 if case.notes["parts"] == 1 else case.notes["parts"] + 4
    one_by_one = [
        f for f in report.findings if re.search(r"^[^;]*LEDs? .*(exchanged|instead)", f["what"])
    ]
    listed = len(one_by_one) if "pair by pair" in case.truth else 0
    few = len(report.findings) - listed <= most
    return few and bool(covered[case.wrong].mean() > 0.98)


@cache
def cases() -> tuple[Case, ...]:
    """All cases; the random numbers are always the same."""
    random = np.random.default_rng(SEED)
    made: list[Case] = []
    for mistake in MISTAKES:
        walls = [WALLS[n] for n in NAMES if fits(mistake, WALLS[n])]
        for n in range(SINGLES):
            case = None
            while case is None:
                case = compose(walls[n % len(walls)], [mistake], random)
            made.append(case)
    kinds = [m for m in MISTAKES if m is not line_shuffled]  # it would hide the others
    while len(made) < SINGLES * len(MISTAKES) + COMPOSITES:
        wall = WALLS[NAMES[int(random.integers(len(NAMES) - 1))]]
        count = 2 + int(random.random() < 0.35)
        picked = [kinds[k] for k in random.permutation(len(kinds)) if fits(kinds[k], wall)][:count]
        picked.sort(key=lambda m: "first" not in MISTAKES[m])
        if sum("first" in MISTAKES[m] for m in picked) > 1:
            continue
        case = compose(wall, picked, random)
        if case:
            made.append(case)
    return tuple(made)
