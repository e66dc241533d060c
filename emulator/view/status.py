"""What the strip and the instruments show, and its words."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Supply:
    """The current of all supplies together, and the lowest voltage at an LED.

    rated_a: the most they can give. limit_a: the display's limit, None without one. off: a supply
    has tripped. full: a supply gives all it can. nominal_v: the highest nominal voltage.
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
        """What is too much, in a few words; '' if nothing is."""
        if self.off:
            return "a supply has tripped"
        if self.full:
            return "a supply gives all it can"
        over = self.limit_a is not None and self.current_a > self.limit_a * (1 + 1e-6)
        return f"over the limit of {self.limit_a:.4g} A" if over else ""


@dataclass(frozen=True)
class Trouble:
    """Why the playing source gives no picture: one line, and the lines of its traceback."""

    summary: str
    trace: tuple[str, ...] = ()


@dataclass(frozen=True)
class Status:
    """What the window shows. Times in ns on the display's clock; None: not known yet.

    frame_rate: frames the display got in the last second of real time. wanted: frames a second
    asked for; None if the program decides. period_ns: of a frame at the display's rate. missed: how
    many frames had wrong timing, and what was late: ((3, 'computer late'),).
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
    """'12.3 of 45 A, lowest 4.71 V'; with a limit, '12.3 of 30 A limit, …'."""
    supply = status.supply
    if supply is None:
        return ""
    if supply.off:
        return "supply tripped"
    most = f"{supply.rated_a:.4g} A" if supply.limit_a is None else f"{supply.limit_a:.4g} A limit"
    return f"{supply.current_a:.1f} of {most}, lowest {supply.lowest_v:.2f} V"
