"""A data folder with simulated lifts and their traces, written as the engine writes them."""

import json
from pathlib import Path

from monitor.cli.main import main
from monitor.judged_by import settings_sha256
from monitor.settings.site import load_site
from monitor.store.records import open_writer
from tests.brokers import ROOT

SITE_FILE = ROOT / "configs" / "demo.toml"


def keep_lifts(folder: Path, scenarios: dict[str, int]) -> Path:
    """One lift a scenario, played by its seed; returns the data folder."""
    site = load_site(SITE_FILE)
    data = folder / "data"
    writer = open_writer(data)
    writer.settings(settings_sha256(site), site.text, name="demo.toml", program="test")
    for n, (scenario, seed) in enumerate(scenarios.items()):
        recording, summary = folder / f"{scenario}.jsonl", folder / f"{scenario}.json"
        assert main(["simulate", scenario, "--site", str(SITE_FILE), "--out", str(recording), "--seed", str(seed)]) == 0
        assert main(["replay", str(recording), "--site", str(SITE_FILE), "--summary", str(summary)]) == 0
        apart_s = 1e6 * n  # engine time of each lift, so that their readings lie apart in the journal
        for line in recording.read_bytes().splitlines():
            said = json.loads(line)
            if said["topic"].endswith("/readings"):
                payload = json.dumps(said["payload"]).encode()
                writer.journal(said["payload"]["time"] + apart_s, "reading", "dock-6", payload)
        for record in json.loads(summary.read_text())["lifts"]:
            record["id"] += f"-{scenario}"
            opened, closed = record["opened"] + apart_s, record["closed"] + apart_s
            writer.close_lift(record, opened_now_s=opened, closed_now_s=closed)
    assert writer.wait_for_traces(30.0)
    writer.close()
    return data
