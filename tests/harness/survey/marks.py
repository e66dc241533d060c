"""How well `foreglow survey` reads films: each film is made, read by the command, and judged.

    python -m tests.harness.survey.marks --films 20            # ordinary settings
    python -m tests.harness.survey.marks --films 20 --hard
    python -m tests.harness.survey.marks --only 17 --keep film.mp4

The truth comes from a bench on which each LED is lit alone. A film is repeated by its seed.
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
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import av
import numpy as np

from emulator.description.display import Display
from tests.harness.survey.filming import Setting, drawn, filmed, true_places, walls, write_film

_LONGEST_S = 900


@dataclass(frozen=True)
class Mark:
    """How a film was read. leds: placed by the plan; right: where they are, or dark if they are;
    wrong: elsewhere, without a flag; lost: called dark, without a flag; flagged: of all.

    seconds: of the processor for a minute of film; mb: the most memory of any reading so far.
    """

    leds: int
    right: int
    wrong: int
    lost: int
    flagged: int
    seconds: float = 0.0
    mb: float = 0.0
    says: str = ""


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


def read(wall: str, film: Path, display: Display, truth: np.ndarray) -> Mark:
    """Run the command on a film, and judge what it tells."""
    with av.open(str(film)) as container:
        lasts_s = float(container.duration or 0) / av.time_base
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [sys.executable, "-m", "foreglow", "survey", wall, str(film), "--json"],
        capture_output=True, text=True, timeout=_LONGEST_S, check=False, cwd=film.parent,
    )  # fmt: skip
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    seconds = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    try:
        told = json.loads(done.stdout)
        mark = judged(display, truth, told)
    except (ValueError, KeyError, TypeError) as error:
        leds = int((~display.wiring.hidden).sum())
        last = (done.stderr.strip().splitlines() or [repr(error)])[0]
        mark = Mark(leds, 0, 0, 0, leds, says=f"exit {done.returncode}: {last}")
    shares = {"seconds": 60 * seconds / lasts_s, "mb": after.ru_maxrss / 1024}
    return Mark(**{**vars(mark), **shares})


def make(path: Path, display: Display, setting: Setting, seed: int) -> None:
    """Make a film, whole or not at all, and say what it took."""
    begin_s = time.process_time()
    part = path.with_name(f"part-{path.name}")
    count = write_film(part, filmed(display, setting, seed), setting)
    part.rename(path)
    took_s = time.process_time() - begin_s
    print(f"    {count} frames made in {took_s:.0f} s, {path.stat().st_size / 1e6:.1f} MB")


def film_of(seed: int, hard: bool, folder: Path) -> tuple[str, Display, Setting]:
    """The wall and the setting of a seed: its file or name, the display, the setting."""
    name = walls.NAMES[seed % len(walls.NAMES)]
    setting = drawn("hard" if hard else "ordinary", np.random.default_rng([seed, int(hard)]))
    return walls.wall_file(name, folder), walls.wall(name, folder), setting


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--films", type=int, default=200)
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--hard", action="store_true")
    parser.add_argument("--only", type=int, help="one film, by its seed")
    parser.add_argument("--keep", type=Path, help="keep the film there")
    parser.add_argument("--folder", type=Path, help="keep films there, and read those made before")
    parser.add_argument("--make", action="store_true", help="only make the film")
    asked = parser.parse_args()
    import cv2

    cv2.setNumThreads(1)
    seeds = (
        [asked.only] if asked.only is not None else range(asked.first, asked.first + asked.films)
    )
    total = Counter[str]()
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        for seed in seeds:
            wall, display, setting = film_of(seed, asked.hard, folder)
            path = asked.keep or folder / "film.mp4"
            begin_s = time.process_time()
            count = write_film(path, filmed(display, setting, seed), setting)
            took_s = time.process_time() - begin_s
            kind = "hard" if asked.hard else "ordinary"
            print(f"{kind} {seed} {Path(wall).stem}: {setting.in_words()}", flush=True)
            print(f"    {count} frames made in {took_s:.0f} s, {path.stat().st_size / 1e6:.1f} MB")
            if asked.make:
                continue
            mark = read(
                wall, path.absolute(), count / setting.clip.fps, display, true_places(display)
            )
            print(f"    {line_of(mark)}", flush=True)
            for key in ("leds", "right", "wrong", "lost", "flagged"):
                total[key] += getattr(mark, key)
            total["films"] += 1
    if total["films"] > 1:
        print(f"{total['films']} films: {line_of(Mark(*(total[k] for k in list(total)[:5])))}")


def line_of(mark: Mark) -> str:
    """A mark in a line."""
    return (
        f"right {mark.right} of {mark.leds} ({100 * mark.right / max(mark.leds, 1):.2f} %),"
        f" wrong {mark.wrong}, lost {mark.lost}, flagged {mark.flagged};"
        f" {mark.seconds:.0f} s a minute, {mark.mb:.0f} MB {mark.says}"
    )


if __name__ == "__main__":
    os.nice(10)
    main()
