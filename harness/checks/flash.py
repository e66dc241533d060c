"""Check `flash`: do calm pictures stay below the flash thresholds with the code under test?"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from emulator.bench import Bench
from emulator.clock import SECOND_NS
from emulator.errors import FrameError, SubjectError
from emulator.picture.curve import light_to_value
from harness.flash.judge import Judgement, judge_bench
from harness.flash.result import flash_result
from harness.patterns.sources import named_source
from harness.result.result import Result
from harness.subject.trial import Trial
from scenes import SCENES

# Long enough for four flashes of up to two frames each, and short enough for a quick check.
_RATE = 25
_MOMENT_S = 1.2
_MOST_SHOWN = 200_000  # LEDs times frames of one source; a large wall gets fewer frames
_LEAST_FRAMES = 10


def check(trial: Trial, earlier: tuple[Result, ...] = ()) -> Result:
    """Show a slowly rising white and each demo scene for a moment, and judge the light.

    All of these are calm, so any flash comes from the code. Long runs and other scenes:
    `foreglow flash` and harness.assertions.assert_no_flash_hazard.
    """
    judged = calm(trial)
    return flash_result(
        judged.general,
        judged.red,
        judged.distance_m,
        "while calm pictures were shown",
        "show each picture once and whole, at an even rate: look for dark frames between"
        " pictures, buffers that alternate, or dithering that is too coarse.",
    )


def calm(trial: Trial) -> Judgement:
    """The judgement of calm pictures, with its trace; they are sent again at each call."""
    return judge_bench(_shown(trial))


def _shown(trial: Trial) -> Bench:
    """A bench after the pictures, one every 40 ms; a picture that does not change is sent once."""
    bench = Bench(trial.display)
    last = None
    for picture in _pictures(trial):
        begin_ns = bench.clock.now_ns()
        if last is None or not np.array_equal(picture, last):
            try:
                bench.send_frame(trial.subject.to_wire(picture.copy()))
            except FrameError as error:
                raise SubjectError(error.what, place=trial.subject.name, fix=error.fix) from error
        last = picture
        bench.clock.wait_until(begin_ns + SECOND_NS // _RATE)
    return bench


def _pictures(trial: Trial) -> Iterator[NDArray[np.uint8]]:
    """sRGB pictures (rows, columns, 3): a white that rises by one level each, then every scene."""
    display = trial.display
    frames = min(round(_MOMENT_S * _RATE), max(_MOST_SHOWN // display.leds, _LEAST_FRAMES))
    for number in range(frames):
        yield np.full(display.picture_shape, 256 - frames + number, dtype=np.uint8)
    for name in SCENES:
        source = named_source(name, display)
        for number in range(frames):
            picture = source(number / _RATE)
            if picture.dtype != np.uint8:
                value = light_to_value(picture, display.canvas.curve)
                picture = np.round(255 * value).astype(np.uint8)
            yield picture
