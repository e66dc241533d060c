"""What a bench pack says, read from its PDF, against what is counted."""

from __future__ import annotations

import math
import re
from collections import Counter
from pathlib import Path

import pypdf

from tests.outside.generated_bench.walls import Wall
from tests.outside.generated_physical.run import foreglow

PAPER = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1
POINT = 25.4 / 72


def _segments(page: pypdf.PageObject) -> list[float]:
    """Lengths of straight lines, mm, by the page's own coordinates."""
    at, found = [(0.0, 0.0)], []

    def before(op: bytes, args: list[float], cm: list[float], _tm: list[float]) -> None:
        if op in (b"m", b"l"):
            x, y = (float(v) for v in args)
            now = (cm[0] * x + cm[2] * y + cm[4], cm[1] * x + cm[3] * y + cm[5])
            if op == b"l":
                found.append(math.dist(at[0], now) * POINT)
            at[0] = now

    page.extract_text(visitor_operand_before=before)
    return found


def _pages(pdf: Path, paper: str) -> tuple[list[str], list[str]]:
    """The text of each page, and what is wrong with pages."""
    wrong, texts = [], []
    for n, page in enumerate(pypdf.PdfReader(pdf).pages, 1):
        wide, high = float(page.mediabox.width) * POINT, float(page.mediabox.height) * POINT
        if any(abs(a - b) > 0.1 for a, b in zip(sorted((wide, high)), PAPER[paper], strict=True)):
            wrong.append(f"page {n} is {wide:.1f} × {high:.1f} mm")
        out: list[str] = []

        def look(text: str, cm: list[float], tm: list[float], *_: object, out: list[str] = out,
                 wide: float = wide, high: float = high) -> None:  # fmt: skip
            x = (tm[4] * cm[0] + tm[5] * cm[2] + cm[4]) * POINT
            y = (tm[4] * cm[1] + tm[5] * cm[3] + cm[5]) * POINT
            if text.strip() and not (0 <= x <= wide and 0 <= y <= high):
                out.append(text.strip())

        texts.append(page.extract_text(visitor_text=look))
        wrong += [f"page {n}: {text!r} is outside" for text in out]
        if "Template " in texts[-1]:
            lines = _segments(page)
            if not any(abs(length - 100) < 0.01 for length in lines):
                wrong.append(f"page {n}: no line of 100 mm")
    return texts, wrong


def _number(pattern: str, text: str) -> float | None:
    found = re.search(pattern, text)
    return float(found[1].replace(",", "")) if found else None


def _holes_in_gap(wall: Wall, text: str) -> list[str]:
    """Holes of the list in gap 0; the cells begin at the margin of 60 mm."""
    left, top, columns, rows = (n * wall.pitch for n in wall.gaps[0])
    if wall.front:
        return []
    table = text[text.index("Holes and openings") :]
    row = r"\n(\d+)\n([\d.]+)\n[\d.]+\n([\d.]+)\n[\d.]+\n"
    places = [(n, float(x) - 60 - left, float(y) - 60 - top) for n, x, y in re.findall(row, table)]
    return [
        f"hole {n} is in the camera's gap"
        for n, x, y in places
        if 0.1 < x < columns - 0.1 and 0.1 < y < rows - 0.1
    ]


