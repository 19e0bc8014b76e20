"""Holding against weight, checked against the standards' factors, handbook load cases and statics.

BTH-1's and EN 13155's factors are known from memory and from public restatements, not from the printed standards.
"""

import math
import pickle
from dataclasses import replace

import numpy as np
import pytest

from monitor.core.carrying import Wind
from monitor.core.config import Basis, CircuitConfig, LifterConfig, PadConfig, Suspension
from monitor.core.holding import Centre, Holding, Move, hold, prepare
from monitor.core.layout import lay_out

G = 9.80665
WARNING = {"A": 52.0, "B": 52.0}
FLAT = Move(0.0, 0.0)
UPRIGHT = Move(90.0, 90.0)
HANGING = Move(90.0, 90.0, 0.0, 0.0)
NO_PLATE = 1.0e5


def lifter(pads: list[PadConfig], **changes: object) -> LifterConfig:
    """A lifter of these pads whose plate never governs, warning level 52 kPa on each circuit."""
    circuits = {pad.circuit: CircuitConfig(pad.circuit, 52.0, 62.0) for pad in pads}
    settings: dict[str, object] = {"id": "dock-6", "basis": Basis.ASME_BTH_1, "wll_kg": NO_PLATE, "circuits": circuits}
    return LifterConfig(**{**settings, "pads": {pad.id: pad for pad in pads}, **changes})  # type: ignore[arg-type]


def six_pads(**changes: object) -> LifterConfig:
    """Two circuits of three pads of 1150 cm² each, taking turns round the panel."""
    places = [(-900, 300), (0, 300), (900, 300), (900, -300), (0, -300), (-900, -300)]
    names = ["A1", "B1", "A2", "B2", "A3", "B3"]
    pads = [PadConfig(name, name[0], *place, 1150.0) for name, place in zip(names, places, strict=True)]
    return lifter(pads, **changes)


def one_pad(area_cm2: float, **changes: object) -> LifterConfig:
    return lifter([PadConfig("A1", "A", 0.0, 0.0, area_cm2)], **changes)


def held(
    config: LifterConfig,
    move: Move = Move(),  # noqa: B008
    centre: Centre = Centre(),  # noqa: B008
    vacuum_kpa: float = 52.0,
    load_kg: float | None = 500.0,
    friction: float | None = None,
) -> Holding:
    """What is held with every circuit at one vacuum."""
    model = prepare(config, move=move, centre=centre, friction=friction)
    assert model is not None
    level = dict.fromkeys(config.circuits, vacuum_kpa)
    return hold(model, judged_kpa=level, now_kpa=level, load_kg=load_kg)


def test_worked_status_example() -> None:
    model = prepare(six_pads(wll_kg=900.0), move=UPRIGHT)
    assert model is not None
    answer = hold(model, judged_kpa=WARNING, now_kpa={"A": 63.4, "B": 57.8}, load_kg=624.0)
    assert answer.governs == "plate"
    assert answer.rated_kg == 900.0
    assert answer.margin_kg == pytest.approx(276.0)
    assert answer.margin_ratio == pytest.approx(0.442, abs=5e-4)
    assert answer.now_kg == pytest.approx(1066.0, abs=0.05)


# ASME BTH-1, vacuum pads: design factor 2 with the face horizontal, 4 vertical; capacity A * Vp over the factor.


@pytest.mark.parametrize(
    ("tilt_deg", "factor"), [(0, 2.0), (15, 2.5176), (30, 3.0), (45, 3.4142), (60, 3.7321), (90, 4.0)]
)
def test_bth_design_factor(tilt_deg: float, factor: float) -> None:
    """Between the ends 2 + 2 sin(tilt) (the printed form could not be read, the end points are firm)."""
    for tilt in (tilt_deg, 180 - tilt_deg):
        answer = held(one_pad(1000.0, friction=1.0), Move(tilt, tilt), vacuum_kpa=60.0)
        assert 0.1 * 60_000.0 / (answer.rated_kg * G) == pytest.approx(factor, abs=5e-5)


