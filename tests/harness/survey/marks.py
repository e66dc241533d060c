"""How well `foreglow survey` reads films: each film is made, read by the command, and judged.

    python -m tests.harness.survey.marks --films 20            # ordinary settings
    python -m tests.harness.survey.marks --films 20 --hard
    python -m tests.harness.survey.marks --only 17 --keep film.mp4
    python -m tests.harness.survey.marks --strangers all       # as other people film
    python -m tests.harness.survey.marks --faults              # walls with a fault each

The truth comes from a bench on which each LED is lit alone. The same seed gives the same film.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import av
import numpy as np

from emulator.description.display import Display
from tests.harness.survey.filming import true_places
from tests.harness.survey.filming.strangers import STRANGERS
from tests.harness.survey.films import Film, drawn_film, fault_films, stranger_film

_LONGEST_S = 900
_MOST_BYTES = 4 << 30  # of memory for the command


@dataclass(frozen=True)
class Mark:
    """How a film was read. leds: placed by the plan; right: where they are, or dark if they are;
    wrong: elsewhere, without a flag; lost: called dark, without a flag; flagged: of all.

    legible: of the LEDs, those that somebody could read who knew where they are (`Take.legible`).
    seconds: of the processor for a minute of film; mb: the most memory of any reading so far.
    """

    leds: int
    right: int
    wrong: int
    lost: int
    flagged: int
    legible: int = 0
    seconds: float = 0.0
    mb: float = 0.0
    says: str = ""

    def __str__(self) -> str:
        return (
            f"right {self.right} of {self.leds} ({100 * self.right / max(self.leds, 1):.2f} %),"
            f" wrong {self.wrong}, lost {self.lost}, flagged {self.flagged},"
            f" legible {self.legible}; {self.seconds:.0f} s a minute, {self.mb:.0f} MB"
            f" {self.says}".rstrip()
        )


def judged(display: Display, truth: np.ndarray, told: dict[str, Any]) -> Mark:
    """The mark of what the command tells (its JSON); truth: as `true_places` gives it."""
    wiring = display.wiring
    numbers = np.flatnonzero(~wiring.hidden)
    where = {(int(one["line"]), int(one["led"])): one for one in told["leds"]}
    flags = {(int(one["line"]), int(one["led"])) for one in told["uncertain"]}
    counts = Counter[str]()
    for place, number in enumerate(numbers):
        key = int(wiring.line[number]), int(wiring.led[number])
        one = where.get(key, {"column": None, "row": None})
        lights = truth[place]
        if one["column"] is None:
            right, kind = not lights.any(), "lost"
        else:
            right, kind = bool(lights[one["row"], one["column"]]), "wrong"
        counts["right" if right else kind if key not in flags else "unsure"] += 1
    return Mark(len(numbers), counts["right"], counts["wrong"], counts["lost"], len(flags))


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
        told = json.loads(done.stdout)
        mark = judged(film.display, truth, told)
        says = _fault_in_words(film.faults, told)
    except (ValueError, KeyError, TypeError) as error:
        leds = len(truth)
        last = (done.stderr.strip().splitlines() or [repr(error)])[0]
        mark, says = Mark(leds, 0, 0, 0, leds), f"exit {done.returncode}: {last}"
    minutes = _lasts_s(path) / 60
    took_s = time.monotonic() - begin_s
    costs = {"seconds": cpu_s / minutes, "mb": after.ru_maxrss / 1024}
    return replace(mark, **costs, says=f"({took_s:.0f} s by the clock) {says}")


def _fault_in_words(faults: tuple[str, ...], told: dict[str, Any]) -> str:
    """Whether the command names the wall's fault, or one that looks the same."""
    named = told.get("faults", [])
    if not faults:
        return f"names {named[:2]}" if named else ""
    if any(faults[0] in likes for likes in named):
        return "fault named"
    return f"fault NOT named, but {[likes[:3] for likes in named[:3]]}"


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
    parser.add_argument("--hard", action="store_true")
    parser.add_argument("--strangers", choices=["all", *STRANGERS], help="as other people film")
    parser.add_argument("--faults", action="store_true", help="walls with a fault each")
    parser.add_argument("--only", type=int, metavar="SEED", help="one film")
    parser.add_argument("--keep", type=Path, metavar="FILM", help="keep the last film there")
    parser.add_argument("--folder", type=Path, help="keep films there; read those made before")
    parser.add_argument("--make", action="store_true", help="only make the films")
    asked = parser.parse_args()
    import cv2

    cv2.setNumThreads(1)
    marks = []
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        where = asked.folder or folder
        for film in films(asked, folder):
            print(f"{film.name}  {film.about}", flush=True)
            path = where / film.name
            if not (asked.folder and path.exists()):
                made_whole(film, where)
            if not asked.make:
                mark = marked(film, path.absolute())
                marks.append(replace(mark, legible=film.legible()))
                print(f"    {marks[-1]}", flush=True)
            if asked.keep and path.is_dir():
                shutil.copytree(path, asked.keep)
            elif asked.keep:
                shutil.copy(path, asked.keep)
    if len(marks) > 1:
        print(f"{len(marks)} films: {total(marks)}")


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
        yield from (drawn_film(seed, asked.hard, folder) for seed in range(first, first + count))


def made_whole(film: Film, where: Path) -> None:
    """Make a film, whole or not at all, and say what it took."""
    begin_s = time.process_time()
    with tempfile.TemporaryDirectory(dir=where) as part:
        path = film.write(Path(part)).rename(where / film.name)
    took_s = time.process_time() - begin_s
    print(f"    made in {took_s:.0f} s, {_lasts_s(path):.1f} s long", flush=True)


def total(marks: list[Mark]) -> Mark:
    """All films as one; the costs are the means, the memory the most."""
    counts = {
        key: sum(getattr(mark, key) for mark in marks)
        for key in ("leds", "right", "wrong", "lost", "flagged", "legible")
    }
    return Mark(
        **counts,
        seconds=float(np.mean([mark.seconds for mark in marks])),
        mb=max(mark.mb for mark in marks),
    )


if __name__ == "__main__":
    os.nice(10)
    main()
