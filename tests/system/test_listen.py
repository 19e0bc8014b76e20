"""``listen`` beside a foreign client, on a real Mosquitto."""

import signal
import time
from pathlib import Path

import pytest

from tests.brokers import mosquitto
from tests.system.program import Program, Publisher
from tests.system.test_run import READINGS, SITE, reading

pytestmark = pytest.mark.system


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_what_arrives_is_told_line_by_line_until_stopped(how: signal.Signals, tmp_path: Path) -> None:
    broker = mosquitto(tmp_path)
    broker.start()
    site = tmp_path / "quayside.toml"
    site.write_text(SITE.format(url=broker.url))
    try:
        with Program("listen", "--site", site, "--every", "1") as listen, Publisher(broker, READINGS) as lifter:
            assert "connected with MQTT 5" in listen.line()
            for seq in range(10):
                lifter.send(reading(seq) | {"load_kg": "heavy"})
                time.sleep(0.2)
            told = [listen.line() for _ in range(4)]
            assert listen.end(how)[0] == 0
        assert "dock-6 sends circuit A 63 kPa below ambient (pump off)" in told[0]
        assert any("load_kg is no number: found 'heavy'" in line for line in told)
        assert any("messages a second, last reading" in line for line in told)
    finally:
        broker.kill()
