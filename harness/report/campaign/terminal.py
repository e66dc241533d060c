"""The report of `foreglow campaign`: what is detected and named, by which patterns, what is not."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from harness.campaign.camera import BAND, FLOOR
from harness.campaign.campaign import Campaign, Observed
from harness.campaign.eye import FROM_M, LIT, STEP, TINT
from harness.campaign.smallest import Smallest
from harness.result.words import many

_MOST_SHOWN = 8  # survivors of one reason, and classes
OBSERVERS = {"exact": "exact drives", "eye": "an eye", "camera": "a camera"}


def print_campaign(campaign: Campaign, console: Console) -> None:
    """Print counts, the patterns, the kinds, the smallest sets, look-alikes and survivors."""
    steps = sum(pattern.steps(campaign.display) for pattern in campaign.patterns)
    console.print(
        Text.assemble(
            (campaign.display.name, "bold"),
            f": {len(campaign.faults):,} single faults, each against"
            f" {len(campaign.patterns)} patterns of {steps:,} pictures",
        ),
        highlight=False,
    )
    console.print(_counts(campaign))
    console.print(_patterns(campaign))
    console.print(_kinds(campaign))
    for name, title in reversed(OBSERVERS.items()):
        observed: Observed = getattr(campaign, name)
        console.print(f"The fewest patterns, for {title}:")
        detecting = _set(campaign, observed.detecting)
        apart = _set(campaign, observed.distinguishing)
        console.print(f"  to detect what any pattern shows: {detecting}", highlight=False)
        console.print(f"  to tell apart what all patterns tell apart: {apart}", highlight=False)
    _print_alike(campaign, console)
    _print_survivors(campaign, console)
    _print_pairs(campaign, console)
    console.print(
        f"An eye, {FROM_M:g} m away in a dim room, sees from {LIT:.1%} of full white; a difference"
        f" of {STEP:.0%} of luminance, or of {TINT:g} in u', v'. A camera reads each colour of a"
        f" cell, beside the cell in full white, from {FLOOR:.1%} on in bands of {BAND:.0%}. These"
        " are assumptions, no source.",
        highlight=False,
    )


def campaign_json(campaign: Campaign) -> dict[str, Any]:
    """The campaign as plain data; `faults`, `detected`, `named` and sets are those of an eye."""
    eye, names = campaign.eye, [pattern.name for pattern in campaign.patterns]
    return {
        "display": campaign.display.name,
        "faults": len(campaign.faults),
        "change_something": int(campaign.changes.sum()),
        **_counts_json(campaign, eye),
        "named_alone": int(eye.alone.sum()),
        "survivors": [
            {"fault": str(fault), "reason": reason} for fault, reason in campaign.survivors
        ],
        "pairs": _pairs_json(campaign),
        "smallest_sets_exact": eye.detecting.exact and eye.distinguishing.exact,
        "exact_drives": _counts_json(campaign, campaign.exact),
        "camera": _counts_json(campaign, campaign.camera),
        "matrix": [
            {
                "kind": kind,
                "faults": len(which),
                "detected": int(eye.detected[which].sum()),
                "named": int(eye.named[which].sum()),
                "by_pattern": dict(zip(names, eye.matrix[which].sum(axis=0).tolist(), strict=True)),
            }
            for kind, which in campaign.kinds.items()
        ],
        "look_alikes": [[str(fault) for fault in faults] for faults in campaign.alike],
        "each": _each_json(campaign),
    }


def _counts_json(campaign: Campaign, observed: Observed) -> dict[str, Any]:
    names = [pattern.name for pattern in campaign.patterns]
    return {
        "detected": int(observed.detected.sum()),
        "named": int(observed.named.sum()),
        "smallest_set": [names[number] for number in observed.detecting.patterns],
        "smallest_set_telling_apart": [names[n] for n in observed.distinguishing.patterns],
    }


def _pairs_json(campaign: Campaign) -> dict[str, Any]:
    pairs = campaign.pairs
    return {
        "tried": len(pairs.walls),
        "change_something": int((pairs.eye.makes != 0).sum()),
        "detected": int(pairs.eye.detected.sum()),
        "missed": [[str(fault) for fault in wall] for wall in pairs.missed],
    }


def _each_json(campaign: Campaign) -> list[dict[str, Any]]:
    """A row for each fault: who detects and names it, its class for an eye, and by which patterns
    an eye detects it."""
    eye, names = campaign.eye, np.array([pattern.name for pattern in campaign.patterns])
    by = {name: getattr(campaign, name) for name in OBSERVERS}
    detected = {name: observed.detected for name, observed in by.items()}
    named = {name: observed.named for name, observed in by.items()}
    changes = campaign.changes
    return [
        {
            "fault": str(fault),
            "changes_something": bool(changes[number]),
            "detected_by": [name for name in by if detected[name][number]],
            "named_by": [name for name in by if named[name][number]],
            "class": int(eye.classes[number]),
            "patterns": names[eye.matrix[number]].tolist(),
        }
        for number, fault in enumerate(campaign.faults)
    ]


def campaign_tables(campaign: Campaign) -> list[tuple[str, Table, str]]:
    """(title, table, note) of each table that `print_campaign` prints."""
    sets = "; ".join(
        f"{name}: {_set(campaign, smallest)}"
        for name, smallest in (
            ("the fewest patterns that show to an eye what any pattern shows",
             campaign.eye.detecting),
            ("that tell apart what all patterns tell apart", campaign.eye.distinguishing),
        )
    )  # fmt: skip
    return [
        ("What is detected", _counts(campaign), ""),
        ("Patterns", _patterns(campaign), sets),
        ("Kinds of faults, to an eye", _kinds(campaign), ""),
    ]


def _table(*headings: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0))
    for number, heading in enumerate(headings):
        table.add_column(heading, justify="right" if number else "left")
    return table


def _counts(campaign: Campaign) -> Table:
    table = _table("seen by", "detected", "of those with an effect", "named", "alone")
    for name, title in OBSERVERS.items():
        observed: Observed = getattr(campaign, name)
        changes = observed.makes != 0
        table.add_row(
            title,
            f"{observed.detected.sum():,}",
            _share(int((observed.detected & changes).sum()), int(changes.sum())),
            f"{observed.named.sum():,}",
            f"{observed.alone.sum():,}",
        )
    return table


def _patterns(campaign: Campaign) -> Table:
    table = _table("pattern", "pictures", "seconds", *OBSERVERS.values(), "groups")
    for number, pattern in enumerate(campaign.patterns):
        by = [getattr(campaign, name) for name in OBSERVERS]
        table.add_row(
            pattern.name,
            f"{pattern.steps(campaign.display)}",
            f"{campaign.eye.seconds[number]:.3g}",
            *(_share(int(one.matrix[:, number].sum()), len(campaign.faults)) for one in by),
            f"{campaign.eye.told_apart(number):,}",
        )
    return table


def _kinds(campaign: Campaign) -> Table:
    table = _table("kind", "faults", "detected", "named", "alone", "best pattern")
    eye = campaign.eye
    for kind, which in campaign.kinds.items():
        shown = eye.matrix[which].sum(axis=0)
        # The shortest of the patterns that show most.
        best = int(np.lexsort((eye.seconds, -shown))[0])
        table.add_row(
            kind,
            f"{len(which):,}",
            f"{eye.detected[which].sum():,}",
            f"{eye.named[which].sum():,}",
            f"{eye.alone[which].sum():,}",
            campaign.patterns[best].name if shown[best] else "–",
        )
    return table


def _share(some: int, all_: int) -> str:
    """A share in per cent, rounded down so that 100 % means all."""
    return f"{np.floor(1000 * some / all_) / 10:g} %" if all_ else "–"


def _set(campaign: Campaign, smallest: Smallest) -> str:
    chosen = ", ".join(campaign.patterns[number].name for number in smallest.patterns) or "none"
    if smallest.exact:
        return chosen
    return f"{chosen} (at most {smallest.at_most:.1f} times as many as needed)"


def _print_alike(campaign: Campaign, console: Console) -> None:
    """Print how many classes look alike, and some of them with other walls."""
    alike = campaign.alike
    if not alike:
        return
    console.print(
        f"{len(alike):,} classes of faults look alike to an eye, with {sum(map(len, alike)):,}"
        " faults; the largest:",
        highlight=False,
    )
    for faults in sorted(alike, key=len, reverse=True)[:_MOST_SHOWN]:
        more = f" and {len(faults) - 3} more" if len(faults) > 3 else ""
        console.print(f"  {'; '.join(map(str, faults[:3]))}{more}", highlight=False)


def _print_survivors(campaign: Campaign, console: Console) -> None:
    """Print the faults that nothing shows, by reason."""
    survivors = campaign.survivors
    for reason, count in Counter(reason for _, reason in survivors).items():
        faults = [str(fault) for fault, why in survivors if why == reason]
        more = f" and {count - _MOST_SHOWN} more" if count > _MOST_SHOWN else ""
        console.print(
            f"Not detected, {reason}: {'; '.join(faults[:_MOST_SHOWN])}{more}.", highlight=False
        )


def _print_pairs(campaign: Campaign, console: Console) -> None:
    """Print how many of the pairs of faults are detected."""
    pairs = campaign.pairs
    if not pairs.walls:
        return
    changes = pairs.eye.makes != 0
    detected = {title: getattr(pairs, name).detected for name, title in OBSERVERS.items()}
    by = ", ".join(
        f"{_share(int((seen & changes).sum()), int(changes.sum()))} by {title}"
        for title, seen in detected.items()
    )
    console.print(
        f"{len(pairs.walls):,} pairs of faults, {changes.sum():,} of them with an effect. Detected:"
        f" {by}.",
        highlight=False,
    )
    missed = ["; ".join(map(str, wall)) for wall in pairs.missed]
    for pair in missed[:_MOST_SHOWN]:
        console.print(f"  missed by an eye: {pair}", highlight=False)


def print_took(campaign: Campaign, console: Console) -> None:
    """Print how long it took, on how many workers, and how much of that was overhead."""
    took = campaign.took
    if not took.done:
        return
    share = took.overhead_s / (took.whole_s * took.workers)
    console.print(
        f"{many(took.done, 'part')}, {took.parts_s:.1f} s of work in {took.whole_s:.1f} s on"
        f" {many(took.workers, 'worker')}: overhead {took.overhead_s:.1f} s, {share:.0%} of their"
        " time.",
        highlight=False,
    )
