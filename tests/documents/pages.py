"""The documents that are made from the code, and what makes them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import emulator
from tests.documents.displayfile import display_file_reference
from tests.documents.faultspage import faults_page

ROOT = Path(emulator.__file__).parent.parent

PAGES: Mapping[Path, Callable[[], str]] = {
    ROOT / "emulator/description/README.md": display_file_reference,
    ROOT / "emulator/description/faults/README.md": faults_page,
}
