"""The table in a CSV file: where it begins, what its columns are, and its cells as numbers.

Before the table there may be a preamble of any text, lines that begin with `;` or `#`, a row of
names and a row of units. Cells may be quoted. Numbers may have a decimal comma if commas do not
separate the cells or the numbers are quoted. Levels may be 0 and 1, H and L, high and low, true and
false. Times may be dates with a time, or times of day (ISO 8601). Rows may begin with the number of
the sample before its time, and may end in empty cells.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_NS = {"s": 1e9, "ms": 1e6, "us": 1e3, "µs": 1e3, "μs": 1e3, "ns": 1.0, "ps": 1e-3}
_NS |= {"seconds": 1e9, "milliseconds": 1e6, "microseconds": 1e3, "nanoseconds": 1.0}
_UNIT = re.compile(rf"(?:^|[^a-zµμ])({'|'.join(_NS)})(?:$|[^a-z])", re.IGNORECASE)
_TIME_NAME = re.compile(r"\bt\b|time|date|clock time", re.IGNORECASE)
_BARE_UNIT = re.compile(rf"\W*({'|'.join(_NS)})\W*", re.IGNORECASE)
_AXIS_NAME = re.compile(r"\bx\b|axis", re.IGNORECASE)
_FRACTION = re.compile(r"\d(?:[.,](\d*))?(?:e([+-]?\d+))?Z?\s*$", re.IGNORECASE)
_COUNT_NAME = re.compile(
    r"\s*(?:#|(?:(?:samples?|index|row|n|nr|no|number)\W*){1,2})\W*", re.IGNORECASE
)
_MOMENT = re.compile(r"\s*(\d{4}[-/]\d\d[-/]\d\d[T ])?(\d\d:\d\d:\d\d(?:[.,]\d{1,9})?)Z?\s*")
_RATE = re.compile(r"(?:rate|sampl\w*|freq\w*)\D{0,20}?(\d+(?:\.\d+)?)\s*([kMG]?)\s*Hz", re.I)
_LEVELS = {"0": 0, "1": 1, "l": 0, "h": 1, "low": 0, "high": 1, "false": 0, "true": 1}
_WORDS = re.compile(r"\b(low|high|false|true|l|h)\b", re.IGNORECASE)
_DAY_NS = 86_400 * 10**9
_MOST_PREAMBLE = 200  # lines


@dataclass(frozen=True)
class Table:
    """How to read the rows of a table.

    first : lines before it. names : of the lines, without the column of times. ns_per_unit :
    nanoseconds in the unit of the times. numbered : columns before the times, which are skipped.
    timed : whether the next column has times. counted : whether it has numbers of samples instead.
    moments : whether times are dates or times of day, which count from the first midnight. words :
    levels are not digits. trailing : rows end in empty cells. rate_hz : as given or in the
    preamble.
    """

    first: int
    names: tuple[str, ...]
    delimiter: str
    ns_per_unit: float = 1e9
    numbered: int = 0
    timed: bool = True
    counted: bool = False
    moments: bool = False
    decimal_comma: bool = False
    words: bool = False
    trailing: bool = False
    rate_hz: int | None = None
    midnight_ns: int = 0

    @property
    def columns(self) -> int:
        """How many columns a row has, without empty ones at its end."""
        return self.numbered + len(self.names) + self.timed

    def tick_ns(self, lines: list[str]) -> float:
        """What the times in these rows are rounded to, judged by their digits. [ns]

        It looks at the first rows and the last: a program that writes a fixed number of digits
        writes later times less finely. Where a time lacks zeros at its end, other rows show more
        digits.
        """
        if not self.timed or self.counted:
            return 0.0
        return max((self._finest_ns(part) for part in (lines[:50], lines[-50:])), default=0.0)

    def _finest_ns(self, lines: list[str]) -> float:
        places = []
        for line in lines:
            cells = _cells(line, self.delimiter)[self.numbered :]
            digits = _FRACTION.search(cells[0]) if cells else None
            if digits and not (cells[0].strip("+-0., ") == "" and len(lines) > 1):
                places.append(int(digits[2] or 0) - len(digits[1] or ""))
        return 10.0 ** min(places) * (1e9 if self.moments else self.ns_per_unit) if places else 0.0

    def numbers(self, lines: list[str]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Times in ns, float64 (rows,), and levels (rows, lines). Raises ValueError.

        Without a column of times, they are the numbers of the rows.
        """
        if self.trailing:
            lines = [line.rstrip(self.delimiter + " \r\n") for line in lines]
        if not any(line.strip() for line in lines):
            return np.zeros(0), np.zeros((0, len(self.names)))
        if self.moments or (self.decimal_comma and self.delimiter == ","):
            cells = np.array(_rows(lines, self.delimiter))
            if cells.ndim != 2 or cells.shape[1] != self.columns:
                raise ValueError("the rows have different lengths")
            cells = cells[:, self.numbered :]
            levels = np.char.replace(_as_digits(cells[:, 1:]), ",", ".").astype(np.float64)
            return self._times(cells[:, 0]), levels
        if self.words:
            lines = [_WORDS.sub(_digit, line) for line in lines]
        if self.decimal_comma:
            lines = [line.replace(",", ".") for line in lines]
        table = np.loadtxt(lines, delimiter=self.delimiter, comments=None, ndmin=2, quotechar='"')
        if table.shape[1] != self.columns:
            raise ValueError("the number of columns changes")
        table = table[:, self.numbered :]
        if not self.timed:
            return np.arange(len(table), dtype=np.float64), table
        return table[:, 0] * self.ns_per_unit, table[:, 1:]

    def _times(self, cells: NDArray[np.str_]) -> NDArray[np.float64]:
        text = np.char.replace(np.char.strip(cells), ",", ".")
        if not self.moments:
            numbers: NDArray[np.float64] = text.astype(np.float64) * self.ns_per_unit
            return numbers
        since: NDArray[np.int64] = _moments(text).astype(np.int64) - self.midnight_ns
        return since.astype(np.float64)


