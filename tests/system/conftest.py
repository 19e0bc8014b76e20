"""A real Mosquitto, and the site that uses it."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.brokers import Broker
from tests.system.program import Program
from tests.system.quayside import SITE


@pytest.fixture
def site(broker: Broker, tmp_path: Path) -> Path:
    path = tmp_path / "quayside.toml"
    path.write_text(SITE.format(url=broker.url))
    return path


@pytest.fixture
def running(site: Path, tmp_path: Path) -> Iterator[Program]:
    with Program("run", "--site", site, "--data", tmp_path / "data") as program:
        yield program
