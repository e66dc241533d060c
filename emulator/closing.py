"""Things that hold something of the system's, and give it back."""

from __future__ import annotations

from abc import ABC, abstractmethod
from types import TracebackType
from typing import Self


class Closing(ABC):
    """A context manager that calls `close` at its end, whatever happens within."""

    @abstractmethod
    def close(self) -> None:
        """Give back what is held; a second call does nothing."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
