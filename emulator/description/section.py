"""The base of every section of a display file, with the error its validators raise."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, model_validator


class Contradiction(ValueError):
    """Values that cannot go together, and how to mend them."""

    def __init__(self, message: str, mend: str) -> None:
        super().__init__(message)
        self.mend = mend


class Section(BaseModel):
    """Frozen facts; a key the section does not know is an error."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, validate_by_name=True)

    @model_validator(mode="before")
    @classmethod
    def _whole_numbers_are_numbers(cls, data: Any) -> Any:
        # TOML writes `pitch_mm = 33` for 33.0; strict mode would refuse it.
        if isinstance(data, dict):
            floats = {n for n, f in cls.model_fields.items() if "float" in str(f.annotation)}
            return {
                k: float(v) if k in floats and type(v) is int and abs(v) < 1e15 else v
                for k, v in data.items()
            }
        return data