@pytest.mark.parametrize(("tilt_deg", "rated_n"), [(0.0, 2120.6), (30.0, 1413.7), (90.0, 1060.3)])
def test_bth_pad_of_300_mm_at_60_kpa(tilt_deg: float, rated_n: float) -> None:
    config = one_pad(math.pi / 4 * 30.0**2, friction=1.0)  # friction high enough to leave the basis to govern
    answer = held(config, Move(tilt_deg, tilt_deg), vacuum_kpa=60.0)
    assert answer.governs == "basis"
    assert answer.rated_kg * G == pytest.approx(rated_n, abs=0.06)


@pytest.mark.parametrize(("tilt_deg", "rated_lb"), [(0.0, 472.16), (90.0, 236.08)])
def test_bth_pad_of_12_inch_at_17_inches_of_mercury(tilt_deg: float, rated_lb: float) -> None:
    config = one_pad(113.097 * 6.4516, friction=1.0)
    answer = held(config, Move(tilt_deg, tilt_deg), vacuum_kpa=17 * 3.386389)
    assert answer.rated_kg / 0.45359237 == pytest.approx(rated_lb, abs=0.01)


def test_force_of_a_cup_of_two_inches() -> None:
    """Trade-press article "How do you size a vacuum cup?" (2016): 60 % vacuum, 14.7 - 5.9 = 8.8 psi, lifts 27.6 lbf."""
    cup = held(one_pad(math.pi * 6.4516, friction=1.0), FLAT, vacuum_kpa=8.8 * 6.894757)
    assert 2.0 * cup.rated_kg / 0.45359237 == pytest.approx(27.6, abs=0.05)


def test_en_factor_two_lying_flat_and_its_allowance() -> None:
    """EN 13155 5.2.2.1: twice the load at the end of the working range; the tilt allowance of 6 degrees on both ends."""
    suction_n = 0.69 * 52_000.0
    assert held(six_pads(basis=Basis.EN_13155, tilt_allowance_deg=0.0), FLAT).rated_kg == pytest.approx(
        suction_n / (2 * G)
    )
    widened = held(six_pads(basis=Basis.EN_13155, tilt_allowance_deg=6.0), FLAT)
    at_six = math.cos(math.radians(6)) + math.sin(math.radians(6)) / 0.5
    assert widened.rated_kg == pytest.approx(suction_n / (2 * G * at_six))
    assert abs(widened.at_tilt_deg) == 6.0
    assert widened.governs == "basis"


# Friction, statics: s <= mu (F - n); with factor 2 F >= 2 W (cos + sin/mu).


def test_friction_peaks_inside_the_interval_not_upright() -> None:
    answer = held(six_pads())
    assert answer.governs == "friction"
    assert answer.at_tilt_deg == pytest.approx(math.degrees(math.atan(2.0)))
    assert answer.rated_kg == pytest.approx(0.69 * 52_000.0 / (math.sqrt(20.0) * G))


def test_peak_of_friction_is_hit_exactly_by_a_pad_as_well() -> None:
    answer = held(six_pads(basis=Basis.EN_13155), Move(60.0, 70.0), load_kg=700.0)
    assert answer.worst_pad is not None
    assert answer.worst_pad.use_ratio == pytest.approx(700 * G * math.sqrt(20.0) / (0.69 * 52_000.0), rel=1e-9)


def test_bth_factor_four_upright_is_friction_factor_two_at_half() -> None:
    answer = held(six_pads(), UPRIGHT)
    assert answer.rated_kg == pytest.approx(0.69 * 52_000.0 / (4 * G))
    assert answer.governs == "basis"  # equal: the first named
    assert held(six_pads(friction=0.499), UPRIGHT).governs == "friction"
    assert held(six_pads(friction=0.501), UPRIGHT).governs == "basis"


def test_wet_pane_at_the_bth_rating_would_slide() -> None:
    """A pad rated by BTH-1's 4 upright holds a wet pane (0.2, trade-press friction table) with a factor of 0.8 only."""
    dry = held(six_pads(), UPRIGHT, load_kg=None)
    wet = held(six_pads(), UPRIGHT, friction=0.2, load_kg=dry.rated_kg)
    assert wet.governs == "friction"
    assert wet.rated_kg / dry.rated_kg == pytest.approx(0.8 / 2.0)
    assert wet.margin_kg is not None
    assert wet.margin_kg < 0.0


