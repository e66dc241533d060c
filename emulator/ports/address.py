"""The parts of an output's address: kind, place, options, as in serial:///dev/ttyACM0?baud=9600."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from emulator.errors import ForeglowError, near_miss

_UNITS_S = {"ms": 1e-3, "s": 1.0, "min": 60.0, "h": 3600.0}


class AddressError(ForeglowError, ValueError):
    """An address has a known kind of output, but its place or options are wrong."""


@dataclass(frozen=True)
class Address:
    """kind:place?name=value&name=value; `//` before the place is allowed and left out.

    text: the whole address, for messages. An output reads its options by name, with limits, and
    then calls `only`, which refuses all others.
    """

    text: str
    kind: str
    place: str = ""
    options: dict[str, str] = field(default_factory=dict)

    @classmethod
    def parse(cls, text: str) -> Address:
        """Split an address into its parts. Raises AddressError for a broken or repeated option."""
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
        """The whole number of an option, or `default`. Raises AddressError outside the limits."""
        text = self.options.get(name)
        if text is None:
            return default
        if not text.isascii() or not text.isdigit() or not least <= int(text[:20]) <= most:
            raise self.error(f"{name}={text}", f"give {name} as a number from {least} to {most}.")
        return int(text)

    def seconds(self, name: str, default: float, least: float, most: float) -> float:
        """The time of an option in seconds, as 10s, 500ms, 10min or 2h, or `default`; 0: never.

        Raises AddressError for another form or a time outside the limits, which are in seconds.
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
        """The word of an option; default: the first of `known`. Raises AddressError for others."""
        text = self.options.get(name, known[0])
        if text not in known:
            raise self.error(f"{name}={text}", f"give {name} as one of {', '.join(known)}.")
        return text

    def only(self, *names: str, place: bool) -> None:
        """Check the address for an output that knows only these options.

        Raises AddressError for another option, and for a missing or an unexpected place (`place`:
        whether one is needed).
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
        """An AddressError about a part of this address, to raise."""
        return AddressError(f"{what} in '{self.text}' is not understood", fix=fix)
