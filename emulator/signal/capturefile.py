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
    """A capture file, with what the file itself does not say.

    A name that ends in .csv or .csv.gz means CSV. bits : raw samples of one byte each, in which
    these bits are lines. packed : raw samples of one line, eight a byte. first : the bit of a byte
    that holds the first of its eight samples; default: found from the data. Anything else is VCD.
    rate_hz : samples a second. Raw samples need it; it helps VCD and CSV if their times do not
    show the step. [Hz]

    Raises CaptureError if these contradict each other.
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
        """All lines by name, block by block; each block begins where the last one ended.

        progress: called now and then with the number of bytes of the file read so far.
        Raises CaptureError, perhaps only after some blocks.
        """
        if self.packed and self.rate_hz is not None:
            return packed_blocks(self.path, self.rate_hz, progress, self.first)
        if self._is_csv:
            return csv_blocks(self.path, self.rate_hz, progress)
        if self.bits and self.rate_hz is not None:
            return sample_blocks(self.path, self.rate_hz, self.bits, progress)
        return (block.waveforms for block in vcd_blocks(self.path, progress, self.rate_hz))

    def waveforms(self, progress: Callable[[int], None] = no_progress) -> Mapping[str, Waveform]:
        """All lines by name, whole. Memory grows with the edges. Raises CaptureError."""
        return joined_lines(list(self.blocks(progress)))

    def stretches(
        self, chip: Chip, progress: Callable[[int], None] = no_progress
    ) -> Iterator[Mapping[str, Waveform]]:
        """All lines by name, in stretches of whole frames of a chip; memory does not grow.

        Raises CaptureError, perhaps only after some stretches.
        """
        return stretches(self.blocks(progress), chip)