def find_table(lines: list[str], rate_hz: int | None) -> Table | None:
    """The table that begins somewhere in the first lines of a file; None if there is none.

    rate_hz : if it is given, here or in the preamble, the column of times may be missing.
    """
    said = _RATE.search(" ".join(lines[:_MOST_PREAMBLE]))
    if said and rate_hz is None:
        rate_hz = round(float(said[1]) * {"": 1, "k": 1e3, "M": 1e6, "G": 1e9}[said[2]])
    for number, line in enumerate(lines[:_MOST_PREAMBLE]):
        for delimiter in "\t;,":
            cells = _cells(line, delimiter)
            if cells and _is_row(cells, rate_hz is not None):
                return _described(lines, number, delimiter, rate_hz)
    return None


def _described(lines: list[str], number: int, delimiter: str, rate_hz: int | None) -> Table:
    """The table whose first row of data is line `number`."""
    cells = _cells(lines[number], delimiter)
    heads = [
        row
        for line in lines[:number]
        if len(row := _cells(line.lstrip("#; "), delimiter, keep_empty=True)) >= len(cells)
    ]
    units = heads.pop() if len(heads) > 1 and _are_units(heads[-1], heads[-2]) else []
    names = heads[-1] if heads else []
    numbered = int(len(names) > 2 and _is_number_of_time(*names[:2]))
    names, units, cells = names[numbered:], units[numbered:], cells[numbered:]
    head = names[0] if names else ""
    rows = (line for line in lines[number : number + 200] if line.strip())
    first = [_cells(line, delimiter)[numbered:] for line in rows]
    timed = _has_times([row[0] for row in first if row], head, rate_hz)
    found = _UNIT.search(units[0] if units else head.replace("_", " "))
    moments = timed and bool(_MOMENT.fullmatch(cells[0]))
    columns = names[int(timed) : len(cells)] or [""] * (len(cells) - timed)
    return Table(
        first=number,
        names=_distinct(columns),
        delimiter=delimiter,
        ns_per_unit=_NS[found[1].lower()] if found else 1e9,
        numbered=numbered,
        timed=timed,
        counted=bool(timed and rate_hz is not None and _COUNT_NAME.fullmatch(head)),
        moments=moments,
        decimal_comma=any("," in cell for row in first for cell in row),
        words=any(cell.lower() in _LEVELS and not cell.isdigit() for cell in cells[int(timed) :]),
        trailing=lines[number].rstrip().endswith(delimiter) and delimiter != "\t",
        rate_hz=rate_hz,
        midnight_ns=_midnight_ns(cells[0]) if moments else 0,
    )


