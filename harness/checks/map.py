"""Check `map`: does every LED show the cell it sits in?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools
from harness.checks.blends import blend_findings
from harness.checks.hidden import HIDDEN_LIT, not_told
from harness.explain import explain
from harness.explain.explanation import Explanation
from harness.explain.operations import SameCell, Shows, Shuffled
from harness.measure.blend import tells
from harness.patterns.coded import ALWAYS_LIT, NEVER_LIT, READS_GAP, UNCLEAR, read_codes
from harness.result.finding import Finding
from harness.result.result import Result
from harness.subject.trial import Trial


def check(trial: Trial, earlier: tuple[Result, ...] = ()) -> Result:
    """Read the map back from the coded pattern and explain where it differs from the wiring."""
    wiring, placed = trial.judged.wiring, trial.display.wiring.placed
    seen = trial.coded
    every = seen.light.sum(axis=-1)
    light = every[:, placed]
    source = read_codes(light, trial.display.gap)
    # Inverted for each LED on its own; an LED whose light never changes stays as it is.
    inverted = read_codes(light.max(axis=0) - light, trial.display.gap)
    inverted = np.where(np.isin(source, (NEVER_LIT, ALWAYS_LIT)), source, inverted)
    findings: tuple[Finding, ...] = ()
    upside = trial.measured.inverted if (inverted == wiring.cell).any() else False
    if upside and (inverted == wiring.cell).sum() > max(
        len(wiring) / 2, (source == wiring.cell).sum()
    ):
        source = inverted  # the check `levels` reports it
    unclear = (source < 0) & (source != READS_GAP)
    if unclear.any():  # levels so wrong that they hide the code can still follow its cell
        follows = trial.measured.follows(trial.places)
        source = np.where(unclear & follows, wiring.cell, source)
    if trial.measured.scattered:  # mixed codes can look like that of another cell
        elsewhere = (source >= 0) & (source != wiring.cell)
        follows_one = tells(trial.judged, trial.measured.shown, _places(trial, source))
        source = np.where(elsewhere & ~follows_one, UNCLEAR, source)
    blend = trial.measured.blend
    mixes = np.zeros(len(wiring), dtype=np.bool_) if blend is None else blend.doubtful
    if blend is not None:
        cells = np.flatnonzero(~trial.display.gap.reshape(-1))
        base = blend.base(trial.places)
        source = np.where(mixes, cells[base], source)
        if (mixes & _one_by_one(explain(wiring, source))).any():
            # The largest shares move in no order: that is the mixture, and the map is right.
            source, base = np.where(mixes, wiring.cell, source), _places(trial, wiring.cell)
        findings = trial.of_display(blend_findings(trial.measured, base))
    own = (source == wiring.cell) & ~mixes
    right = int(own.sum())
    shown = read_codes(every, trial.display.gap)  # by hidden LEDs too, which must show nothing
    shown[placed] = source
    hidden = trial.display.wiring.hidden
    told = np.flatnonzero(hidden & (shown != NEVER_LIT))
    if (shown != trial.display.wiring.cell).any():
        findings = (*explain(trial.display.wiring, shown).findings(), *findings)
    findings = (*findings, *not_told(trial, "map", told))
    summary = f"{right} of {len(wiring)} LEDs show their own cell"
    if hidden.any():
        dark = hidden & (trial.hidden_drive == 0)
        summary += f"; {dark.sum()} of {hidden.sum()} without a cell stay dark"
    return Result(
        "map",
        summary,
        findings,
        {
            "leds": len(wiring),
            "leds_right": right,
            "frames": len(seen.sent),
            "leds_wrong": placed[~own].tolist(),
            HIDDEN_LIT: np.flatnonzero(trial.hidden_drive).tolist(),
        },
    )


def _one_by_one(explanation: Explanation) -> Bools:
    """(N,) LEDs that follow no order, so that each is named for itself."""
    leds = np.zeros(len(explanation.source), dtype=np.bool_)
    leds[explanation.remaining] = True
    for operation in explanation.operations:
        if isinstance(operation, Shuffled | Shows):
            leds[list(operation.leds)] = True
        elif isinstance(operation, SameCell):
            leds[operation.led] = True
    return leds


def _places(trial: Trial, source: NDArray[np.int64]) -> NDArray[np.int64]:
    """(M,) the place of each cell (M,) among those that hold an LED, row by row; 0 for a mark."""
    place = np.cumsum(~trial.display.gap.reshape(-1)) - 1
    return np.where(source >= 0, place[np.maximum(source, 0)], 0)
