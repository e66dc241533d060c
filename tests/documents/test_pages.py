"""Documents made from the code are current."""

import pytest

from emulator import parse_display
from tests.documents.pages import PAGES, ROOT


@pytest.mark.parametrize("path", PAGES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_page_is_what_the_code_makes_of_it(path):
    assert path.read_text() == PAGES[path](), "stale: run `python -m tests.documents`"


def test_the_example_of_the_display_file_is_a_display(tmp_path):
    text = (ROOT / "emulator/description/README.md").read_text()
    example = text.split("```toml\n")[1].split("```")[0]
    assert parse_display(example, tmp_path / "wall.toml").leds == 24 * 8
