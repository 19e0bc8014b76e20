"""What is installed is what was looked at: every package pinned, with hashes."""

import re
from hashlib import sha256
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("name", ["requirements.lock", "tests/requirements.lock"])
def test_every_pinned_package_has_hashes(name: str) -> None:
    packages = re.split(r"\n(?=\S)", (ROOT / name).read_text("utf-8").strip())
    assert len(packages) > 10
    assert [one for one in packages if not re.match(r"[\w.\[\]-]+==[\w.]+", one)] == []
    assert [one for one in packages if "--hash=sha256:" not in one] == []


def test_plotting_library_is_the_published_one() -> None:
    """The file of npm's package ``plotly.js-basic-dist-min`` 4.1.1, byte for byte."""
    script = (ROOT / "dashboards" / "assets" / "plotly-basic.min.js").read_bytes()
    assert b"plotly.js (basic - minified) v4.1.1" in script[:100]
    assert sha256(script).hexdigest() == "99784e3abfb07b142a15e521a439e6d9addceadb3f79553fd24c72774f0649ba"
