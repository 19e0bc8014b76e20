"""What every test run shares: generated examples are the same each time, so a failure can be looked at again."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from tests.brokers import Broker, mosquitto

settings.register_profile("seeded", derandomize=True, deadline=None, print_blob=True)
settings.load_profile("seeded")


def pytest_addoption(parser: pytest.Parser) -> None:
    """``--update-expected`` writes what golden recordings give now, to be read and kept on purpose."""
    parser.addoption("--update-expected", action="store_true", help="write tests/replay/golden/*.json again")


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """A real Mosquitto of this test's own."""
    made = mosquitto(tmp_path)
    made.start()
    yield made
    made.kill()
