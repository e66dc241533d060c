"""Check `wire`: do the bytes fit the lines, and the frames the wanted rate?"""

from __future__ import annotations

import math

from harness.checks.check import Result
from harness.finding import Finding
from harness.patterns import PATTERNS
from harness.trial import Trial


def check(trial: Trial, earlier: tuple[Result, ...] = ()) -> Result:
    """Send one frame and measure it; reckon the fastest rate the wire allows."""
    display = trial.display
    sent = trial.show_pattern(PATTERNS["corners"]).sent[0]
    names = display.wiring.line_names
    per_led = display.chip.bytes_per_led
    findings: list[Finding] = []
    for number, (name, arrival) in enumerate(zip(names, sent.lines, strict=True)):
        if arrival.bytes_over:
            findings.append(
                Finding(
                    "wire",
                    f"{arrival.bytes_over} bytes too many on {name}: they fall off the end",
                    name,
                    f"{display.wiring.line_lengths[number]} LEDs of {per_led} bytes each",
                    "send as many bytes as the line has LEDs; check the LED count in your code.",
                    "warning",
                )
            )
        if arrival.leds_short:
            findings.append(
                Finding(
                    "wire",
                    f"the last {arrival.leds_short} LEDs of {name} get nothing",
                    name,
                    f"the bytes end before LED"
                    f" {display.wiring.line_lengths[number] - arrival.leds_short} of"
                    f" {display.wiring.line_lengths[number]}",
                    "send bytes for every LED of the line; check the LED count in your code.",
                )
            )
    # The lines go out in parallel; each is ready again when its own reset has passed.
    cycle_ns = sent.latched_ns - sent.starts_ns
    reset_ns = cycle_ns - sent.wire_ns
    fastest = 1e9 / cycle_ns if cycle_ns else math.inf
    wanted = display.controller.frame_rate
    if wanted > fastest:
        longest = max(display.wiring.line_lengths)
        leds = math.floor(longest * (1e9 / wanted - reset_ns) / max(sent.wire_ns, 1))
        lines = math.ceil(display.leds / leds) if leds > 0 else 0
        more = f"share the LEDs among {lines} lines, or " if lines else ""
        findings.append(
            Finding(
                "wire",
                f"{wanted:g} frames/s cannot be had: a frame takes {cycle_ns / 1e6:.2f} ms on the"
                f" wire, {1e3 / wanted:.2f} ms are there",
                "all lines",
                f"{longest} LEDs on the longest line: {sent.wire_ns / 1e6:.2f} ms of bits and"
                f" {reset_ns / 1e6:.2f} ms of reset",
                f"{more}ask for at most {math.floor(fastest * 10) / 10:g} frames/s.",
            )
        )
    return Result(
        "wire",
        f"{cycle_ns / 1e6:.2f} ms a frame, at most {fastest:.1f} frames/s; {wanted:g} wanted",
        tuple(findings),
        {
            "wire_ms": sent.wire_ns / 1e6,
            "reset_ms": reset_ns / 1e6,
            "fastest_frames_per_s": round(fastest, 3),
            "wanted_frames_per_s": wanted,
            "bytes_over": sent.bytes_over,
            "leds_short": sent.leds_short,
        },
    )