def faults(wall: Wall, display: Path, paper: str, template: bool) -> list[str]:
    """What the bench pack of this wall says wrongly."""
    pdf = display.with_suffix(".pdf")
    more = [] if template else ["--no-template"]
    answer = foreglow("sheet", display, "-o", pdf, "--paper", paper, *more)
    if answer.status:
        return [f"sheet: status {answer.status}: {answer.err[-300:]}"]
    again = pdf.with_name("again.pdf")
    foreglow("sheet", display, "-o", again, "--paper", paper, *more)
    texts, wrong = _pages(pdf, paper)
    if pdf.read_bytes() != again.read_bytes():
        wrong.append("other bytes the second time")
    text = "\n".join(texts)
    flat = re.sub(r"\s+", " ", text)

    def same(what: str, said: object, true: object) -> None:
        if said != true:
            wrong.append(f"{what}: {said}, not {true}")

    runs, lengths = wall.runs(), wall.lengths()
    same("runs", _number(r"lines?, ([\d,]+) runs?\b", flat), len(runs))
    ends = re.findall(r"run (\d+), line (\d+): LEDs? (\d+)(?: to (\d+))?[^:]*?, (\d+) LEDs?", flat)
    said = {int(run): (int(line), int(count)) for run, line, _, _, count in ends}
    true = {n: (line, k) for n, ((line, _), k) in enumerate(zip(runs, lengths, strict=True))}
    same("LEDs of runs", said, true)
    wires: Counter[str] = Counter()
    length: dict[str, float] = {}
    ways: dict[str, str] = {}
    labels = text[text.index("Labels of the wires") :]
    label = r"([DJFB]\d+(?:\.\d+)?) (data|clock|GND|\+)\s(.*?)([\d,]+) mm [a-z]+\n"
    for name, what, way, mm in re.findall(label, labels, re.DOTALL):
        wires[f"{name} {what}"] += 1
        ways[f"{name} {what}"] = " ".join(way.split())
        length[f"{name} {what}"] = float(mm.replace(",", ""))
    same("labels of a wire", set(wires.values()) - {2}, set())
    jumps = [k for k in range(1, len(runs)) if runs[k][0] == runs[k - 1][0]]
    signals = 2 if wall.clocked else 1
    signal = sum(name[0] == "J" and name.split()[1] in ("data", "clock") for name in wires)
    same("signal wires of jumpers", signal, len(jumps) * signals)
    same("jumpers", _number(r"(\d+) jumpers?\b", flat) or 0, len(jumps))
    # the straight line between the two LEDs, less half a pitch of strip at each end
    for k in jumps:
        mm = next(
            (mm for w, mm in length.items() if ways[w] == f"run {k - 1} end run {k} start"), 0
        )
        straight = (math.dist(runs[k - 1][1][-1], runs[k][1][0]) - 1) * wall.pitch
        if mm < max(0, straight) + wall.loop - 1:
            wrong.append(f"jumper to run {k}: {mm} mm, the straight line is {straight:.0f}")
    feeds = {name.split()[0] for name in wires if name[0] == "F"}
    if wall.feeds:
        same("feeds", len(feeds), len(wall.feeds))
    holes = _number(r"(\d+) of [\d.]+ mm", flat) or 0
    same("holes", holes, 0 if wall.front else 2 * len(jumps) + wall.lines + len(feeds))
    same("wires", _number(r"([\d,]+) wires?,", flat), len(wires))
    metres = _number(r"wires?, ([\d.,]+) m,", flat) or 0
    if abs(metres - sum(length.values()) / 1000) > 0.06 + 0.0005 * len(length):
        wrong.append(f"{metres} m of wire, labels {sum(length.values()) / 1000:.2f} m")
    seams = sum(math.ceil(k / wall.reel) - 1 for k in lengths)  # no longer piece than a reel
    joints = wall.lines * (signals + 1)  # at the strip; the controller has terminals
    joints += 2 * sum(name[0] in "JF" for name in wires) + seams * (signals + 2)
    same("joints", _number(r" joints ([\d,]+): ", flat), joints)
    if wall.camera:  # no hole in the gap that it looks through
        wrong += _holes_in_gap(wall, text)
    drift = re.search(r"over run (\d+) ([+−-][\d.]+) mm", flat)
    if drift:
        cells = lengths[int(drift[1])]
        off = (cells - 1) * abs(1000 / wall.strip_per_m - wall.pitch)
        if abs(abs(float(drift[2].replace("−", "-"))) - off) > 0.02:
            wrong.append(f"lattice {drift[2]} mm over run {drift[1]}, not {off:.2f}")
    else:
        wrong.append("no lattice")
    power = foreglow("power", display, "--json").data
    pairs = sum(w["length_m"] * w["count"] for w in power["wires"] if w["kind"] != "rail")
    plus = sum(mm for name, mm in length.items() if name.endswith("+")) / 1000
    if abs(pairs - plus) > 0.0006 * (len(length) + 1):
        wrong.append(f"power counts {pairs:.3f} m of pairs, the labels {plus:.3f} m")
    return wrong
