"""The maintenance list: what stands on it, in which order, and by what evidence."""

from dataclasses import replace

import numpy as np
import pytest

from monitor.core.lifter_trends import CircuitColumns, LiftColumns, Service, by_day, follow
from monitor.core.maintenance import Figure, Item, items
from monitor.core.trends import DAY_S
from monitor.store.conditions import not_sealed
from monitor.words.say import say
from tests.unit.core.made import LIFTER

NOW = 1_764_000_000.0
N = 400


def lifts(**changes: np.ndarray) -> LiftColumns:
    """Four hundred healthy lifts over 200 days; ``changes`` replaces a column of circuit B, or the battery."""
    rng = np.random.default_rng(1)

    def circuit(**more: np.ndarray) -> CircuitColumns:
        made = {
            "leak_kpa_per_min": 0.1 + 0.01 * rng.standard_normal(N),
            "at_kpa": np.full(N, 60.0),
            "known_s": np.full(N, 100.0),
            "pump_down_s": 7.0 + 0.1 * rng.standard_normal(N),
            "pump_on_s": 12.0 + 0.1 * rng.standard_normal(N),
            "open_kpa": 0.2 + 0.05 * rng.standard_normal(N),
            "apart_kpa": np.full(N, np.nan),
        }
        return CircuitColumns(**(made | more))

    battery = changes.pop("battery_v", 25.0 + 0.1 * rng.standard_normal(N))
    return LiftColumns(
        ids=[f"dock-6-{n}" for n in range(N)],
        utc_s=NOW - np.linspace(200.0, 0.1, N) * DAY_S,
        duration_s=np.full(N, 300.0),
        temperature_c=15.0 + 5.0 * rng.standard_normal(N),
        ambient_kpa=np.full(N, 101.3),
        surface=np.array(["dry"] * N),
        battery_v=battery,
        circuits={"A": circuit(), "B": circuit(**changes)},
    )


def told(made: LiftColumns, *services: Service, due_utc_s: float | None = None, **config: object) -> list[Item]:
    lifter = replace(LIFTER, **{"battery_low_v": 23.0, **config})  # type: ignore[arg-type]
    return items(lifter, follow(lifter, made, services, NOW), NOW, due_utc_s)


def keys(found: list[Item]) -> list[str]:
    return [item.evidence.key for item in found]


def test_nothing_stands_out_in_healthy_lifts() -> None:
    assert told(lifts()) == []


def test_leak_over_its_limit_comes_first_and_names_pads_and_lift() -> None:
    leak = 0.6 + 0.02 * np.random.default_rng(2).standard_normal(N)
    found = told(lifts(leak_kpa_per_min=leak, open_kpa=np.full(N, 3.0)))
    assert keys(found)[0] == "care.leak_over"
    assert (found[0].circuit, found[0].figure, found[0].lift) == ("B", Figure.LEAK, f"dock-6-{N - 1}")
    assert "care.zero_off" in keys(found)
    assert "care.leak_over_sisters" in keys(found)


def test_leak_that_grows_is_told_with_the_early_date() -> None:
    leak = np.linspace(0.1, 0.45, N) + 0.01 * np.random.default_rng(2).standard_normal(N)
    [item] = [one for one in told(lifts(leak_kpa_per_min=leak)) if one.evidence.key == "care.leak_reaches"]
    early = item.evidence.values["early_utc_s"]
    assert isinstance(early, float)
    assert NOW + 10 * DAY_S < early < NOW + 40 * DAY_S  # true: 29 days
    assert "may reach its service limit of 0.50 kPa/min on 2025-12-" in say(item.evidence)


def test_new_step_is_told_and_links_to_its_lift() -> None:
    leak = 0.1 + 0.01 * np.random.default_rng(2).standard_normal(N)
    leak[N - 20 :] += 0.08
    [item] = [one for one in told(lifts(leak_kpa_per_min=leak)) if one.evidence.key == "care.leak_stepped"]
    assert item.lift is not None
    assert abs(int(item.lift.rpartition("-")[2]) - (N - 20)) <= 1


