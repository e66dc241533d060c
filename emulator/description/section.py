"""The base of every section of a display file, with the error its validators raise."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

# One line of text: control characters would reach the terminal.
Words = Annotated[str, Field(max_length=200, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$")]


class Contradiction(ValueError):
    """Values that contradict each other, and how to fix them."""

    def __init__(self, message: str, fix: str) -> None:
        super().__init__(message)
        self.fix = fix


class Section(BaseModel):
    """Frozen facts; an unknown key is an error."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, validate_by_name=True)
