"""Every generated mistake is found and named correctly; right code gets no findings.

A run takes every `STEP`-th case of a part, to be short; `python -m tests.outside.generated PART`
takes all.
"""

from __future__ import annotations

import pytest

from tests.outside.generated.pool import run_all

STEP = {"levels": 6, "timing": 8, "maps": 7, "right": 3}

pytestmark = [pytest.mark.slow, pytest.mark.timeout(900)]


@pytest.mark.parametrize("part", STEP)
def test_mistakes_are_detected_and_named_and_nothing_false_is_said(part):
    outcome = run_all(part, STEP[part])
    print(f"\n{outcome.rates}")
    judged = outcome.judged
    assert not [j for j in judged if j.lies], outcome.failures
    assert all(j.detected for j in judged), outcome.failures
    assert sum(j.named for j in judged) >= 0.98 * len(judged), outcome.failures
