"""A capture file of any kind: VCD, CSV or raw samples."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from emulator.description.chips import Chip
from emulator.errors import CaptureError
from emulator.signal.csvfile import read_csv
from emulator.signal.samples import read_samples
from emulator.signal.vcd import no_progress, read_vcd
from emulator.signal.vcdstream import stream_vcd
from emulator.signal.waveform import Waveform

_CSV_ENDINGS = (".csv", ".csv.gz")


@dataclass(frozen=True)
class CaptureFile:
    """A file, and what it does not say itself.

    A name that ends in .csv or .csv.gz is CSV. With bits it is raw samples, one byte each, and
    needs their rate. Anything else is VCD. rate_hz: samples a second; for CSV it may be left out.

    Raises CaptureError where these do not go together.
    """

    path: Path
    rate_hz: int | None = None
    bits: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        if self.bits and self.rate_hz is None:
            raise CaptureError(
                f"{self.path}: raw samples without their rate\n  To mend: give the rate, as 24MHz."
            )
        if self.bits and self._is_csv:
            raise CaptureError(
                f"{self.path}: CSV has columns, not bits\n  To mend: leave out the bits."
            )
        if self.rate_hz is not None and not self.bits and not self._is_csv:
            raise CaptureError(
                f"{self.path}: a rate, but VCD says its times itself\n"
                "  To mend: leave out the rate; for raw samples give the bits, too."
            )

    @property
    def _is_csv(self) -> bool:
        return self.path.name.lower().endswith(_CSV_ENDINGS)

    def waveforms(self, progress: Callable[[int], None] = no_progress) -> Mapping[str, Waveform]:
        """All lines, by name. Raises CaptureError.

        progress: is told now and then how many bytes of the file have been read.
        """
        if self._is_csv:
            step_ns = None if self.rate_hz is None else -(-1_000_000_000 // self.rate_hz)
            return read_csv(self.path, step_ns, progress)
        if self.rate_hz is not None:
            return read_samples(self.path, self.rate_hz, self.bits, progress)
        return read_vcd(self.path, progress).waveforms

    def stretches(
        self, chip: Chip, progress: Callable[[int], None] = no_progress
    ) -> Iterator[Mapping[str, Waveform]]:
        """All lines in stretches of time, as `stream_vcd` cuts them; other kinds come whole."""
        if self._is_csv or self.bits:
            yield self.waveforms(progress)
            return
        for lines in stream_vcd(self.path, chip, progress):
            yield lines.waveforms
