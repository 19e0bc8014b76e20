"""The figures a monitoring system scrapes, as OpenMetrics 1.0 text."""

from collections.abc import Iterable, Mapping
from typing import Final

from dashboards.live import Live
from dashboards.view_model import CALLS, RELEASES

OPENMETRICS: Final = "application/openmetrics-text; version=1.0.0; charset=utf-8"

MESSAGES: Final = (
    "Messages of each lifter by what came of them; refused are values left out of messages that were read."
)

Labels = Mapping[str, str]
Sample = tuple[Labels, float]


def metrics(live: Live, *, waiting_n: int) -> str:
    """Every figure, ending in ``# EOF``. What is not known is left out, never 0."""
    lines = [
        *_family(
            "holdwatch_snapshots", "counter", "Snapshots taken from the engine.", [({}, live.snapshots_n)], "_total"
        ),
        *_family("holdwatch_viewers", "gauge", "Requests for live values now held open.", [({}, waiting_n)]),
    ]
    age_s, snapshot = live.age_s(), live.snapshot
    if snapshot is None or age_s is None:
        return "\n".join([*lines, "# EOF\n"])
    calls: list[Sample] = []
    releases: list[Sample] = []
    vacuums: list[Sample] = []
    ages: list[Sample] = []
    loads: list[Sample] = []
    margins: list[Sample] = []
    alarms: list[Sample] = []
    messages: list[Sample] = []
    for status in snapshot.lifters:
        lifter = {"lifter": status["lifter"]}
        call = status["call"] if live.is_live() else "no_signal"
        release = status["release"] if live.is_live() else "do_not_release"
        calls += [({**lifter, "holdwatch_call": name}, float(name == call)) for name in CALLS]
        releases += [({**lifter, "holdwatch_release": name}, float(name == release)) for name in RELEASES]
        alarms.append((lifter, len(status["alarms"])))
        messages += [({**lifter, "kind": kind}, float(n)) for kind, n in status["counts"].items()]
        for name, circuit in status["circuits"].items():
            labels = {**lifter, "circuit": name}
            if circuit["vacuum_kpa"] is not None:
                vacuums.append((labels, circuit["vacuum_kpa"] * 1000.0))
            if circuit["age_s"] is not None:
                ages.append((labels, circuit["age_s"] + age_s))
        if status["load"]["kg"] is not None:
            loads.append((lifter, status["load"]["kg"]))
        if status["holding"] is not None and status["holding"]["margin_kg"] is not None:
            margins.append((lifter, status["holding"]["margin_kg"]))
    lines += [
        *_family("holdwatch_snapshot_age_seconds", "gauge", "Age of the last snapshot.", [({}, age_s)]),
        *_family("holdwatch_call", "stateset", "The call of each lifter.", calls),
        *_family("holdwatch_release", "stateset", "The release answer of each lifter.", releases),
        *_family("holdwatch_circuit_vacuum_pascals", "gauge", "Pressure below ambient, last believed.", vacuums),
        *_family("holdwatch_circuit_age_seconds", "gauge", "Age of the last believed reading.", ages),
        *_family("holdwatch_load_kilograms", "gauge", "Load on the lifter.", loads),
        *_family("holdwatch_margin_kilograms", "gauge", "Room to the rated load; below 0 is over it.", margins),
        *_family("holdwatch_messages", "counter", MESSAGES, messages, "_total"),
        *_family("holdwatch_alarms", "gauge", "Alarms shown for each lifter.", alarms),
    ]
    return "\n".join([*lines, "# EOF\n"])


def _family(name: str, kind: str, says: str, samples: Iterable[Sample], suffix: str = "") -> list[str]:
    lines = [f"# TYPE {name} {kind}"]
    if unit := next((unit for unit in ("seconds", "pascals", "kilograms") if name.endswith(f"_{unit}")), ""):
        lines.append(f"# UNIT {name} {unit}")
    lines.append(f"# HELP {name} {says}")
    for labels, value in samples:
        inside = ",".join(f'{key}="{_escape(said)}"' for key, said in labels.items())
        lines.append(f"{name}{suffix}{f'{{{inside}}}' if inside else ''} {value:g}")
    return lines


def _escape(said: str) -> str:
    return said.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
