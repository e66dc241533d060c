"""Check `wire`: do the bytes fit the lines, and can the wire carry the frame rate?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import chain

import numpy as np

from emulator.description.wiring import Wiring
from emulator.ports.lines import sharing
from emulator.signal.framing import START_BYTES, has_end_frame
from emulator.strip import Sent
from harness.patterns.pattern import PATTERNS
from harness.result.finding import Finding
from harness.result.result import Result
from harness.result.words import joined, many
from harness.subject.trial import Trial


def check(trial: Trial, earlier: tuple[Result, ...] = ()) -> Result:
    """Send one frame, measure it, and calculate the fastest rate that the wire allows.

    bytes_over and leds_short are the worst of all frames so far. If the byte count of a line
    varies, `timing` reports it.
    """
    display = trial.display
    sent = trial.show_pattern(PATTERNS["corners"]).sent[0]
    findings = [*_lengths(trial, sent), *_marks(trial), *_on_the_way(trial)]
    # Ready again when each line's own reset has passed after its last bit.
    cycle_ns = sent.ready_ns - sent.starts_ns
    reset_ns = cycle_ns - sent.wire_ns
    fastest = 1e9 / cycle_ns if cycle_ns else math.inf
    wanted = display.controller.frame_rate
    if wanted > fastest:
        sent_leds, where = max(display.wiring.line_lengths), "the longest line"
        if display.in_turn:
            sent_leds, where = display.leds, "all lines in turn"
        more = sharing(display, wanted)
        findings.append(
            Finding(
                "wire",
                f"{wanted:g} frames/s are not possible: a frame takes {cycle_ns / 1e6:.2f} ms on"
                f" the wire; this rate leaves {1e3 / wanted:.2f} ms",
                "all lines",
                f"{sent_leds} LEDs on {where}: {sent.wire_ns / 1e6:.2f} ms of bits and"
                f" {reset_ns / 1e6:.2f} ms of reset",
                f"{more}{', or ' if more else ''}ask for at most {math.floor(fastest * 10) / 10:g}"
                " frames/s.",
            )
        )
    turns = f" for {len(sent.lines)} lines in turn" if display.in_turn else ""
    return Result(
        "wire",
        f"{cycle_ns / 1e6:.2f} ms a frame{turns}, at most {fastest:.1f} frames/s; {wanted:g} asked"
        " for",
        tuple(findings),
        {
            "wire_ms": sent.wire_ns / 1e6,
            "reset_ms": reset_ns / 1e6,
            "fastest_frames_per_s": round(fastest, 3),
            "wanted_frames_per_s": wanted,
            "bytes_over": trial.lengths.bytes_over,
            "leds_short": trial.lengths.leds_short,
        },
    )


def _lengths(trial: Trial, sent: Sent) -> list[Finding]:
    """Lines that always get too few or too many bytes."""
    wiring, chip = trial.display.wiring, trial.display.chip
    varying = trial.lengths.varying()
    over: dict[tuple[int, int], list[int]] = {}  # bytes and LEDs of the line → lines
    short: dict[tuple[int, int, bool], list[int]] = {}  # LEDs, of how many, without a cell → lines
    for number, (leds, arrival) in enumerate(zip(wiring.line_lengths, sent.lines, strict=True)):
        if number in varying:
            continue
        if arrival.bytes_over:
            over.setdefault((arrival.bytes_over, leds), []).append(number)
        if missing := arrival.leds_short:
            spare = wiring.ends_hidden(number, missing)
            short.setdefault((missing, leds, spare), []).append(number)
    findings = []
    for (extra, leds), lines in over.items():
        names = _names(wiring, lines)
        findings.append(
            Finding(
                "wire",
                f"{many(extra, 'byte')} too many on {names}: they go past the last LED",
                names,
                f"{leds} LEDs of {chip.bytes_per_led} bytes each",
                "send as many bytes as the line has LEDs; check the LED count in your code.",
                "warning",
            )
        )
    for (missing, leds, spare), lines in short.items():
        names = _names(wiring, lines)
        last = [range(end - missing, end) for end in (wiring.line_starts[n] + leds for n in lines)]
        which = f"the last {missing} LEDs of {names} get"
        if missing == 1:
            which = f"the last LED of {names} gets"
        findings.append(
            Finding(
                "wire",
                f"{which} no data",
                names,
                f"the bytes end before LED {leds - missing} of {leds}; {chip.part} takes"
                f" {chip.bytes_per_led} bytes for each LED",
                "none needed: they have no cell, and stay dark until data reaches them."
                if spare
                else "send bytes for every LED of the line; check the LED count and the bytes"
                " for each LED in your code.",
                "note" if spare else "fault",
                tuple(chain.from_iterable(last)),
            )
        )
    return findings


def _names(wiring: Wiring, lines: Sequence[int]) -> str:
    """'line 0', 'line 0, line 1 and line 4'; of many the first ones, and how many there are."""
    return joined([wiring.line_names[number] for number in lines])


def _on_the_way(trial: Trial) -> list[Finding]:
    """What damaged frames between a program and the wire."""
    told = trial.subject.trouble() if trial.subject.trouble is not None else ()
    return [
        Finding("wire", one.what, one.where, one.evidence, one.fix + ".", one.severity)
        for one in told
    ]


def _marks(trial: Trial) -> list[Finding]:
    """LEDs without the three ones that chips with a start frame wait for (APA102 datasheet)."""
    display = trial.display
    if not has_end_frame(display.chip):
        return []
    white = np.full(display.picture_shape, 255, dtype=np.uint8)
    alike: dict[str, list[int]] = {}  # what is wrong → lines
    sent = trial.bench.split(trial.subject.to_wire(white))
    for number, (leds, data) in enumerate(zip(display.wiring.line_lengths, sent, strict=True)):
        body = data[START_BYTES:][: 4 * leds]
        words = body[: body.size - body.size % 4].reshape(-1, 4)
        bare = np.flatnonzero(words[:, 0] < 0b111_00000)
        if data[:START_BYTES].any() or bare.size:
            started = "has no start frame of 32 zero bits" if data[:START_BYTES].any() else ""
            marked = f"LED {bare[0]} begins with {words[bare[0], 0]:#010b}" if bare.size else ""
            seen = "; ".join(part for part in (started, marked) if part)
            alike.setdefault(seen, []).append(number)
    return [
        Finding(
            "wire",
            f"{_names(display.wiring, lines)} {'is' if len(lines) == 1 else 'are'} not framed as"
            f" {display.chip.part} needs it",
            _names(display.wiring, lines),
            seen,
            "send four zero bytes, then for each LED 0b111 with five bits of intensity,"
            f" and the channels in the order {display.chip.order[1:]}, then the end frame.",
        )
        for seen, lines in alike.items()
    ]
