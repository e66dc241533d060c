"""Objects that hold a resource of the system and must release it."""

from __future__ import annotations

from abc import ABC, abstractmethod
from types import TracebackType
from typing import Self


class Closing(ABC):
    """A context manager that always calls `close` at its end."""

    @abstractmethod
    def close(self) -> None:
        """Release the resource; a second call does nothing."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
