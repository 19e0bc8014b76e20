"""The site files and sources that the guides show can be copied: each is read without a fault."""

import re
from pathlib import Path

import pytest

from monitor.settings.site import read_site
from tests.small_site import SMALL_SITE

HELP = Path(__file__).parents[2] / "dashboards" / "help"
BLOCKS = [
    pytest.param(block, id=f"{page}: {block.splitlines()[1][:40]}")
    for page in ("connecting-hardware.md", "first-circuit.md", "running.md")
    for block in re.findall(r"^```\w*\n(.*?)^```", (HELP / page).read_text(), re.MULTILINE | re.DOTALL)
    if block.startswith(("[[source]]", "site = "))
]


def test_there_are_examples() -> None:
    assert len(BLOCKS) >= 7


@pytest.mark.parametrize("block", BLOCKS)
def test_example_of_a_guide_is_read_without_a_fault(block: str) -> None:
    if block.startswith("site = "):
        assert read_site(block, name="guide").core.lifters
    else:
        assert read_site(SMALL_SITE + block, name="guide").sources
