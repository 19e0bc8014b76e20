"""What a judged plan answers, figure by figure, at one tilt and turn that can be worked out by hand."""

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import pytest

from monitor.core import plan
from monitor.core.config import Surface
from monitor.core.holding import Centre, Move
from monitor.core.messages import Text
from monitor.core.panel import Panel, rectangle
from monitor.core.plan import PlanResult, Verdict, judge_plan, numbers
from monitor.core.plan_input import PlanError, PlanInput
from tests.unit.core.test_holding import G, six_pads

FLAT = Move(0.0, 0.0, 0.0, 0.0)
PANE = Panel(rectangle(2.5, 1.5), weight_kg=600.0)
HALF = PlanInput(PANE, cg_x_mm=90.0, cg_depth_mm=7.0, move=FLAT, in_tandem=True, share_ratio=0.5, surface=Surface.WET)
WEIGHT_N = 300.0 * 1.25 * G  # half the panel, on a site with a dynamic factor of 1.25


def half(**changes: object) -> PlanResult:
    return judge_plan(six_pads(dynamic_factor=1.25, wind_limit_m_s=9.0, **changes), HALF)


def test_figures_of_a_plan() -> None:
    """Flat and 90 mm off the middle a pad gets 1/6 + 0.09·0.9/3.24 = 1.15/6 of the weight at most; it holds 5980 N twice."""
    result = half()
    rated_kg = 5980.0 / 2 / (1.15 / 6) / G / 1.25
    most = 2 * 1.15 / 6 * WEIGHT_N
    assert (result.lifter, result.basis) == ("dock-6", "asme-bth-1")
    assert result.weight_kg == 300.0
    assert (result.rated_kg, result.computed_kg) == (pytest.approx(rated_kg), pytest.approx(rated_kg))
    assert (result.governs, result.at_tilt_deg, result.at_rotation_deg) == ("worst_pad", 0.0, 0.0)
    assert (result.margin_kg, result.use_ratio) == (pytest.approx(rated_kg - 300.0), pytest.approx(300.0 / rated_kg))
    assert (result.worst_pad.id, result.worst_pad.use_ratio) == (result.governing_pad, pytest.approx(most / 5980.0))
    assert result.governing_pad in {"A2", "B2"}
    assert [pad.normal_n for pad in result.pads] == pytest.approx(
        [WEIGHT_N / 6 * share for share in (0.85, 1.0, 1.15, 1.15, 1.0, 0.85)]
    )
    assert result.needed_kpa == pytest.approx(dict.fromkeys("AB", most / 0.115 / 1000.0))
    assert result.judged_kpa == {"A": 52.0, "B": 52.0}
    assert result.wind_limit_m_s == pytest.approx(9.0 * math.sqrt(1.2 * 0.6 / (2.0 * 3.75)))
    assert result.margin_curve == ((0.0, pytest.approx(rated_kg)),)
    assert result.best_offset == (
        pytest.approx(90.0), pytest.approx(0.0), pytest.approx(6 * 5980.0 / 2 / G / 1.25), True
    )  # fmt: skip
    assert (result.centre, result.move, result.friction) == (Centre(90.0, 0.0, 7.0), FLAT, 0.2)
    assert (result.area_m2, result.overhang_mm) == (3.75, pytest.approx(math.hypot(350.0, 450.0)))


def test_figures_without_a_circuit() -> None:
    """Without A the middle of B1, B2, B3 is 100 mm down: 90 mm off, B2 gets 1/4 + 0.09/1.8 of the weight; B1 half of it."""
    lost = half(two_circuit_rule=True).if_lost
    assert list(lost) == ["A", "B"]
    assert lost["A"] == (pytest.approx(5980.0 / (0.5 * WEIGHT_N)), 2.0)
    assert half().if_lost["A"].needed_factor is None


@pytest.mark.parametrize(
    ("wll_kg", "verdict", "reasons"),
    [
        (1.0e5, Verdict.WITHIN, ["plan.governs_worst_pad"]),
        (300.0, Verdict.WITHIN, ["plan.governs_plate"]),
        (299.0, Verdict.OUTSIDE, ["plan.over", "plan.governs_plate"]),
    ],
)
def test_verdict_and_its_reasons(wll_kg: float, verdict: Verdict, reasons: list[str]) -> None:
    result = half(wll_kg=wll_kg)
    assert result.verdict is verdict
    assert [text.key for text in result.reasons] == reasons
    assert [text.values["circuit"] for text in result.circuits] == ["A", "B"]
    assert {"plan.tandem_not_set_up", "plan.overhang"} & {text.key for text in result.notes}
    assert "plan.check_tandem" in {text.key for text in result.checks}


def test_panel_no_pads_can_balance_is_rated_nothing() -> None:
    result = judge_plan(six_pads(), replace(HALF, cg_x_mm=1000.0))
    assert (result.rated_kg, result.margin_kg, result.use_ratio) == (0.0, -300.0, math.inf)
    assert result.verdict is Verdict.OUTSIDE


def test_plate_of_half_a_kilogram_is_used_six_hundred_times() -> None:
    assert half(wll_kg=0.5).use_ratio == 600.0


