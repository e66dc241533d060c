"""The section of a display file that says how pictures look on the display."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError, WrapValidator, model_validator

from emulator.description.section import Contradiction, Section

_LEAST_DRIVE = 4  # of 255: with fewer levels you would see no picture


def _judge_curve(value: Any, validate: Callable[[Any], Any]) -> Any:
    """One error for the key; pydantic would give one for each kind of value."""
    try:
        return validate(value)
    except ValidationError as error:
        raise Contradiction(
            f"'curve' is {value!r:.40}",
            "give 'sRGB', 'L*', or an exponent from 1 to 4, such as 2.2.",
        ) from error


Curve = Literal["sRGB", "L*"] | float
_CurveKey = Annotated[
    Literal["sRGB", "L*"] | Annotated[float, Field(ge=1, le=4)], WrapValidator(_judge_curve)
]
_Gain = Annotated[float, Field(gt=0, le=1)]


class CanvasSection(Section):
    """Brightness, white and curve of pictures; the checks judge all code by them."""

    curve: _CurveKey = Field(
        "sRGB",
        description="what code values mean: 'sRGB', 'L*' (CIE lightness), or an exponent as 2.2",
    )
    white: Annotated[list[_Gain], Field(min_length=3, max_length=3)] = Field(
        [1.0, 1.0, 1.0],
        description="light of red, green, blue in full white; `foreglow light` shows those for D65",
    )
    brightness: _Gain = Field(1.0, description="share of full light, not of lightness")
    dither: bool = Field(
        False, description="show levels between drives by alternating: smooth, but may flicker"
    )

    @model_validator(mode="after")
    def _leaves_levels(self) -> CanvasSection:
        for name, gain in zip(("red", "green", "blue"), self.white, strict=True):
            drive = 255 * gain * self.brightness
            if drive < _LEAST_DRIVE:
                raise Contradiction(
                    f"white and brightness leave {name} {drive:.1f} of 255 levels",
                    f"raise one of the two, so that at least {_LEAST_DRIVE} are left.",
                )
        return self
