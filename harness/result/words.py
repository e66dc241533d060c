"""Wording that every part shares: numbers in sentences, and lists shortened for reading."""

from __future__ import annotations

from collections.abc import Collection, Sequence

_ITEMS = 6  # items a sentence lists before it says how many there are


def listed(numbers: Collection[int]) -> str:
    """Whole numbers as a short list.

    >>> listed([4]), listed([6, 7]), listed([1, 3, 5, 7, 9]), listed(range(10, 21))
    ('4', '6 and 7', '1, 3, 5 … 9', '10 to 20')
    >>> listed([1, 3, 5, 7])
    '1, 3, 5 and 7'
    """
    parts: list[str] = []
    for p in progressions(sorted(numbers)):
        if len(p) > 3 and p.step == 1:
            parts.append(f"{p[0]} to {p[-1]}")
        elif len(p) > 4:
            parts.append(f"{p[0]}, {p[1]}, {p[2]} … {p[-1]}")
        else:
            parts.extend(str(n) for n in p)
    return joined(parts, len(numbers))


def joined(parts: Sequence[str], count: int | None = None) -> str:
    """'a', 'a and b', 'a, b and c'; of many only the first ones, followed by their `count`.

    >>> joined(["a", "b", "c"]), joined(list("abcdefgh"))
    ('a, b and c', 'a, b, c, d, e, f … (8 in all)')
    """
    if len(parts) > _ITEMS:
        return f"{', '.join(parts[:_ITEMS])} … ({count or len(parts)} in all)"
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} and {parts[-1]}"


def counted(noun: str, numbers: Collection[int]) -> str:
    """'row 4', 'rows 6 and 7'."""
    return f"{noun if len(numbers) == 1 else noun + 's'} {listed(numbers)}"


def many(count: int, noun: str = "LED") -> str:
    """'1 LED', '12 LEDs'."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def progressions(numbers: Collection[int]) -> list[range]:
    """Cut a sorted list greedily into a few arithmetic progressions.

    >>> progressions([1, 3, 5, 7, 8, 20])
    [range(1, 8, 2), range(8, 21, 12)]
    """
    found: list[list[int]] = []
    for number in numbers:
        current = found[-1] if found else None
        if current and (len(current) == 1 or number - current[-1] == current[1] - current[0]):
            current.append(number)
        else:
            found.append([number])
    return [range(p[0], p[-1] + 1, p[1] - p[0] if len(p) > 1 else 1) for p in found]
