"""The page of `foreglow campaign`."""

from __future__ import annotations

import numpy as np

from harness.campaign.campaign import Campaign
from harness.report.campaign.terminal import campaign_tables
from harness.report.page.page import Page, Section, Table, wall_layout
from harness.report.page.records import file_of, record_of
from harness.report.page.tables import page_table

_MOST_ROWS = 200  # of a list; --json has all


def campaign_page(campaign: Campaign) -> Page:
    """What the patterns detect and name, kind by kind, and what nothing shows."""
    display = campaign.display
    missed = int((campaign.changes & ~campaign.eye.detected).sum())
    tables = [page_table(*one) for one in campaign_tables(campaign)]
    survivors = [(str(fault), reason) for fault, reason in campaign.survivors]
    alike = sorted(campaign.alike, key=len, reverse=True)
    groups = [(f"{len(some)}", "; ".join(map(str, some[:6]))) for some in alike]
    lists = [
        _list("Faults that no pattern shows to an eye", ("fault", "why"), survivors),
        _list("Faults that look alike under every pattern", ("faults", "among them"), groups),
    ]
    sentence = (
        f"{missed:,} faults that change something are not seen."
        if missed
        else "The patterns show every fault that changes something an eye can see."
    )
    return Page(
        kind="campaign",
        title=f"{display.name}: campaign",
        verdict="fail" if missed else "pass",
        sentence=sentence,
        facts=f"{len(campaign.faults):,} single faults, each against"
        f" {len(campaign.patterns)} patterns; {display.in_words}",
        walls=[wall_layout(display)],
        sections=[
            Section("Faults and patterns", [*tables, _matrix(campaign)]),
            Section("Not seen, or alike", [one for one in lists if one.rows]),
        ],
        record=record_of(display),
        file=file_of(display),
    )


def _matrix(campaign: Campaign) -> Table:
    """The share of the faults of each kind that each pattern shows, in per cent, rounded down."""
    rows = []
    for kind, which in campaign.kinds.items():
        shares = campaign.eye.matrix[which].mean(axis=0)
        rows.append([kind, *(f"{np.floor(100 * share):.0f}" if share else "–" for share in shares)])
    names = [pattern.name for pattern in campaign.patterns]
    numbers = range(1, len(names) + 1)
    return Table("% of the faults of a kind that an eye sees", ["kind", *names], rows, numbers)


def _list(title: str, headings: tuple[str, str], rows: list[tuple[str, str]]) -> Table:
    left = len(rows) - _MOST_ROWS
    note = f"{left:,} more are in --json." if left > 0 else ""
    return Table(f"{title}: {len(rows):,}", headings, rows[:_MOST_ROWS], (), note)
