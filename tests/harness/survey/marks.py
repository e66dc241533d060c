"""How well `foreglow survey` reads films: each film is made, read by the command, and judged.

    python -m tests.harness.survey.marks --films 20            # ordinary and hard by turns
    python -m tests.harness.survey.marks --only 17 --folder films
    python -m tests.harness.survey.marks --strangers all       # as other people film
    python -m tests.harness.survey.marks --faults              # walls with a fault each

The truth comes from a bench on which each LED is lit alone. The same seed gives the same film. With
`--folder`, films are kept and read again, and marks are kept in `marks.jsonl`: the table is of all
that were read there at this version.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import av
import numpy as np

from emulator.description.display import Display
from harness.survey.told import told
from tests.harness.survey.exact import seen_of
from tests.harness.survey.filming import true_places
from tests.harness.survey.filming.strangers import STRANGERS
from tests.harness.survey.films import Film, drawn_film, fault_films, stranger_film
from tests.harness.survey.mark import Mark, Row, rows_of, table

_LONGEST_S = 900
_MOST_BYTES = 4 << 30  # of memory for the command


def judged(display: Display, truth: np.ndarray, answer: dict[str, Any]) -> Mark:
    """The mark of what the command answers (its JSON); truth: as `true_places` gives it."""
    wiring = display.wiring
    numbers = np.flatnonzero(~wiring.hidden)
    where = {(int(one["line"]), int(one["led"])): one for one in answer["leds"]}
    flags = {(int(one["line"]), int(one["led"])) for one in answer["uncertain"]}
    counts = Counter[str]()
    for place, number in enumerate(numbers):
        key = int(wiring.line[number]), int(wiring.led[number])
        one = where.get(key, {"column": None, "row": None})
        lights = truth[place]
        if key in flags:
            counts["flagged"] += 1
        elif one["column"] is None:
            counts["lost" if lights.any() else "right"] += 1
        else:
            counts["right" if lights[one["row"], one["column"]] else "wrong"] += 1
    return Mark(leds=len(numbers), **counts)


def marked(film: Film, path: Path) -> Mark:
    """Run the command on a film, and judge what it tells."""
    truth = true_places(film.display, film.faults)
    begin_s = time.monotonic()
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    with tempfile.TemporaryDirectory() as folder:
        asks = ["survey", film.wall, str(path), "--json", *film.options]
        done = subprocess.run(
            [sys.executable, "-m", "foreglow", *asks],
            capture_output=True, text=True, timeout=_LONGEST_S, check=False, cwd=folder,
            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (_MOST_BYTES, _MOST_BYTES)),
        )  # fmt: skip
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    try:
        answer = json.loads(done.stdout)
        mark = judged(film.display, truth, answer)
        named = answer.get("faults", [])
        says = _fault_in_words(film, named)
        mark = replace(mark, named=len(named), refused=0)
    except (ValueError, KeyError, TypeError) as error:
        why = " ".join(done.stderr.split()) or repr(error)
        mark, says = Mark(len(truth), refused=1), f"exit {done.returncode}: {why[-300:]}"
    minutes = _lasts_s(path) / 60
    took_s = time.monotonic() - begin_s
    costs = {"seconds": cpu_s / minutes, "mb": after.ru_maxrss / 1024}
    return replace(mark, **costs, says=f"({took_s:.0f} s by the clock) {says}")


def _fault_in_words(film: Film, named: list[list[str]]) -> str:
    """Whether the command names the wall's fault, or what an exact film of the wall would name."""
    found = [{_place(like) for like in likes} for likes in named]
    if not film.faults:
        return f"names {named[:2]}" if named else ""
    if len(found) == 1 and _place(film.faults[0]) in found[0]:
        return "fault named"
    exact = [
        [str(like) for like in cause.faults]
        for cause in told(seen_of(film.display, film.faults)).causes
    ]
    if found == [{_place(like) for like in likes} for likes in exact]:
        return f"as from exact drives: {[likes[:2] for likes in named] or 'nothing'}"
    heads = [[likes[:2] for likes in some] for some in (named, exact)]
    return f"fault NOT named, but {heads[0]}; from exact drives: {heads[1]}"


def _place(fault: str) -> frozenset[str]:
    """A fault's kind and place, without how much light is missing."""
    loose = ("red=", "green=", "blue=", "level=", "passes=")
    return frozenset(word for word in fault.split() if not word.startswith(loose))


def _lasts_s(film: Path) -> float:
    """Seconds of a film; of a folder of stills, four a second."""
    if film.is_dir():
        return len(list(film.iterdir())) / 4
    with av.open(str(film)) as container:
        return float(container.duration or 0) / av.time_base


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--films", type=int, default=200)
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--strangers", choices=["all", *STRANGERS], help="as other people film")
    parser.add_argument("--faults", action="store_true", help="walls with a fault each")
    parser.add_argument("--only", type=int, metavar="SEED", help="one film")
    parser.add_argument("--folder", type=Path, help="keep films there; read those made before")
    parser.add_argument("--make", action="store_true", help="only make the films")
    asked = parser.parse_args()
    import cv2

    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as made:
        where = (asked.folder or Path(made)).absolute()
        where.mkdir(parents=True, exist_ok=True)
        log = where / "marks.jsonl"
        for film in films(asked, where):
            print(f"{film.name}  {film.about}", flush=True)
            truth = where / f"{film.name}.truth.json"
            if not truth.exists():
                truth.write_text(json.dumps(made_whole(film, where)))
            if asked.make:
                continue
            mark = replace(
                marked(film, where / film.name), legible=json.loads(truth.read_text())["legible"]
            )
            print(f"    {mark}", flush=True)
            row = Row(film.name, film.kind, Path(film.wall).stem, version(), mark)
            with log.open("a") as file:
                file.write(json.dumps(asdict(row)) + "\n")
        if log.exists():
            rows = rows_of(log, version())
            print(f"\nmain at {version()}\n\n" + "\n".join(table(rows)))


def films(asked: argparse.Namespace, folder: Path) -> Iterator[Film]:
    """The films asked for."""
    first = asked.first if asked.only is None else asked.only
    if asked.faults:
        yield from fault_films(first, folder)
    elif asked.strangers:
        names = STRANGERS if asked.strangers == "all" else [asked.strangers]
        yield from (stranger_film(name, first, folder) for name in names)
    else:
        count = asked.films if asked.only is None else 1
        yield from (drawn_film(seed, folder) for seed in range(first, first + count))


def made_whole(film: Film, where: Path) -> dict[str, Any]:
    """Make a film, whole or not at all; returns the truth about it, and says what it took."""
    begin_s = time.process_time()
    with tempfile.TemporaryDirectory(dir=where) as part:
        path = film.write(Path(part)).rename(where / film.name)
    took_s = time.process_time() - begin_s
    print(f"    made in {took_s:.0f} s, {_lasts_s(path):.1f} s long", flush=True)
    return {
        "about": film.about,
        "faults": film.faults,
        "command": f"foreglow survey {film.wall} {path} --json",
        "legible": film.legible(),
    }


def version() -> str:
    """The commit that last changed what is judged."""
    ask = ["git", "log", "-1", "--format=%h", "--", "harness", "emulator"]
    return subprocess.run(ask, capture_output=True, text=True, check=True).stdout.strip()


if __name__ == "__main__":
    os.nice(10)
    main()