@pytest.mark.parametrize(
    ("move", "force_n"),
    [
        (FLAT, 100.0 * G * 2.0),  # I: cup horizontal, load straight down, m g S
        (Move(40.0, 40.0), 100.0 * G * (math.cos(math.radians(40)) + math.sin(math.radians(40)) / 0.5) * 2.0),  # II
        (UPRIGHT, 100.0 / 0.5 * G * 2.0),  # III: cup vertical, (m/mu) g S = 3922.7 N
    ],
)
def test_handbook_load_cases(move: Move, force_n: float) -> None:
    """Load cases I to III of vacuum handbooks; II (sideways force m a/mu beside m g) read as a tilted plate."""
    area_cm2 = force_n / 52_000.0 * 1.0e4
    answer = held(one_pad(area_cm2, basis=Basis.EN_13155, tilt_allowance_deg=0.0), move, load_kg=100.0)
    assert answer.rated_kg == pytest.approx(100.0)
    assert answer.worst_pad is not None
    assert answer.worst_pad.use_ratio == pytest.approx(1.0)


def test_load_case_three_in_newtons() -> None:
    config = one_pad(1000.0, basis=Basis.EN_13155, tilt_allowance_deg=0.0)
    answer = held(config, Move(90.0, 90.0))
    assert 0.1 * 52_000.0 * 100.0 / answer.rated_kg == pytest.approx(3922.7, abs=0.05)  # of 100 kg


# Rated: the least of plate, basis, friction, worst pad.


def test_plate_is_never_exceeded() -> None:
    answer = held(six_pads(wll_kg=300.0), vacuum_kpa=90.0)
    assert (answer.governs, answer.rated_kg) == ("plate", 300.0)


def test_worst_pad_governs_off_centre() -> None:
    # shares of the grid: W/6 + W e x/sum(x^2), sum over six pads 4 * 0.81
    answer = held(six_pads(), FLAT, Centre(x_mm=200.0), load_kg=500.0)
    share = 1 / 6 + 0.2 * 0.9 / (4 * 0.81)
    assert answer.governs == "worst_pad"
    assert answer.rated_kg == pytest.approx(0.115 * 52_000.0 / (2 * G * share))
    assert answer.worst_pad is not None
    assert answer.worst_pad.id in {"A2", "B2"}
    assert answer.worst_pad.use_ratio == pytest.approx(500.0 / answer.rated_kg)


def test_mark_on_a_pad_is_never_exceeded() -> None:
    config = six_pads()
    marked = replace(config, pads={**config.pads, "A3": replace(config.pads["A3"], wll_kg=60.0)})
    answer = held(marked, FLAT, load_kg=300.0)
    assert answer.governs == "worst_pad"
    assert answer.rated_kg == pytest.approx(360.0)
    assert answer.worst_pad == ("A3", pytest.approx(300.0 / 360.0))
    assert answer.needed_kpa == held(config, FLAT, load_kg=300.0).needed_kpa  # a mark asks for no vacuum


def test_mark_on_a_pad_that_cannot_balance_the_load() -> None:
    config = six_pads()
    marked = replace(config, pads={**config.pads, "A3": replace(config.pads["A3"], wll_kg=60.0)})
    assert held(marked, FLAT, Centre(x_mm=950.0)).rated_kg == 0.0


def test_two_circuits_are_never_averaged() -> None:
    model = prepare(six_pads(), move=UPRIGHT)
    assert model is not None
    low = {"A": 52.0, "B": 40.0}
    answer = hold(model, judged_kpa=low, now_kpa=low, load_kg=500.0)
    assert answer.governs == "worst_pad"
    assert answer.rated_kg == pytest.approx(6 * 0.115 * 40_000.0 / (4 * G))


def test_needed_vacuum_does_not_depend_on_the_vacuum() -> None:
    one, two = held(six_pads(), vacuum_kpa=52.0), held(six_pads(), vacuum_kpa=70.0)
    assert one.needed_kpa == two.needed_kpa
    assert one.worst_pad is not None
    assert one.needed_kpa is not None
    assert one.needed_kpa["A"] == pytest.approx(52.0 * one.worst_pad.use_ratio)


