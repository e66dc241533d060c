"""What `foreglow survey` says at the terminal."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from rich.console import Console
from rich.text import Text

from harness.report.findings import print_findings
from harness.result.words import listed, many
from harness.survey.told import Survey
from harness.survey.wording import SOLDER

_MOST_REASONS = 6


def print_survey(survey: Survey, console: Console) -> None:
    """Print what was read, the findings, what is uncertain, and what the map as built is worth."""
    display = survey.seen.display
    console.print(
        Text.assemble(
            (display.name, "bold"), f"  {display.in_words}\n",
            f"{survey.found} of {many(len(survey.leds))} read{_states(survey)}",
        )
    )  # fmt: skip
    console.print()
    plain = [replace(one, remedy=one.remedy.removesuffix(SOLDER)) for one in survey.findings]
    print_findings(plain, console)
    if any(one.remedy.endswith(SOLDER) for one in survey.findings):
        console.print(Text(f"{SOLDER}\n", "yellow"))
    if survey.uncertain:
        console.print(Text("Not certain:", "bold"))
        for why, names in _reasons(survey):
            console.print(Text(f"  {names}: {why}"))
        console.print()
    for note in survey.notes:
        console.print(Text(f"· {note}", "cyan"))
    console.print(closing(survey))


def _states(survey: Survey) -> str:
    states = Counter(led.state for led in survey.leds if led.state != "fine")
    return "".join(f", {count} {state}" for state, count in states.most_common())


def _reasons(survey: Survey) -> list[tuple[str, str]]:
    """Each reason with its LEDs, the most frequent first."""
    lines = len(survey.seen.display.wiring.line_lengths) > 1
    of: dict[str, dict[int, list[int]]] = {}
    for one in survey.uncertain:
        of.setdefault(one.why, {}).setdefault(one.line, []).append(one.led)
    order = sorted(of, key=lambda why: -sum(map(len, of[why].values())))
    found = []
    for why in order[:_MOST_REASONS]:
        parts = [
            f"{'LED' if len(leds) == 1 else 'LEDs'} {listed(leds)}"
            + (f" of line {line}" if lines else "")
            for line, leds in of[why].items()
        ]
        found.append((why, ", ".join(parts)))
    if order[_MOST_REASONS:]:
        found.append((f"{len(order) - _MOST_REASONS} other reasons, all in --json", "more LEDs"))
    return found


def closing(survey: Survey) -> Text:
    """What the map as built is worth."""
    if not survey.findings and not survey.uncertain:
        return Text("The wall is as planned.", "bold green")
    if not survey.findings:
        return Text("What was read is as planned.", "green")
    if survey.as_built.lacks:
        text = f"The map as built alone does not make the wall right: {survey.as_built.lacks}."
        return Text(text, "yellow")
    if all(finding.severity != "fault" for finding in survey.findings):
        return Text("Every LED is in its place.", "green")
    return Text(
        "The map as built makes pictures right without soldering: [wiring] map names it.", "green"
    )
