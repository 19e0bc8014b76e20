"""Other people's hardware through `run`: a real Mosquitto, mosquitto_pub as the hardware, each value a topic of its own."""

import subprocess
import time
from pathlib import Path

import pytest

from tests.brokers import mosquitto
from tests.system.program import Program, Subscriber
from tests.system.test_run import SITE, STATUS
from tests.tools import need

pytestmark = pytest.mark.system

SOURCES = """
[[source]]
topic = "plant/{{lifter}}/{{circuit}}/vac"
format = "number"
names = {{ VL6 = "dock-6" }}
[[source.value]]
to = "circuits.{{circuit}}.vacuum_kpa"
unit = "mbar"
reads = "gauge"
[[source]]
topic = "plant/+/load"
format = "json"
lifter = "dock-6"
where = {{ unit = "VL6" }}
[[source.value]]
to = "load_kg"
at = "w"
unit = "t"
"""


@pytest.mark.parametrize("version", ["311", "5"])
def test_hardware_of_others_is_judged(version: str, tmp_path: Path) -> None:
    broker = mosquitto(tmp_path)
    broker.start()
    site = tmp_path / "quayside.toml"
    site.write_text((SITE + SOURCES).format(url=broker.url))

    def send(topic: str, payload: str) -> None:
        command = [need("mosquitto_pub"), "-V", version, "-p", str(broker.port), "-t", topic, "-m", payload]
        subprocess.run(command, check=True, timeout=5)

    try:
        with Program("run", "--site", site, "--data", tmp_path / "data") as program, Subscriber(broker, STATUS) as told:
            program.until_ready()
            for _ in range(3):
                send("plant/VL6/A/vac", "-634")
                send("plant/VL6/B/vac", "-578 mbar")
                send("plant/x/load", '{"unit": "VL6", "w": 0.6225}')
                send("plant/x/load", '{"unit": "VL9", "w": 0}')
                time.sleep(0.3)
            _, _, _, status = told.until(lambda status: status["load"]["kg"] == 622.5)
            assert {name: part["vacuum_kpa"] for name, part in status["circuits"].items()} == {"A": 63.4, "B": 57.8}
            for tenth in range(8):  # circuit B falls silent
                send("plant/VL6/A/vac", f"-63{tenth % 3}")
                time.sleep(0.5)
            _, _, _, status = told.until(lambda status: status["circuits"]["B"]["state"] == "no_reading")
            assert status["circuits"]["A"]["state"] != "no_reading"
    finally:
        broker.kill()
