"""The server driven from the description of its own interface: whatever is asked, it answers as described."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.specs.openapi.checks import positive_data_acceptance

from dashboards.building import parts
from dashboards.live import Live
from monitor.channel import ChannelClient
from tests.page.serving import engine, serve, wait_ready
from tests.page.statuses import status

pytestmark = pytest.mark.system

FILE = Path(__file__).parents[2] / "dashboards" / "help" / "pages-interface.json"
interface = schemathesis.openapi.from_path(FILE)


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    data = tmp_path_factory.mktemp("interface")
    fake = engine(data, status("holding"))
    try:
        with serve(data) as served:
            wait_ready(served)
            yield served.url
            assert served.process.poll() is None
    finally:
        fake.stop()


def test_description_has_every_address_and_no_other(tmp_path: Path) -> None:
    server, _ = parts(
        Live(),
        ChannelClient(tmp_path),
        data=tmp_path,
        story=None,
        hosts=frozenset(),
        join_link=False,
        listening=("127.0.0.1", 80),
    )
    described = json.loads(FILE.read_text(encoding="utf-8"))["paths"]
    methods = {path: "/".join(method.upper() for method in ways) for path, ways in described.items()}
    assert methods == server.addresses


@interface.parametrize()
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True, database=None)
def test_every_answer_is_as_described(case: schemathesis.Case, address: str) -> None:
    # A name must be printable, which JSON Schema has no word for: such a refusal is right.
    case.call_and_validate(base_url=address, excluded_checks=[positive_data_acceptance])