@pytest.mark.parametrize(
    ("governs", "wll_kg", "surface", "centre"),
    [
        ("plate", 100.0, Surface.DRY, Centre(200.0, 50.0, 80.0)),
        ("worst_pad", 1.0e5, Surface.DRY, Centre(200.0, 50.0, 80.0)),
        ("friction", 1.0e5, Surface.WET, Centre(100.0, -50.0, 0.0)),
    ],
)
def test_pads_are_shown_at_their_worst_turn_whatever_governs(
    governs: str, wll_kg: float, surface: Surface, centre: Centre
) -> None:
    """The checks of all pads together, and the plate, know no turn."""
    config = six_pads(wll_kg=wll_kg)
    turned = PlanInput(
        Panel(weight_kg=300.0), cg_x_mm=centre.x_mm, cg_y_mm=centre.y_mm, cg_depth_mm=centre.depth_mm, surface=surface,
        move=Move(90.0, 90.0, 0.0, 90.0),
    )  # fmt: skip
    result = judge_plan(config, turned)
    assert result.governs == governs
    uses = {
        turn_deg: judge_plan(config, replace(turned, move=Move(90.0, 90.0, turn_deg, turn_deg))).worst_pad.use_ratio
        for turn_deg in np.arange(0.0, 90.5, 2.0).tolist()
    }
    assert result.at_rotation_deg == pytest.approx(max(uses, key=uses.__getitem__), abs=2.0)
    assert result.worst_pad.use_ratio == pytest.approx(max(uses.values()), rel=2e-3)
    assert max(pad.use_ratio for pad in result.pads) == pytest.approx(result.worst_pad.use_ratio, rel=1e-6)


def test_with_wind_pads_are_shown_at_the_turn_that_rates_the_least_where_a_pad_governs() -> None:
    """Not at that of the most use by this panel, some fifty degrees on: the wind does not grow with the weight."""
    pane = Panel(rectangle(2.6, 1.6, (0.155, 0.0)), weight_kg=300.0)
    turned = PlanInput(
        pane, cg_x_mm=-84.0, cg_y_mm=42.5, cg_depth_mm=76.0, wind_m_s=12.6, move=Move(90.0, 90.0, 0.0, 90.0)
    )
    result = judge_plan(six_pads(), turned)
    assert result.governs == "worst_pad"
    rated = {
        turn_deg: judge_plan(six_pads(), replace(turned, move=Move(90.0, 90.0, turn_deg, turn_deg))).rated_kg
        for turn_deg in np.arange(0.0, 90.5, 2.0).tolist()
    }
    assert result.at_rotation_deg == pytest.approx(min(rated, key=rated.__getitem__), abs=2.0)
    assert result.rated_kg == pytest.approx(min(rated.values()), rel=2e-3)


def test_plate_governs_over_the_whole_move_and_the_pads_are_shown_at_the_tilt_of_the_least_figure() -> None:
    result = judge_plan(six_pads(wll_kg=100.0), PlanInput(Panel(weight_kg=300.0), move=Move(0.0, 90.0, 0.0, 0.0)))
    assert (result.governs, result.rated_kg) == ("plate", 100.0)
    assert result.at_tilt_deg == pytest.approx(math.degrees(math.atan(2.0)))
    share_n = 300.0 * G * math.sin(math.atan(2.0)) / 6
    assert [pad.in_plane_n for pad in result.pads] == pytest.approx([share_n] * 6)


def test_plan_that_cannot_be_judged_says_all_that_is_wrong() -> None:
    with pytest.raises(PlanError) as caught:
        judge_plan(six_pads(wll_kg=0.0), replace(HALF, wind_m_s=-1.0))
    assert [fault.field for fault in caught.value.faults] == ["wind_m_s", "wll_kg"]


# What comes out.


class Named(NamedTuple):
    one: float
    two: tuple[float, ...]


@dataclass(frozen=True)
class Held:
    verdict: Verdict
    text: Text


@pytest.mark.parametrize(
    ("value", "plain"),
    [
        (1.5, 1.5),
        (math.inf, None),
        (math.nan, None),
        ("words", "words"),
        (None, None),
        (True, True),
        ((1.0, (2.0, math.inf)), [1.0, [2.0, None]]),
        (Named(1.0, (2.0, math.inf)), {"one": 1.0, "two": [2.0, None]}),
        ({"A": math.inf, "B": Named(0.0, ())}, {"A": None, "B": {"one": 0.0, "two": []}}),
        (
            Held(Verdict.WITHIN, Text("plan.over", {"at_kg": 1.0})),
            {"verdict": "within_limits", "text": {"key": "plan.over", "values": {"at_kg": 1.0}}},
        ),
    ],
)
def test_plain_value(value: object, plain: object) -> None:
    found = plan._plain(value)
    assert found == plain
    assert type(found) is type(plain)


def test_verdict_is_plain_text() -> None:
    assert type(plan._plain(Verdict.OUTSIDE)) is str


def test_numbers_are_all_figures_by_name() -> None:
    result = half()
    told = numbers(result)
    assert (told["weight_kg"], told["verdict"]) == (300.0, "within_limits")
    assert told["worst_pad"] == {"id": result.worst_pad.id, "use_ratio": result.worst_pad.use_ratio}
    assert told["move"] == {
        "tilt_low_deg": 0.0, "tilt_high_deg": 0.0, "rotation_low_deg": 0.0, "rotation_high_deg": 0.0
    }  # fmt: skip
    assert told["margin_curve"] == [[0.0, pytest.approx(result.rated_kg)]]
    assert told["reasons"][0]["key"] == "plan.governs_worst_pad"  # type: ignore[index]