# A circuit lost.


def test_three_pads_left_carry_it_by_friction() -> None:
    # pads left at (-0.9, 0.3), (0.9, 0.3), (0, -0.3): upright, centred over the panel, gravity through x = 0
    answer = held(six_pads(), HANGING, load_kg=624.0)
    assert answer.if_lost["B"].factor == pytest.approx(0.115 * 52_000.0 / (624.0 * G / 3 / 0.5))
    assert answer.if_lost["B"].needed_factor is None
    assert held(six_pads(two_circuit_rule=True), HANGING).if_lost["B"].needed_factor == 2.0


def test_factor_is_zero_when_the_pads_left_cannot_balance_the_load() -> None:
    halves = [PadConfig(f"A{x}{y}", "A", x, y, 1150.0) for x in (-900, -300) for y in (-300, 300)]
    halves += [PadConfig(f"B{x}{y}", "B", x, y, 1150.0) for x in (300, 900) for y in (-300, 300)]
    answer = held(lifter(halves), FLAT)
    assert answer.if_lost["A"].factor == 0.0
    assert answer.if_lost["B"].factor == 0.0
    assert answer.rated_kg > 0.0


def test_factor_is_zero_when_no_pad_is_left() -> None:
    assert held(one_pad(1150.0), FLAT).if_lost["A"].factor == 0.0


def test_centre_outside_the_pads_holds_nothing_lying_flat() -> None:
    answer = held(six_pads(), FLAT, Centre(x_mm=950.0))
    assert answer.rated_kg == 0.0
    assert answer.now_kg == 0.0
    assert answer.governs == "worst_pad"
    assert answer.worst_pad is not None
    assert math.isinf(answer.worst_pad.use_ratio)


def test_centre_below_the_pads_is_held_upright() -> None:
    # hanging below its pads a panel only pulls along them: W/6 each, and no torque
    answer = held(six_pads(), HANGING, Centre(y_mm=-500.0), load_kg=500.0)
    assert answer.worst_pad is not None
    assert answer.worst_pad.use_ratio == pytest.approx(4 * 500 * G / 6 / (0.115 * 52_000.0))


# Depth, rotation, past upright.


def test_depth_pulls_the_upper_row_upright() -> None:
    # W d over two rows 0.6 m apart, three pads each
    answer = held(six_pads(basis=Basis.EN_13155, tilt_allowance_deg=0.0), HANGING, Centre(depth_mm=60.0), load_kg=500.0)
    pull, slide = 500 * G * 0.06 / 0.6 / 3, 500 * G / 6
    assert answer.worst_pad is not None
    assert answer.worst_pad.use_ratio == pytest.approx(2 * (pull + slide / 0.5) / (0.115 * 52_000.0))
    assert answer.worst_pad.id in {"A1", "B1", "A2"}


def test_panel_lying_on_its_pads_is_not_credited_with_its_pressing() -> None:
    config = six_pads(basis=Basis.EN_13155, tilt_allowance_deg=0.0)
    over = held(config, Move(120.0, 120.0, 0.0, 0.0), Centre(depth_mm=60.0))
    assert over.worst_pad is not None
    slide = 500 * G * math.sin(math.radians(120)) / 6
    pull = 500 * G * math.sin(math.radians(120)) * 0.06 / 0.6 / 3
    assert over.worst_pad.use_ratio == pytest.approx(2 * (pull + slide / 0.5) / (0.115 * 52_000.0))
    lying = held(six_pads(), Move(180.0, 180.0))
    assert lying.rated_kg == pytest.approx(0.69 * 52_000.0 / (2 * G))  # the basis still asks for its 2


