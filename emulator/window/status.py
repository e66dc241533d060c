"""What the strip and the instruments tell, and its words."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Supply:
    """What the supplies give, all together, and the lowest voltage at an LED.

    rated_a: what they can give. limit_a: what the code is meant to keep under, None for none.
    off: a supply has tripped. full: one gives all it can. nominal_v: the highest of them.
    """

    current_a: float
    rated_a: float
    limit_a: float | None
    lowest_v: float
    off: bool = False
    full: bool = False
    nominal_v: float = 5.0

    @property
    def trouble(self) -> str:
        """What is too much, in a few words; '' where nothing is."""
        if self.off:
            return "a supply has tripped"
        if self.full:
            return "a supply gives all it can"
        over = self.limit_a is not None and self.current_a > self.limit_a * (1 + 1e-6)
        return f"over the limit of {self.limit_a:.4g} A" if over else ""


@dataclass(frozen=True)
class Trouble:
    """Why the source that plays gives no picture: one line, and the lines of its traceback."""

    summary: str
    trace: tuple[str, ...] = ()


@dataclass(frozen=True)
class Status:
    """What the strip tells. Times in ns on the display's clock; None where nothing is known yet.

    frame_rate: frames the display got in the last second of real time. wanted: frames a second
    asked for, None where the program's own pace decides. period_ns: of a frame at the display's
    rate. missed: how many frames went wrong in time, and how: ((3, 'late'),).
    """

    playing: str
    time_ns: int
    wire_ns: int | None = None
    frame_rate: float | None = None
    wanted: float | None = None
    supply: Supply | None = None
    period_ns: int | None = None
    missed: tuple[tuple[int, str], ...] = ()
    trouble: Trouble | None = None
    note: str = ""


def clock_words(time_ns: int) -> str:
    """Hours, minutes, seconds and tenths: '0:00:12.3'; tenths are cut, not rounded."""
    tenths = time_ns // 100_000_000
    return f"{tenths // 36000}:{tenths // 600 % 60:02d}:{tenths // 10 % 60:02d}.{tenths % 10}"


def rate_words(status: Status) -> str:
    """'29.9 of 30 frames/s'."""
    if status.frame_rate is None:
        return ""
    of = "" if status.wanted is None else f" of {status.wanted:g}"
    return f"{status.frame_rate:.1f}{of} frames/s"


def supply_words(status: Status) -> str:
    """'12.3 of 45 A, lowest 4.71 V'; of the limit where there is one."""
    supply = status.supply
    if supply is None:
        return ""
    if supply.off:
        return "supply tripped"
    most = f"{supply.rated_a:.4g} A" if supply.limit_a is None else f"{supply.limit_a:.4g} A limit"
    return f"{supply.current_a:.1f} of {most}, lowest {supply.lowest_v:.2f} V"
