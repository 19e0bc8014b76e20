"""The published schema is the code's, and real statuses keep to it, with no key that it does not name.

Judged by the `jsonschema` library (JSON Schema 2020-12).
"""

import copy
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from monitor.core.events import Told
from monitor.telling import muted
from monitor.wire.recording import read_recording, write_line
from monitor.words.say import status_dict
from monitor.words.status_schema import status_schema
from simulator.lifters import BUILT_IN
from simulator.play import timeline
from simulator.publisher import message_of
from simulator.scenarios import load
from tests.histories import Watch

PUBLISHED = Path(__file__).parents[3] / "dashboards" / "help" / "status.schema.json"
T0 = 1764019200.0


def closed(schema: Any) -> Any:
    """The same schema, in which a key that is not named is a fault."""
    if isinstance(schema, list):
        return [closed(one) for one in schema]
    if not isinstance(schema, dict):
        return schema
    made = {name: closed(one) for name, one in schema.items()}
    return made | {"additionalProperties": False} if "properties" in made else made


STRICT = jsonschema.Draft202012Validator(closed(status_schema()))


def faults(status: dict[str, Any]) -> list[str]:
    sent = json.loads(json.dumps(status, allow_nan=False))
    return [f"{'/'.join(map(str, error.absolute_path))}: {error.message}" for error in STRICT.iter_errors(sent)]


def test_published_schema_is_the_codes() -> None:
    # Make it anew with: python -m monitor.words.status_schema > dashboards/help/status.schema.json
    assert json.loads(PUBLISHED.read_text()) == status_schema()


def test_schema_is_one() -> None:
    jsonschema.Draft202012Validator.check_schema(status_schema())


def test_status_before_anything_was_heard_keeps_to_it() -> None:
    told = Watch().wait(1.0)
    assert faults(status_dict(told[-1])) == []


@pytest.mark.parametrize("name", ["leak-in-flight", "pump-stops", "gauges-disagree", "silent-in-air", "no-load-cell"])
def test_statuses_of_a_lift_keep_to_it(name: str) -> None:
    from monitor.core import engine
    from monitor.core.events import ReadingCame
    from monitor.drive import Drive
    from monitor.settings.site import load_site
    from monitor.wire.reading_json import reading_of

    site = load_site(Path(__file__).parents[3] / "configs" / "demo.toml")
    sent = (one for one in timeline(load(name), BUILT_IN, seed=1) if one.leaf == "readings")
    lines = (write_line("x", message_of(one, epoch_utc_s=T0), T0 + one.at_s) for one in sent)
    drive = Drive(engine.begin(site.core, version="test"), T0)
    seen_n, last = 0, None
    for line in read_recording(lines):
        effects = [one for _, done in drive.advance(line.received_s) for one in done]
        reading = reading_of(line.payload, lifter="dock-6")
        effects += drive.take(ReadingCame(reading))
        for one in effects:
            if isinstance(one, Told) and (one.changed or seen_n % 200 == 0):
                last = status_dict(one.status)
                assert faults(last) == [], name
            seen_n += isinstance(one, Told)
    assert last is not None
    assert last["circuits"]
    assert faults(muted(last, "reason.engine_stopped", T0 + 9999.0)) == []


@pytest.mark.parametrize(
    ("path", "wrong"),
    [
        (("call",), "safe"), (("release",), "ok"), (("circuits", "A", "vacuum_kpa"), "63"), (("load",), None),
        (("more",), 1), (("version",), 2), (("circuits", "A", "state"), None),
    ],
)  # fmt: skip
def test_what_is_wrong_is_found(path: tuple[str, ...], wrong: object) -> None:
    status = copy.deepcopy(status_dict(Watch().wait(1.0)[-1]))
    holder: Any = status
    for step in path[:-1]:
        holder = holder[step]
    holder[path[-1]] = wrong
    assert faults(status) != []