def test_panel_lying_with_its_centre_outside_the_pads_levers_the_far_row() -> None:
    # springs both ways: the far row's pads pull W (e x/sum(x^2) - 1/6)
    inside = held(six_pads(), Move(180.0, 180.0), Centre(x_mm=500.0))
    assert inside.worst_pad is not None
    assert inside.worst_pad.use_ratio == pytest.approx(0.0, abs=1e-9)
    tipping = held(six_pads(), Move(180.0, 180.0), Centre(x_mm=1200.0))
    assert tipping.worst_pad is not None
    assert tipping.worst_pad.id in {"A1", "B3"}
    pull = 500 * G * (1.2 * 0.9 / (4 * 0.81) - 1 / 6)
    assert pull >= 500 * G * 0.3 / 1.8 / 2  # no less than tipping over the near row asks of two pads
    assert tipping.worst_pad.use_ratio == pytest.approx(2 * pull / (0.115 * 52_000.0))


def test_rotation_brings_the_long_side_upright() -> None:
    # a quarter turn: gravity along x, the rows that stand apart by 1.8 m take the depth moment instead of 0.6 m
    config = six_pads(basis=Basis.EN_13155, tilt_allowance_deg=0.0)
    as_drawn = held(config, Move(90.0, 90.0, 0.0, 0.0), Centre(depth_mm=60.0)).rated_kg
    turned = held(config, Move(90.0, 90.0, 90.0, 90.0), Centre(depth_mm=60.0)).rated_kg
    any_turn = held(config, Move(90.0, 90.0, 0.0, 360.0), Centre(depth_mm=60.0)).rated_kg
    assert turned > as_drawn
    assert any_turn <= as_drawn


def test_turn_through_zero_is_short() -> None:
    config = six_pads()
    through_zero = held(config, Move(90.0, 90.0, 350.0, 10.0), Centre(x_mm=100.0, depth_mm=60.0))
    the_same = held(config, Move(90.0, 90.0, -10.0, 10.0), Centre(x_mm=100.0, depth_mm=60.0))
    assert through_zero.rated_kg == pytest.approx(the_same.rated_kg)


def test_single_pad_and_single_row_hold_a_load_through_them() -> None:
    assert held(one_pad(1150.0), UPRIGHT).rated_kg == pytest.approx(0.115 * 52_000.0 / (4 * G))
    row = lifter([PadConfig(f"A{x}", "A", x, 0.0, 1150.0) for x in (-600, 0, 600)])
    assert held(row, UPRIGHT).rated_kg == pytest.approx(3 * 0.115 * 52_000.0 / (4 * G))
    assert held(row, FLAT, Centre(y_mm=300.0)).rated_kg == 0.0  # a lever arm they cannot balance
    assert held(row, FLAT, Centre(x_mm=100.0)).rated_kg > 0.0


def test_balanced_beams_share_equally_while_they_can() -> None:
    """Beams across the panel at each place along it: their pads share equally, whatever a rigid frame would give."""
    places = [(-900, 300), (-900, -300), (0, 300), (900, 300), (900, -300)]
    pads = [PadConfig(f"A{n}", "A", *place, 1150.0) for n, place in enumerate(places)]
    # the lone pad's beam, 0.3 m up, takes 0.03/0.3 of the load; the four others share the rest
    balanced = lay_out(
        lifter(pads, suspension=Suspension.BALANCED), tuple(f"A{n}" for n in range(5)), Centre(y_mm=30.0)
    )
    pull, _ = balanced.shares(np.zeros(1), np.zeros(1))
    assert pull[0] == pytest.approx([0.225, 0.225, 0.1, 0.225, 0.225])
    rigid = lay_out(lifter(pads), tuple(f"A{n}" for n in range(5)), Centre(y_mm=30.0))
    # the plane: 1/5 + (0.03 - 0.06) (y - 0.06)/sum((y - 0.06)^2), the sum 0.432
    assert rigid.shares(np.zeros(1), np.zeros(1))[0][0] == pytest.approx(
        [0.18333, 0.225, 0.18333, 0.18333, 0.225], abs=1e-5
    )


def test_beams_on_their_stops_are_rigid_again() -> None:
    off = Centre(y_mm=100.0)  # all beams' middles are on one line: they cannot balance this
    assert held(six_pads(suspension=Suspension.BALANCED), FLAT, off).rated_kg == held(six_pads(), FLAT, off).rated_kg


# What comes in.


