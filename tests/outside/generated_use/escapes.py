"""Escape sequences through every field of every input, to every output."""

from tests.outside.generated_use.fields import (
    display_faults,
    display_texts,
    names,
    recordings,
    tables,
)
from tests.outside.generated_use.voices import (
    boards,
    code_under_test,
    guests_pages,
    logged,
    network_names,
    scene_texts,
)

KINDS = (
    display_texts, names, tables, display_faults, scene_texts, display_texts, names, recordings,
    tables,
    code_under_test, scene_texts, network_names, display_texts, names, boards, guests_pages, logged,
)  # fmt: skip
