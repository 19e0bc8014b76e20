"""What is installed is what was looked at: every package pinned, with hashes."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("name", ["requirements.lock", "tests/requirements.lock"])
def test_every_pinned_package_has_hashes(name: str) -> None:
    packages = re.split(r"\n(?=\S)", (ROOT / name).read_text("utf-8").strip())
    assert len(packages) > 10
    assert [one for one in packages if not re.match(r"[\w.\[\]-]+==[\w.]+", one)] == []
    assert [one for one in packages if "--hash=sha256:" not in one] == []
