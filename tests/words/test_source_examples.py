"""The site files and sources that the guides show can be copied: each is read without a fault."""

import re
from pathlib import Path

import pytest

from monitor.settings.site import read_site

HELP = Path(__file__).parents[2] / "dashboards" / "help"
SITE = """
site = "quayside"
[broker]
embedded = true
[[lifter]]
id = "dock-6"
basis = "asme-bth-1"
wll_kg = 900
[lifter.circuits.A]
warning_kpa = 52
[lifter.circuits.B]
warning_kpa = 52
"""
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
        assert read_site(SITE + block, name="guide").sources
