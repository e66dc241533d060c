"""A capture file of any kind: VCD, CSV or raw samples."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from emulator.description.chips import Chip
from emulator.errors import CaptureError
from emulator.signal.csvfile import csv_blocks
from emulator.signal.samples import FirstSample, packed_blocks, sample_blocks
from emulator.signal.stream import no_progress
from emulator.signal.stretches import stretches
from emulator.signal.vcd import vcd_blocks
from emulator.signal.waveform import Waveform, joined_lines

_CSV_ENDINGS = (".csv", ".csv.gz")


@dataclass(frozen=True)
class CaptureFile:
    """A file, and what it does not say itself.

    A name that ends in .csv or .csv.gz is CSV. With bits it is raw samples, one byte each, packed
    eight samples of one line a byte; both need their rate. first: the bit that holds the first of
    eight; default: from the data. Anything else is VCD. rate_hz: samples a second; VCD and CSV
    do without, but it helps where their times do not show the step.

    Raises CaptureError where these do not go together.
    """

    path: Path
    rate_hz: int | None = None
    bits: tuple[int, ...] = ()
    packed: bool = False
    first: FirstSample | None = None

    def __post_init__(self) -> None:
        if self.bits and self.packed:
            raise CaptureError(
                "packed samples have one line and no bit numbers",
                place=self.path,
                fix="leave out the bits, or packed.",
            )
        if self.first and not self.packed:
            raise CaptureError(
                "--first-sample is for packed samples", place=self.path, fix="give --packed too."
            )
        if (self.bits or self.packed) and self.rate_hz is None:
            raise CaptureError(
                "raw samples need a rate", place=self.path, fix="give --rate, as 24MHz."
            )
        if (self.bits or self.packed) and self._is_csv:
            raise CaptureError("CSV has columns, not bits", place=self.path, fix="leave out --bit.")

    @property
    def _is_csv(self) -> bool:
        return self.path.name.lower().endswith(_CSV_ENDINGS)

    def blocks(
        self, progress: Callable[[int], None] = no_progress
    ) -> Iterator[Mapping[str, Waveform]]:
        """All lines, by name, as the file is read: each block begins where the last ended.

        progress: called now and then with the number of bytes of the file read so far.
        Raises CaptureError, perhaps only after some blocks have come.
        """
        if self.packed and self.rate_hz is not None:
            return packed_blocks(self.path, self.rate_hz, progress, self.first)
        if self._is_csv:
            return csv_blocks(self.path, self.rate_hz, progress)
        if self.bits and self.rate_hz is not None:
            return sample_blocks(self.path, self.rate_hz, self.bits, progress)
        return (block.waveforms for block in vcd_blocks(self.path, progress, self.rate_hz))

    def waveforms(self, progress: Callable[[int], None] = no_progress) -> Mapping[str, Waveform]:
        """All lines, by name, as a whole: memory grows with the edges. Raises CaptureError."""
        return joined_lines(list(self.blocks(progress)))

    def stretches(
        self, chip: Chip, progress: Callable[[int], None] = no_progress
    ) -> Iterator[Mapping[str, Waveform]]:
        """All lines in stretches of whole frames of a chip: memory stays flat."""
        return stretches(self.blocks(progress), chip)
