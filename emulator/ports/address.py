"""An output's address taken apart: kind, place and options, as in serial:///dev/ttyACM0?baud=9600."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from emulator.errors import ForeglowError, near_miss

_UNITS_S = {"ms": 1e-3, "s": 1.0, "min": 60.0, "h": 3600.0}


class AddressError(ForeglowError, ValueError):
    """An address names a kind of output there is, but its place or options are wrong."""


@dataclass(frozen=True)
class Address:
    """kind:place?name=value&name=value; `//` before the place is allowed and dropped.

    Every output asks for its options by name, with limits, and then calls `only`.
    """

    text: str
    kind: str
    place: str = ""
    options: dict[str, str] = field(default_factory=dict)

    @classmethod
    def parse(cls, text: str) -> Address:
        """Take an address apart. Raises AddressError for a broken or doubled option."""
        kind, _, rest = text.partition(":")
        place, mark, query = rest.rpartition("?") if "?" in rest else (rest, "", "")
        options: dict[str, str] = {}
        for part in query.split("&") if mark else ():
            name, sign, value = part.partition("=")
            if not name or not sign or name in options:
                raise AddressError(
                    f"'{part}' in '{text}' is not an option",
                    fix="write ?name=value&name=value, each name once.",
                )
            options[name] = value
        return cls(text, kind.lower(), place.removeprefix("//"), options)

    def number(self, name: str, default: int, least: int, most: int) -> int:
        """A whole number among the options, `default` where it is missing. Raises AddressError."""
        text = self.options.get(name)
        if text is None:
            return default
        if not text.isascii() or not text.isdigit() or not least <= int(text[:20]) <= most:
            raise self.error(f"{name}={text}", f"give {name} as a number from {least} to {most}.")
        return int(text)

    def seconds(self, name: str, default: float, least: float, most: float) -> float:
        """A time among the options, as 10s, 500ms, 10min or 2h; 0 for never; else `default`.

        Raises AddressError.
        """
        text = self.options.get(name)
        if text is None:
            return default
        match = re.fullmatch(r"(\d{1,9}(?:\.\d{1,9})?)(ms|s|min|h)?", text, re.ASCII)
        found = float(match[1]) * _UNITS_S[match[2] or "s"] if match else -1.0
        if found != 0 and not least <= found <= most:
            fix = (
                f"give {name} as 10s, 10min or 2h, from {least:g} s to {most:g} s, or 0 for never."
            )
            raise self.error(f"{name}={text}", fix)
        return found

    def choice(self, name: str, known: Sequence[str]) -> str:
        """One of a few words among the options, the first where missing. Raises AddressError."""
        text = self.options.get(name, known[0])
        if text not in known:
            raise self.error(f"{name}={text}", f"give {name} as one of {', '.join(known)}.")
        return text

    def only(self, *names: str, place: bool) -> None:
        """Judge what is there. Raises AddressError for options other than these, or for a place

        missing where one is needed, or given where there is none.
        """
        for name in self.options:
            if name not in names:
                known = f"use only {', '.join(names)}." if names else "leave it out."
                raise self.error(f"the option '{name}'{near_miss(name, names)}", known)
        if place and not self.place:
            raise self.error("the part after the colon is missing", f"write {self.kind}:PLACE.")
        if self.place and not place:
            raise self.error(f"'{self.place}'", f"write {self.kind}: alone.")

    def error(self, what: str, fix: str) -> AddressError:
        """An AddressError about a part of this address."""
        return AddressError(f"{what} in '{self.text}' is not understood", fix=fix)
