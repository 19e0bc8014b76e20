"""The help page of the site file is the table of keys, said in words."""

from pathlib import Path

import pytest

from monitor.settings.help_page import settings_page
from monitor.settings.table import KEYS, Key

PAGE = Path(__file__).parents[2] / "dashboards" / "help" / "settings.md"


def test_page_is_made_from_the_table() -> None:
    # Make it anew with: python -m monitor.settings.help_page > dashboards/help/settings.md
    assert PAGE.read_text() == settings_page()


@pytest.mark.parametrize("key", KEYS, ids=lambda key: f"{key.section} {key.name}")
def test_every_key_is_explained(key: Key) -> None:
    [row] = [
        line for line in PAGE.read_text().splitlines() if line.startswith(f"| `{key.name}` |") and key.meaning in line
    ]
    assert row.count("|") == 5


def test_page_names_the_usual_caution() -> None:
    assert "a competent person decide" in PAGE.read_text()
