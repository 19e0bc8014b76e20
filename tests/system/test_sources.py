"""Other people's hardware through `run`: a real Mosquitto, mosquitto_pub as the hardware, each value a topic of its own."""

import json
import subprocess
import time
from pathlib import Path

import paho.mqtt.client as paho
import pytest

from tests.brokers import mosquitto, wait_for
from tests.replay.test_payload_styles import STYLES
from tests.system.program import Program, Subscriber, get
from tests.system.quayside import SITE, STATUS
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


def test_every_payload_style_is_judged_live_at_once(tmp_path: Path) -> None:
    """The styles of `tests/replay/test_payload_styles.py`, a lifter for each, through `run` and a real Mosquitto."""
    broker = mosquitto(tmp_path)
    broker.start()
    names = {style: f"dock-{number}" for number, style in enumerate(STYLES, start=10)}
    text = f'site = "quayside"\n[broker]\nurl = "{broker.url}"\n[pages]\nlisten = "127.0.0.1:0"\n'
    for lifter in names.values():
        text += f'[[lifter]]\nid = "{lifter}"\nbasis = "asme-bth-1"\nwll_kg = 900\n'
        text += "[lifter.circuits.A]\nwarning_kpa = 40\n[lifter.circuits.B]\nwarning_kpa = 40\n"
    messages = []
    for style, lifter in names.items():
        sources, sent, _, _ = STYLES[style]
        text += sources.replace("dock-6", lifter)
        for topic, payload in sent:
            data = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
            messages.append((topic.replace("dock-6", lifter), data))
    site = tmp_path / "quayside.toml"
    site.write_text(text)
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, protocol=paho.MQTTv311)
    try:
        with Program("run", "--site", site, "--data", tmp_path / "data") as program:
            address = program.until_ready()["ground"]
            client.connect("127.0.0.1", broker.port)
            client.loop_start()

            def told() -> bool:
                for topic, data in messages:
                    client.publish(topic, data, qos=1)
                time.sleep(0.5)
                lifters = {one["lifter"]: one for one in get(f"{address}api/status")["lifters"]}
                found = {
                    style: {name: part["vacuum_kpa"] for name, part in lifters[lifter]["circuits"].items()}
                    for style, lifter in names.items()
                }
                wanted = {style: pytest.approx(STYLES[style][2], abs=0.006) for style in names}
                return all(None not in found[style].values() and found[style] == wanted[style] for style in names)

            wait_for(told, 20, "every style's vacuum")
    finally:
        client.loop_stop()
        client.disconnect()
        broker.kill()
