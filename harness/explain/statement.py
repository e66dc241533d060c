"""One sentence of an explanation."""

from __future__ import annotations

from typing import NamedTuple


class Statement(NamedTuple):
    """One sentence of the explanation, the place it concerns, and what to do."""

    what: str
    where: str
    remedy: str
