"""One case from its number to the verdict."""

import shutil
from pathlib import Path

from tests.outside.generated_survey import cases, judged
from tests.outside.generated_survey.shot import shoot


def run(number: int, kept: Path, kind: str | None = None) -> tuple[cases.Case, judged.Verdict]:
    """Films a case in a folder of `kept`, has it read and judges the answer."""
    return run_case(cases.drawn(number, kind), kept)


def run_case(case: cases.Case, kept: Path) -> tuple[cases.Case, judged.Verdict]:
    """The same for a case that is given."""
    folder = kept / f"{case.number}"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    shot = shoot(case, folder)
    (folder / "truth.txt").write_text(
        f"{case}\n{shot.truth.told}\npitch {shot.pitch_px:.1f} px\n{shot.truth}\n"
    )
    verdict = judged.judge(case, shot, *judged.survey(case, shot))
    return case, verdict
