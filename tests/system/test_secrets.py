"""What must stay secret, looked for where it must not be; and what a login at the broker does not allow."""

import json
import time
import urllib.request
from http.cookiejar import CookieJar
from pathlib import Path
from typing import Any

import pytest

from monitor.settings.access import KEY_FILE, Role, set_pin, signing_key
from tests.brokers import Broker, wait_for
from tests.system.program import Program, Publisher, Subscriber, get
from tests.system.quayside import READINGS, SITE, STATUS, reading

pytestmark = pytest.mark.system

USER, PASSWORD, PIN = "quayside-monitor", "vq8-Lantern-2291", "482913"


def test_secrets_stand_in_no_log_record_or_metric(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOLDWATCH_BROKER_USER", USER)
    monkeypatch.setenv("HOLDWATCH_BROKER_PASSWORD", PASSWORD)
    data, file = tmp_path / "data", tmp_path / "site.toml"
    data.mkdir()
    set_pin(data, Role.SUPERVISOR, PIN)
    file.write_text(SITE.replace('url = "{url}"', 'embedded = true\nlisten = "127.0.0.1:0"').format())
    with Program("run", "--site", file, "--data", data) as program:
        where = program.until_ready()
        ground = where["ground"]
        with Program("simulate", "demo", "--site", file, "--broker", where["broker"]) as sender:
            wait_for(lambda: _heard(ground), 20, f"a reading; it said:\n{sender.said()}\n{program.said()}")
            browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
            _post(browser, ground + "api/sign-in", {"who": "Shift lead", "role": "supervisor", "pin": PIN})
            act = {"kind": "surface", "lifter": "dock-6", "who": "x", "role": "x", "params": {"surface": "wet"}}
            assert _post(browser, ground + "api/actions", act)["done"]
            with urllib.request.urlopen(ground + "metrics", timeout=5) as answer:  # noqa: S310 - our own
                metrics = answer.read().decode()
            sent = sender.said()
        assert program.end()[0] == 0
        told = program.said() + sent + where["lines"] + metrics
    kept = {path: path.read_bytes() for path in data.rglob("*") if path.is_file()}
    assert any(b"Shift lead" in raw for raw in kept.values())  # the act is there
    for secret in (PASSWORD, PIN, signing_key(data).hex()):
        assert secret not in told
        assert [path.name for path, raw in kept.items() if secret.encode() in raw and path.name != KEY_FILE] == []


def test_actions_sent_over_mqtt_are_not_taken(running: Program, broker: Broker) -> None:
    running.until_ready()
    with Subscriber(broker, STATUS) as statuses, Publisher(broker, READINGS) as lifter:
        for seq in range(5):
            lifter.send(reading(seq, vacuum_kpa=40.0))
            time.sleep(0.2)
        *_, said = statuses.until(lambda told: any(alarm["key"] == "vacuum_low" for alarm in told["alarms"]))
        raising = next(alarm["raising"] for alarm in said["alarms"] if alarm["key"] == "vacuum_low")
        forged = {"id": "f1", "kind": "acknowledge", "lifter": "dock-6", "who": "X", "role": "supervisor"}
        with Publisher(broker, "holdwatch/quayside/dock-6/actions") as forger:
            forger.send({**forged, "params": {"raising": raising}})
        for seq in range(5, 15):
            lifter.send(reading(seq, vacuum_kpa=40.0))
            time.sleep(0.2)
        *_, said = statuses.until(lambda told: told["reading_time"] > said["reading_time"] + 1.5)
        assert [alarm["state"] for alarm in said["alarms"] if alarm["raising"] == raising] == ["unacknowledged"]


def _heard(ground: str) -> bool:
    said = get(ground + "api/status")
    return said is not None and said["lifters"][0]["reading_time"] is not None


def _post(browser: Any, url: str, body: dict[str, Any]) -> dict[str, Any]:
    request = urllib.request.Request(url, json.dumps(body).encode(), {"Content-Type": "application/json"})  # noqa: S310
    with browser.open(request, timeout=10) as answer:
        said: dict[str, Any] = json.load(answer)
        return said
