"""The command's answer against the truth, LED by LED and finding by finding."""

import json
import subprocess
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from tests.outside.generated_survey import built
from tests.outside.generated_survey.cases import Case
from tests.outside.generated_survey.played import FOREGLOW
from tests.outside.generated_survey.shot import Shot


@dataclass
class Verdict:
    """What became of the LEDs: `placed` right, dark ones told (`dark`), `flagged` as uncertain,
    `wrong` without a flag; `complaints` are disagreements in words, `told` what the command
    says."""

    leds: int = 0
    placed: int = 0
    dark: int = 0
    flagged: int = 0
    wrong: int = 0
    complaints: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    refused: bool = False


def command(case: Case, shot: Shot) -> list[str]:
    """The command line that repeats the reading, from the folder of the film."""
    return ["survey", shot.wall_file.name, shot.path.name, *case.args, "--force", "--json"]


def survey(case: Case, shot: Shot) -> tuple[int, str, str]:
    """Runs the command on a film: exit status, what it prints, its errors."""
    folder: Path = shot.wall_file.parent
    done = subprocess.run(
        [*FOREGLOW, *command(case, shot)],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=900,
        check=False,
    )
    (folder / "out.json").write_text(done.stdout)
    return done.returncode, done.stdout, done.stderr


def judge(case: Case, shot: Shot, status: int, out: str, err: str) -> Verdict:
    """What the answer is worth."""
    verdict = Verdict(leds=len(shot.truth.cell))
    if "Traceback" in out + err:
        verdict.complaints.append("a traceback: " + err.strip().splitlines()[-1])
        return verdict
    if status == 2:
        verdict.refused = True
        verdict.told.append(err.strip())
        if case.ordinary:
            verdict.complaints.append("an ordinary film is refused: " + err.strip().splitlines()[0])
        if "Fix:" not in err:
            verdict.complaints.append("the error has no fix")
        return verdict
    if status not in (0, 1):
        verdict.complaints.append(f"exit status {status}: {err.strip()[-300:]}")
        return verdict
    answer = json.loads(out)
    verdict.told += [
        json.dumps(answer[part])[:600] for part in ("findings", "faults", "notes") if answer[part]
    ]
    if case.unreadable == "other wall":
        if status == 0:
            verdict.complaints.append("exit status 0 with the description of another wall")
        return verdict
    _leds(case, shot, answer, verdict)
    _words(case, shot, status, answer, verdict)
    return verdict


def _leds(case: Case, shot: Shot, answer: dict, verdict: Verdict) -> None:
    truth, columns = shot.truth, case.wall.columns
    flagged = {(entry["line"], entry["led"]) for entry in answer["uncertain"]}
    said = {(entry["line"], entry["led"]): entry for entry in answer["leds"]}
    cells, dark = truth.cell, truth.dark
    if any(
        "on its head" in note or "upside" in note for note in answer["notes"]
    ):  # said, so it counts as such
        cells = np.where(cells >= 0, shot.played.cells - 1 - cells, -1)
    for number, key in enumerate(
        zip(map(int, shot.played.line), map(int, shot.played.led), strict=True)
    ):
        entry = said.get(key)
        if entry is None:
            verdict.complaints.append(f"LED {key} is not in the list")
        elif key in flagged:
            verdict.flagged += 1
        elif entry["column"] is None:
            if dark[number]:
                verdict.dark += 1
            else:
                verdict.wrong += 1
                verdict.complaints.append(
                    f"LED {key} shines in cell {int(cells[number])} and is called {entry['state']}"
                )
        elif dark[number]:
            verdict.wrong += 1
            verdict.complaints.append(
                f"LED {key} is dark and is placed at {entry['column'], entry['row']}"
            )
        elif entry["row"] * columns + entry["column"] == cells[number]:
            verdict.placed += 1
        else:
            verdict.wrong += 1
            true = int(cells[number] % columns), int(cells[number] // columns)
            verdict.complaints.append(
                f"LED {key} sits at {true} and is placed at {entry['column'], entry['row']}"
            )


def _words(case: Case, shot: Shot, status: int, answer: dict, verdict: Verdict) -> None:
    right = not case.mistakes
    told_plainly = case.ordinary and not (case.mirrored and not case.args)
    if right and told_plainly and (status or answer["findings"] or answer["faults"]):
        verdict.complaints.append(
            f"a wall as planned: exit status {status}, findings {answer['findings']}"[:600]
        )
    if not right and (status == 0 or not answer["findings"] + answer["faults"]):
        verdict.complaints.append(f"not named: {shot.truth.told}")
    named = [{text.split()[0] for text in group} for group in answer["faults"]]
    known = set().union(*(built.NAMES[name] for name in case.mistakes))
    for group, kinds in zip(answer["faults"], named, strict=True):
        if not kinds & known:
            verdict.complaints.append(
                f"a fault that is not there: {group}; true: {shot.truth.told}"[:400]
            )
    for name in set(case.mistakes) - {"turned", "weak", "fading"}:
        if case.ordinary and not any(kinds & built.NAMES[name] for kinds in named):
            verdict.complaints.append(f"no fault for '{name}': {shot.truth.told}")
    if case.unreadable and status == 0:
        verdict.complaints.append(f"exit status 0 for a film that is {case.unreadable}")
    if case.ordinary and verdict.flagged > 0.01 * verdict.leds:
        verdict.complaints.append(
            f"{verdict.flagged} of {verdict.leds} LEDs uncertain in an ordinary film"
        )
    states = {entry["state"] for entry in answer["leds"]}
    weak = (shot.truth.gain.max(axis=1) > 0) & (shot.truth.gain.max(axis=1) < 0.4)
    if weak.any() and states <= {"fine"}:
        verdict.complaints.append("weak LEDs are not told")
