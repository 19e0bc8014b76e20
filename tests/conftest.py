"""What every test run shares: generated examples are the same each time, so a failure can be looked at again."""

import pytest
from hypothesis import settings

settings.register_profile("seeded", derandomize=True, deadline=None, print_blob=True)
settings.load_profile("seeded")


def pytest_addoption(parser: pytest.Parser) -> None:
    """``--update-expected`` writes what golden recordings give now, to be read and kept on purpose."""
    parser.addoption("--update-expected", action="store_true", help="write tests/replay/golden/*.json again")
