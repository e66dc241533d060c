"""Bench packs and cutter's files of walls at random hold what the display file says.

`python -m tests.outside.generated_bench N` takes more walls.
"""

from __future__ import annotations

import pytest

pytest.importorskip("reportlab")
pytest.importorskip("ezdxf")
pytest.importorskip("pypdf")

from tests.outside.generated_bench.cases import faults, not_refused, story

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]


def test_nothing_is_drawn_wrongly():
    wrong = [f"{story(n)}: {'; '.join(found)}" for n in range(7) if (found := faults(n))]
    assert not wrong, "\n".join(wrong)


def test_bad_inputs_are_refused_whole():
    wrong = not_refused()
    assert not wrong, "\n".join(wrong)