@pytest.mark.parametrize(("size", "is_first"), [(0.06, False), (0.3, True)])
def test_possible_step_comes_before_a_coming_date_only_if_it_would_be_over_the_limit(
    size: float, is_first: bool
) -> None:
    """Most possible steps are withdrawn by the next lifts."""
    leak = np.linspace(0.1, 0.38, N) + 0.005 * np.random.default_rng(2).standard_normal(N)
    leak[N - 3 :] += size
    found = [
        key for key in keys(told(lifts(leak_kpa_per_min=leak))) if key in {"care.leak_may_step", "care.leak_reaches"}
    ]
    assert found == sorted(found, key=lambda key: (key == "care.leak_may_step") != is_first)
    assert len(found) == 2


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"pump_down_s": np.linspace(7.0, 14.0, N)}, "care.pump_slow"),
        ({"pump_down_s": np.linspace(7.0, 9.9, N)}, "care.pump_slower"),
        ({"open_kpa": np.full(N, -2.0)}, "care.zero_off"),
        ({"apart_kpa": np.full(N, 2.4)}, "care.gauges_apart"),
        ({"battery_v": np.linspace(25.0, 22.5, N)}, "care.battery_low"),
        ({"battery_v": np.linspace(25.0, 23.4, N)}, "care.battery_reaches"),
    ],
)
def test_each_part_that_fails_is_named(changes: dict[str, np.ndarray], key: str) -> None:
    noise = 1.0 + 0.005 * np.random.default_rng(3).standard_normal(N)
    found = told(lifts(**{name: column * noise for name, column in changes.items()}))
    assert key in keys(found)


def test_service_that_did_not_help_is_told() -> None:
    leak = 0.3 + 0.01 * np.random.default_rng(2).standard_normal(N)
    found = told(lifts(leak_kpa_per_min=leak), Service(NOW - 30 * DAY_S, "circuit B", "seals renewed", "maintenance"))
    assert "care.service_no_better" in keys(found)


def test_examination_is_due_by_its_date() -> None:
    assert keys(told(lifts(), due_utc_s=NOW + 10 * DAY_S)) == ["care.examination_due"]
    assert keys(told(lifts(), due_utc_s=NOW - 10 * DAY_S)) == ["care.examination_over"]
    assert keys(told(lifts(), due_utc_s=NOW + 100 * DAY_S)) == []


def test_inspection_is_due_by_interval_and_by_use_since_the_last_one() -> None:
    assert keys(told(lifts(), inspection_days=180)) == ["care.inspection_over"]
    assert keys(told(lifts(), inspection_days=210)) == ["care.inspection_due"]
    assert keys(told(lifts(), inspection_lifts=300)) == ["care.inspection_by_use"]
    noted = Service(NOW - 10 * DAY_S, "inspection", "", "maintenance")
    assert keys(told(lifts(), noted, inspection_days=180, inspection_lifts=300)) == []


def test_day_is_its_median_and_is_parted_at_a_service() -> None:
    utc_s = np.array([0.0, 10.0, 20.0, 30.0, DAY_S])
    days, values = by_day(utc_s, np.array([1.0, 9.0, 2.0, np.nan, 5.0]), [])
    assert (days.tolist(), values.tolist()) == ([10.0, DAY_S], [2.0, 5.0])
    days, values = by_day(utc_s, np.array([1.0, 9.0, 2.0, 3.0, 5.0]), [15.0])
    assert values.tolist() == [1.0, 2.0, 5.0]


def seal_test(asked: float, **states: str) -> dict[str, object]:
    return {
        "asked": asked,
        "lift": f"lift-{asked:g}",
        "circuits": {name: {"state": one} for name, one in states.items()},
    }


def test_circuit_that_did_not_pass_its_last_seal_test_is_told() -> None:
    tests = [
        seal_test(1.0, A="not_passed", B="passed", C="not_passed"),
        seal_test(2.0, A="passed", B="not_passed", C="running"),
    ]
    failed = not_sealed(tests)
    assert [(one.circuit, one.utc_s, one.lift) for one in failed] == [("B", 2.0, "lift-2"), ("C", 1.0, "lift-1")]
    lifter = replace(LIFTER, battery_low_v=23.0)
    [first, _] = items(lifter, follow(lifter, lifts(), (), NOW), NOW, None, failed)
    assert first.evidence.key == "care.not_sealed"
    assert first.lift == "lift-2"
    assert first.pads == tuple(pad.id for pad in LIFTER.pads.values() if pad.circuit == "B")
    assert "did not pass its last seal test" in say(first.evidence)