def _has_times(first: list[str], head: str, rate_hz: int | None) -> bool:
    """Whether the first column has times: yes, unless the rate is known and it has levels."""
    if rate_hz is None or _TIME_NAME.search(head) or _COUNT_NAME.fullmatch(head):
        return True
    return not all(cell.lower() in _LEVELS for cell in first)


def _rows(lines: list[str], delimiter: str) -> list[list[str]]:
    return [row for row in csv.reader(lines, delimiter=delimiter, skipinitialspace=True) if row]


def _cells(line: str, delimiter: str, keep_empty: bool = False) -> list[str]:
    """The cells of one line, without empty ones at its end."""
    row = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    row = [cell.strip() for cell in row]
    while row and not row[-1] and not keep_empty:
        row.pop()
    return row


def _is_row(cells: list[str], may_be_levels: bool) -> bool:
    """Whether cells are a time and levels, or only levels."""
    try:
        for place, cell in enumerate(cells):
            if place < 2 and _MOMENT.fullmatch(cell):
                continue
            if cell.lower() not in _LEVELS:
                float(cell.replace(",", "."))
    except ValueError:
        return False
    return len(cells) > 1 or (may_be_levels and cells[0].lower() in _LEVELS)


def _is_number_of_time(first: str, second: str) -> bool:
    """Whether the names are those of a column of sample numbers (or no name) and one of times."""
    return bool((not first or _COUNT_NAME.fullmatch(first)) and _TIME_NAME.search(second))


def _are_units(cells: list[str], names: list[str]) -> bool:
    """Whether a row below the names is a row of units, as 's,V,V' or 'ns,level'."""
    numbered = int(len(names) > 2 and _is_number_of_time(*names[:2]))
    if len(cells) != len(names) or not _BARE_UNIT.fullmatch(cells[numbered]):
        return _UNIT.search(cells[0]) is not None and all(len(cell) <= 4 for cell in cells)
    if _TIME_NAME.search(names[numbered]) or _AXIS_NAME.search(names[numbered]):
        return True
    return len(set(cells[1:])) == 1 or all(len(cell) <= 4 for cell in cells)


def _moments(text: NDArray[np.str_]) -> NDArray[np.datetime64]:
    """Dates with times, or times of day, as datetime64[ns]. Raises ValueError."""
    text = np.char.replace(np.char.replace(np.char.rstrip(text, "Z"), "/", "-"), ",", ".")
    if "-" not in str(text[0]):
        text = np.char.add("1970-01-01T", text)
    return text.astype("datetime64[ns]")


def _midnight_ns(moment: str) -> int:
    return int(_moments(np.array([moment]))[0].astype(np.int64)) // _DAY_NS * _DAY_NS


def _as_digits(cells: NDArray[np.str_]) -> NDArray[np.str_]:
    lower = np.char.lower(np.char.strip(cells))
    for word, digit in _LEVELS.items():
        if not word.isdigit():
            lower = np.where(lower == word, str(digit), lower)
    return lower


def _digit(match: re.Match[str]) -> str:
    return str(_LEVELS[match[1].lower()])


def _distinct(names: list[str]) -> tuple[str, ...]:
    """The names; a number makes empty and repeated ones different."""
    return tuple(
        name if name and names.count(name) == 1 else f"{name or 'line'} {number}"
        for number, name in enumerate(names)
    )
