"""What the facts of an instant say by themselves: what was assumed, and whether a pump runs."""

from dataclasses import replace

import pytest

from monitor.core.config import LoadMeasures
from monitor.core.leak import LeakView
from monitor.core.readings import Pump
from tests.unit.core.made import TIGHT, circuit, facts

REPORT = [circuit(name, pump=Pump.OFF) for name in "AB"]
MEASURED = {"rotation_deg": 0.0}
NOTHING = {"tilt_deg": None, "rotation_deg": None, "ambient_kpa": None, "height_m": None, "temperature_c": None}


@pytest.mark.parametrize(
    ("changed", "assumed"),
    [
        pytest.param({}, (), id="all is measured"),
        pytest.param({"tilt_deg": None}, ("tilt",), id="no tilt"),
        pytest.param({"rotation_deg": None}, ("rotation",), id="no rotation"),
        pytest.param({"ambient_kpa": None}, ("ambient",), id="a height for the pressure"),
        pytest.param({"ambient_kpa": None, "height_m": None}, ("ambient", "height"), id="neither"),
        pytest.param({"height_m": None}, (), id="a pressure for the height"),
        pytest.param({"config": {"ambient_at": "ground"}}, ("ambient",), id="pressure on the ground, a height"),
        pytest.param(
            {"config": {"ambient_at": "ground"}, "height_m": None}, ("ambient", "height"), id="pressure on the ground"
        ),
        pytest.param({"climb_doubted": True}, ("climb",), id="a hoist that does not fit"),
        pytest.param({"temperature_c": None}, ("temperature",), id="no temperature"),
        pytest.param({"irregular": True}, ("interval",), id="no steady interval"),
        pytest.param({"config": {"load_measures": LoadMeasures.NONE}}, ("load",), id="no load cell"),
        pytest.param(
            {**NOTHING, "climb_doubted": True, "irregular": True, "config": {"load_measures": LoadMeasures.NONE}},
            ("load", "tilt", "rotation", "ambient", "height", "climb", "temperature", "interval"),
            id="everything, in this order",
        ),
    ],
)
def test_what_was_not_measured_is_said(changed: dict[str, object], assumed: tuple[str, ...]) -> None:
    assert facts(*REPORT, **{**MEASURED, **changed}).assumed() == assumed  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("in_use", "assumed"), [(True, ("pump",)), (False, ())], ids=["a circuit in use", "one not in use"]
)
def test_pump_that_does_not_report_is_said_of_the_circuits_in_use(in_use: bool, assumed: tuple[str, ...]) -> None:
    silent = circuit("B", pump=None, in_use=in_use)
    given = facts(REPORT[0], silent, **MEASURED)  # type: ignore[arg-type]
    assert given.assumed() == assumed
    assert [part.id for part in given.used()] == (["A", "B"] if in_use else ["A"])


@pytest.mark.parametrize(
    ("pump", "leak", "runs"),
    [
        (Pump.ON, None, True),
        (Pump.OFF, replace(TIGHT, pump="on"), False),  # what it says counts, not what it looks like
        (None, replace(TIGHT, pump="on"), True),
        (None, replace(TIGHT, pump="off"), False),
        (None, None, False),
    ],
)
def test_pump_runs_where_it_says_so_or_where_it_says_nothing_and_its_work_shows(
    pump: Pump | None, leak: LeakView | None, runs: bool
) -> None:
    assert circuit(pump=pump, leak=leak).pump_runs() is runs
