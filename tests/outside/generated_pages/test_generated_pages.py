"""Pages of walls at random hold, compare and serve what their own JSON and their walls say.

`python -m tests.outside.generated_pages N` takes more.
"""

from __future__ import annotations

import pytest

from tests.outside.generated_pages import compared, failures, reports

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]


def _wrong(of, count):
    return "\n".join(f"{n}: {'; '.join(found)}" for n in range(count) if (found := of(n)))


def test_pages_hold_what_json_says_and_let_nothing_in_or_out():
    assert not _wrong(reports.faults, 5)


def test_a_comparison_names_what_changed_and_nothing_else():
    assert not _wrong(compared.faults, 12)


def test_files_that_are_not_reports_are_refused():
    assert not compared.not_refused()


def test_a_page_of_failed_tests_holds_their_names(tmp_path):
    assert not failures.faults(0, tmp_path)


def test_the_wall_in_browsers_lets_in_who_should_and_shows_them_the_wall():
    pytest.importorskip("aiohttp")
    from tests.outside.generated_pages import served

    assert not served.doors()
    assert not _wrong(served.pictures, 3)
    assert not _wrong(served.garbage, 1)


def test_pages_in_chromium_ask_for_nothing_and_say_nothing(chromium):
    from tests.outside.generated_pages import opened

    assert not _wrong(lambda n: opened.faults(n, chromium), 2)
    assert not _wrong(lambda n: opened.live(n, chromium), 2)
