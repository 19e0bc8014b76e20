"""A data folder with simulated lifts and their traces, written as the engine writes them."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

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
        recording, summary, told = (folder / f"{scenario}.{end}" for end in ("jsonl", "json", "status"))
        assert main(["simulate", scenario, "--site", str(SITE_FILE), "--out", str(recording), "--seed", str(seed)]) == 0
        replay = ["replay", str(recording), "--site", str(SITE_FILE), "--status", str(told), "--summary", str(summary)]
        assert main(replay) == 0
        apart_s = 1e6 * n  # engine time of each lift, so that their readings lie apart in the journal
        rows = sorted([*_readings(recording), *_judged(told, apart_s)], key=lambda row: row[0])
        for at_s, kind, said in rows:
            writer.journal(at_s + apart_s, kind, "dock-6", json.dumps(said).encode())
        for record in json.loads(summary.read_text())["lifts"]:
            record["id"] += f"-{scenario}"
            opened, closed = record["opened"] + apart_s, record["closed"] + apart_s
            writer.close_lift(record, opened_now_s=opened, closed_now_s=closed)
    assert writer.wait_for_traces(30.0)
    writer.close()
    return data


def _readings(recording: Path) -> Iterator[tuple[float, str, dict[str, Any]]]:
    for line in recording.read_bytes().splitlines():
        said = json.loads(line)
        if said["topic"].endswith("/readings"):
            yield said["payload"]["time"], "reading", said["payload"]


def _judged(told: Path, apart_s: float) -> Iterator[tuple[float, str, dict[str, Any]]]:
    """What the engine notes beside the readings of a lift, from the statuses of the replay."""
    for line in told.read_bytes().splitlines():
        said = json.loads(line)
        if said["lift"] is not None:
            margin_kg = said["holding"] and said["holding"]["margin_kg"]
            noted = {name: said[name] for name in ("call", "release", "phase")} | {"margin_kg": margin_kg}
            yield said["time"], "judged", noted | {"seal_test": "", "utc_minus_now_s": -apart_s}
