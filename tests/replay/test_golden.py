"""Recorded bytes give the calls, alarms and records they gave when somebody last looked at them.

``pytest tests/replay/test_golden.py --update-expected`` writes ``golden/*.json`` again; the difference is to be read before
it is kept. Recordings and site file are files of their own, so that neither simulator nor demo can change them.
"""

import io
import json
from itertools import groupby
from pathlib import Path
from typing import Any

import pytest

from monitor.replay import replay
from monitor.settings.site import load_site
from monitor.wire.recording import read_recording_file

GOLDEN = Path(__file__).parent / "golden"
RECORDINGS = sorted(GOLDEN.glob("*.jsonl.gz"))


def judged(recording: Path) -> dict[str, Any]:
    """Each change of call, release or alarms with its time, and the records of the lifts."""
    statuses, summary = io.BytesIO(), io.BytesIO()
    site = load_site(GOLDEN / "site.toml")
    replay(read_recording_file(recording), site, status_out=statuses, summary_out=summary)
    told = [json.loads(line) for line in statuses.getvalue().splitlines()]
    lifts = json.loads(summary.getvalue())["lifts"]
    for lift in lifts:
        del lift["judged_by"]  # the program's version
    changes = [
        {"time": round(next(same)["time"], 2), "call": call, "release": release, "alarms": list(alarms)}
        for (call, release, alarms), same in groupby(told, _answers)
    ]
    return {"changes": changes, "lifts": lifts}


def _answers(status: dict[str, Any]) -> tuple[str, str, tuple[str, ...]]:
    alarms = sorted(f"{alarm['key']} {alarm['about']}: {alarm['state']}" for alarm in status["alarms"])
    return status["call"], status["release"], tuple(alarms)


def test_there_are_golden_recordings() -> None:
    assert len(RECORDINGS) >= 4


@pytest.mark.parametrize("recording", RECORDINGS, ids=lambda path: path.name.removesuffix(".jsonl.gz"))
def test_recording_gives_what_it_gave(recording: Path, pytestconfig: pytest.Config) -> None:
    expected = recording.with_name(recording.name.replace(".jsonl.gz", ".json"))
    made = judged(recording)
    if pytestconfig.getoption("--update-expected"):
        expected.write_text(json.dumps(made, indent=1, sort_keys=True) + "\n")
    kept = json.loads(expected.read_text())
    assert made["changes"] == kept["changes"]
    assert made["lifts"] == kept["lifts"]
