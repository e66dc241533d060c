"""A seeded sample of large walls: code right, exchanged, leaking, wrong for single cells."""

import pytest

from tests.outside.generated_large.judged import judge


@pytest.mark.slow
@pytest.mark.parametrize("number", [0, 1, 6, 8])
def test_what_is_said_of_a_large_wall_is_true(number):
    said, differs = judge(number, 2000, 3000)
    assert not differs, said
