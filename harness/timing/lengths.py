"""How long frames are: all the same, or some too long or too short."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from emulator.strip import Sent
from harness.result.finding import Finding, Severity
from harness.result.words import joined, many
from harness.timing.words import finding

_PROVEN = 3  # short frames with which LEDs still showed their pictures: fewer may be chance


@dataclass
class Lengths:
    """Where the bytes of all frames sent went.

    totals, shorts: bytes of each frame, and LEDs that got no data from it. The others have the
    bytes of each line as key. over, short: the most bytes past the last LED of each line, and the
    most LEDs of it that got no data. first: the first picture with such a frame, in words.
    counts: how many frames had these lengths.
    """

    totals: list[int] = field(default_factory=list)
    shorts: list[int] = field(default_factory=list)
    over: dict[tuple[int, ...], list[int]] = field(default_factory=dict)
    short: dict[tuple[int, ...], list[int]] = field(default_factory=dict)
    first: dict[tuple[int, ...], str] = field(default_factory=dict)
    counts: Counter[tuple[int, ...]] = field(default_factory=Counter)

    def add(self, lengths: tuple[int, ...], sent: Sent, place: str) -> None:
        """Count a frame: bytes of each line, where they went, and its picture in words."""
        self.totals.append(sum(lengths))
        self.shorts.append(sent.leds_short)
        self.counts[lengths] += 1
        self.first.setdefault(lengths, place)
        none = [0] * len(lengths)
        over, short = self.over.setdefault(lengths, none), self.short.setdefault(lengths, none)
        self.over[lengths] = [max(o, a.bytes_over) for o, a in zip(over, sent.lines, strict=True)]
        self.short[lengths] = [max(s, a.leds_short) for s, a in zip(short, sent.lines, strict=True)]

    @property
    def vary(self) -> bool:
        return len(self.counts) > 1

    @property
    def usual(self) -> tuple[int, ...]:
        """The bytes of each line in most of the frames."""
        return self.counts.most_common(1)[0][0]

    @property
    def bytes_over(self) -> int:
        """The most bytes of a frame past the last LEDs of its lines."""
        return max(map(sum, self.over.values()), default=0)

    @property
    def leds_short(self) -> int:
        """The most LEDs that got no data from a frame."""
        return max(map(sum, self.short.values()), default=0)

    def varying(self) -> list[int]:
        """Numbers of the lines whose byte count varies."""
        return [line for line, of in enumerate(zip(*self.counts, strict=True)) if len(set(of)) > 1]

    def finding(self, line_names: Sequence[str], steady: int) -> Finding:
        """Lengths vary: in which share of the frames, by how much, and with what effect.

        A warning if bytes go past the last LED, a fault if LEDs get no data. Exception: several of
        the first `steady` frames, in which each LED showed its picture, were short. Then the code
        leaves out what does not change, and the LEDs keep it. That is a note, and so are end frames
        that are longer than necessary.
        """
        usual, varying = self.usual, self.varying()
        odd = [lengths for lengths in self.counts if lengths != usual]
        frames = sum(self.counts[lengths] for lengths in odd)
        where = joined([line_names[line] for line in varying])
        keeps = sum(short > 0 for short in self.shorts[:steady]) >= _PROVEN
        severity: Severity = "warning" if self.bytes_over else "note"
        if self.leds_short and not keeps:
            severity = "fault"
        kept = "; all LEDs still showed their pictures" if keeps else ""
        example = max(odd, key=lambda lengths: self.counts[lengths])
        return finding(
            f"frame lengths vary: {_share(frames / len(self.totals))} of the frames are"
            f" {self._by(odd)}; of these {self._effect(odd)}",
            where,
            f"{frames} of {many(len(self.totals), 'frame')}, for example {self.first[example]}:"
            f" {_bytes(example, varying)}; {_bytes(usual, varying)} in most frames, of these"
            f" {self._effect([usual])}{kept}",
            "send the same number of bytes for every picture; look for bytes that are appended or"
            " left out now and then.",
            severity,
        )

    def _by(self, odd: list[tuple[int, ...]]) -> str:
        """'30 bytes longer', '3 to 60 bytes shorter', '3 bytes longer or 60 bytes shorter'."""
        apart = [sum(lengths) - sum(self.usual) for lengths in odd]
        longer, shorter = [by for by in apart if by > 0], [-by for by in apart if by < 0]
        parts = [f"{_range(longer)} longer"] if longer else []
        parts += [f"{_range(shorter)} shorter"] if shorter else []
        return " or ".join(parts) or "divided differently among the lines"

    def _effect(self, kinds: list[tuple[int, ...]]) -> str:
        over = max(sum(self.over[lengths]) for lengths in kinds)
        short = max(sum(self.short[lengths]) for lengths in kinds)
        most = "up to " if len(kinds) > 1 else ""
        parts = [f"{most}{many(over, 'byte')} go past the last LED"] if over else []
        parts += [f"{most}{many(short)} get no data"] if short else []
        return " and ".join(parts) or "all bytes are taken"


def _bytes(lengths: tuple[int, ...], lines: list[int]) -> str:
    """'1758 bytes', '96 and 120 bytes' for several lines."""
    return f"{joined([str(lengths[line]) for line in lines])} bytes"


def _range(amounts: list[int]) -> str:
    low, high = min(amounts), max(amounts)
    return many(low, "byte") if low == high else f"{low} to {high} bytes"


def _share(share: float) -> str:
    return f"{share:.0%}" if share >= 0.01 else f"{share:.1%}"
