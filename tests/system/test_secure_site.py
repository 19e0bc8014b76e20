"""A site as it should be: Mosquitto by the shipped files, TLS, a user for each, and `run` as the monitor's user."""

import json
import time
from pathlib import Path
from typing import Any

import pytest

from monitor.broker import BrokerClient, Message
from tests.brokers import wait_for
from tests.contract.test_mosquitto_files import READINGS, Site, link, pub, site
from tests.system.program import Program
from tests.system.quayside import SITE, reading

pytestmark = pytest.mark.system
__all__ = ["site"]


def site_file(mosquitto: Site, folder: Path) -> Path:
    path = folder / "quayside.toml"
    path.write_text(SITE.format(url=mosquitto.url).replace("[pages]", f'ca_file = "{mosquitto.ca}"\n[pages]'))
    return path


def statuses(reader: BrokerClient) -> list[dict[str, Any]]:
    return [json.loads(one.payload) for one in reader.drain(0.1) if isinstance(one, Message) and one.payload]


def test_reading_of_a_lifter_becomes_a_status_for_the_reader(
    site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HOLDWATCH_BROKER_USER", "holdwatch")
    monkeypatch.setenv("HOLDWATCH_BROKER_PASSWORD", "of holdwatch")
    with Program("run", "--site", site_file(site, tmp_path), "--data", tmp_path / "data") as program:
        program.until_ready()
        with link(site, "reader", "holdwatch/+/+/status") as reader:
            for seq in range(5):
                pub(site, "dock-6", READINGS, json.dumps(reading(seq)))
            pub(site, "dock-7", READINGS, json.dumps(reading(99, vacuum_kpa=10.0)))  # not its own topic
            seen: list[dict[str, Any]] = []
            wait_for(
                lambda: seen.extend(statuses(reader)) or any(one["circuits"]["A"]["vacuum_kpa"] == 63.0 for one in seen),
                10, "the lifter's vacuum",
            )  # fmt: skip
            time.sleep(1.0)
            seen += statuses(reader)
            assert {one["circuits"]["A"]["vacuum_kpa"] for one in seen} <= {None, 63.0}
        assert "of holdwatch" not in program.said()


def test_wrong_password_is_said_again_and_again_and_the_watching_goes_on(
    site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HOLDWATCH_BROKER_USER", "holdwatch")
    monkeypatch.setenv("HOLDWATCH_BROKER_PASSWORD", "another")
    with Program("run", "--site", site_file(site, tmp_path), "--data", tmp_path / "data") as program:
        program.until_ready()
        wait_for(lambda: "refused the user name or password given" in program.said(), 10, "a word about the password")
        assert "HOLDWATCH_BROKER_PASSWORD" in program.said()
        assert program.process.poll() is None
