"""The judgement of flashes as the result of a check: figures, findings, the caution."""

from __future__ import annotations

from harness.flash.judge import CAUTION, MOST_FLASHES, Flashing
from harness.flash.words import described
from harness.result.finding import Finding
from harness.result.result import Result


def flash_result(
    general: Flashing, red: Flashing, distance_m: float, context: str, remedy: str
) -> Result:
    """The result `flash`, with a warning for each kind that is not below the thresholds.

    context: added to the evidence, such as 'while calm pictures were shown'. remedy: what to do.
    """
    worst = max(general, red, key=lambda kind: kind.rank)
    findings = tuple(
        Finding(
            "flash",
            f"the light flashes more than {MOST_FLASHES} times a second ({kind.kind} flashes)",
            f"around column {kind.column}, row {kind.row}",
            f"{described(kind)}, {context}. {CAUTION}",
            remedy,
            "warning",
            (kind.led,),
        )
        for kind in (general, red)
        if not kind.below
    )
    return Result(
        "flash",
        f"{described(worst)}: {'above' if findings else 'below'} the thresholds",
        findings,
        {
            "general_most": general.most,
            "general_area_sr": round(general.area_sr, 6),
            "red_most": red.most,
            "red_area_sr": round(red.area_sr, 6),
            "distance_m": distance_m,
            "caution": CAUTION,
        },
    )