def test_no_pads_no_model() -> None:
    assert prepare(lifter([])) is None


def test_pads_in_use_must_be_the_lifters() -> None:
    with pytest.raises(ValueError, match="Z9"):
        prepare(six_pads(), pads=("A1", "Z9"))
    with pytest.raises(ValueError, match="must be some of"):
        prepare(six_pads(), pads=())


def test_friction_must_be_above_zero() -> None:
    with pytest.raises(ValueError, match=r"friction is 0\.0"):
        prepare(six_pads(), friction=0.0)


@pytest.mark.parametrize("nothing", [{}, {"A": 52.0}, {"A": 52.0, "B": math.nan}, {"A": 52.0, "B": -3.0}])
def test_circuit_without_a_believed_vacuum_holds_nothing(nothing: dict[str, float]) -> None:
    model = prepare(six_pads())
    assert model is not None
    answer = hold(model, judged_kpa=nothing, now_kpa=nothing, load_kg=500.0)
    assert answer.rated_kg == 0.0
    assert answer.margin_kg == -500.0
    only_a = hold(model, judged_kpa=nothing, now_kpa={"A": 52.0, "B": 0.0}, load_kg=500.0)
    assert answer.now_kg == (only_a.now_kg if nothing else 0.0)


def test_little_vacuum_holds_little() -> None:
    assert held(six_pads(), UPRIGHT, vacuum_kpa=0.5).rated_kg == pytest.approx(
        held(six_pads(), UPRIGHT).rated_kg / 104.0
    )


def test_answer_names_its_basis() -> None:
    assert held(six_pads()).basis == Basis.ASME_BTH_1.value
    assert held(six_pads(basis=Basis.EN_13155)).basis == Basis.EN_13155.value


def test_panel_that_bends_asks_more_of_the_worst_pad() -> None:
    model = prepare(six_pads(), move=UPRIGHT, bend_factor=1.25)
    assert model is not None
    level = {"A": 52.0, "B": 52.0}
    bent, rigid = hold(model, judged_kpa=level, now_kpa=level, load_kg=500.0), held(six_pads(), UPRIGHT)
    assert bent.worst_pad is not None
    assert rigid.worst_pad is not None
    assert bent.worst_pad.use_ratio == pytest.approx(1.25 * rigid.worst_pad.use_ratio)


@pytest.mark.parametrize("load_kg", [None, 0.0, -20.0])
def test_no_load_no_ratio(load_kg: float | None) -> None:
    answer = held(six_pads(), load_kg=load_kg)
    assert answer.margin_ratio is None
    assert answer.worst_pad is None
    assert answer.needed_kpa is None
    assert answer.if_lost["A"].factor is None
    assert answer.margin_kg == (None if load_kg is None else pytest.approx(answer.rated_kg - load_kg))


def test_model_can_be_pickled() -> None:
    model = prepare(six_pads(), centre=Centre(20.0, 10.0, 30.0))
    assert pickle.loads(pickle.dumps(model)) == model  # noqa: S301  (our own bytes)


# --- what governs at equality, and wind


def test_plate_that_says_just_what_is_computed_governs() -> None:
    computed_kg = held(six_pads(), UPRIGHT).rated_kg
    assert held(six_pads(wll_kg=computed_kg), UPRIGHT).governs == "plate"
    assert held(six_pads(wll_kg=computed_kg * 1.000001), UPRIGHT).governs == "basis"


def test_wind_that_pulls_a_flat_panel_takes_its_force_off_the_load() -> None:
    # BTH-1 lying flat: 2 (W + wind) = suction; exact at the planned load
    carried_kg = (0.69 * 52_000.0 / 2.0 - 1000.0) / G
    model = prepare(six_pads(), move=FLAT, wind=Wind(away_n=1000.0), planned_kg=carried_kg)
    assert model is not None
    level = {"A": 52.0, "B": 52.0}
    answer = hold(model, judged_kpa=level, now_kpa=level, load_kg=300.0)
    assert answer.rated_kg == pytest.approx(carried_kg)
    assert answer.rated_kg == pytest.approx(held(six_pads(), FLAT).rated_kg - 1000.0 / G)
