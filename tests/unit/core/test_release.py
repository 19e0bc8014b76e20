"""The release answer by DESIGN's table: never better than known, on both sides of each of its limits."""

from dataclasses import replace

import pytest

from monitor.core.config import LoadMeasures
from monitor.core.facts import CircuitState, Facts
from monitor.core.load import Load, LoadKnown
from monitor.core.messages import Text
from monitor.core.phases import ATTACHED, Phase
from monitor.core.release import Release, judge, with_partner
from tests.histories import NO_CELL, STILL, Watch, carry, carrying, dock
from tests.unit.core.made import circuit, facts

NO, CHECK, CANNOT, NOT = Release
OPEN = [circuit(name, state=CircuitState.OPEN, vacuum_kpa=0.1) for name in "AB"]


def answer(given: Facts) -> tuple[Release, str]:
    told, text = judge(given)
    return told, text.key


def unladen(**changes: object) -> Facts:
    changes = {"load_known": LoadKnown.OFF, "load_kg": 1.0, "phase": Phase.LANDING, "in_flight": False, **changes}
    return facts(**changes)  # type: ignore[arg-type]


# --- the table


@pytest.mark.parametrize("phase", sorted(ATTACHED))
def test_load_on_is_do_not_release_in_every_phase(phase: Phase) -> None:
    assert answer(facts(phase=phase)) == (NO, "release.load_on")


@pytest.mark.parametrize("phase", sorted(ATTACHED))
def test_load_reading_lost_is_do_not_release_in_every_phase(phase: Phase) -> None:
    lost = facts(phase=phase, load_known=LoadKnown.UNSURE, load_kg=None, load_fresh=False, load_lost=True)
    assert answer(lost) == (NO, "release.load_lost")


def test_load_not_steadily_off_is_do_not_release() -> None:
    assert answer(unladen(load_known=LoadKnown.UNSURE)) == (NO, "release.not_steadily_off")


@pytest.mark.parametrize(("load_kg", "why"), [(-18.7, "rests"), (-18.6, "not_steadily_off")])
def test_lifter_resting_on_the_panel_is_never_off(load_kg: float, why: str) -> None:
    resting = unladen(load_known=LoadKnown.UNSURE, load_kg=load_kg, load=Load(largest_kg=622.0))
    assert answer(resting) == (NO, f"release.{why}")


def test_weight_off_asks_whether_the_panel_is_fixed() -> None:
    assert answer(unladen()) == (CHECK, "release.weight_off")


def test_before_the_pick_it_says_that_nothing_was_lifted_yet() -> None:
    assert answer(unladen(load=Load(net_kg=1.0), phase=Phase.SEAL_TEST)) == (CHECK, "release.not_lifted_yet")


def test_no_load_cell_cannot_tell_even_after_a_named_confirmation() -> None:
    config = {"load_measures": LoadMeasures.NONE}
    assert answer(unladen(config=config)) == (CANNOT, "release.no_cell")
    assert answer(facts(config=config, load_known=LoadKnown.UNSURE)) == (CANNOT, "release.no_cell")


@pytest.mark.parametrize(("largest_kg", "told"), [(39.0, CANNOT), (41.0, CHECK)])
def test_cell_too_coarse_for_the_panel_cannot_tell(largest_kg: float, told: Release) -> None:
    assert judge(unladen(load=Load(largest_kg=largest_kg)))[0] is told


def test_coarse_cell_that_shows_a_load_still_says_do_not() -> None:
    assert judge(facts(load=Load(largest_kg=39.0)))[0] is NO


@pytest.mark.parametrize(("load_kg", "told"), [(10.0, CANNOT), (10.1, NO), (None, CANNOT)])
def test_coarse_cell_that_may_show_a_small_panel_says_do_not(load_kg: float | None, told: Release) -> None:
    given = unladen(load=Load(largest_kg=39.0), load_known=LoadKnown.UNSURE, load_kg=load_kg)
    assert judge(given)[0] is told


@pytest.mark.parametrize("phase", [Phase.IDLE, Phase.RELEASED])
def test_nothing_attached_shows_nothing(phase: Phase) -> None:
    assert answer(facts(*OPEN, phase=phase, in_flight=False, load_known=LoadKnown.OFF)) == (NOT, "release.not_attached")


@pytest.mark.parametrize("phase", [Phase.IDLE, Phase.RELEASED])
@pytest.mark.parametrize("state", [CircuitState.NO_READING, CircuitState.SENSOR_FAULT, CircuitState.BUILDING])
def test_circuit_not_heard_to_be_open_is_never_nothing_attached(phase: Phase, state: CircuitState) -> None:
    unsure = facts(OPEN[0], circuit("B", state=state), phase=phase, in_flight=False, load_known=LoadKnown.UNSURE)
    assert judge(unsure)[0] is NO


@pytest.mark.parametrize("phase", [Phase.IDLE, Phase.RELEASED])
def test_load_back_after_the_release_is_do_not_release(phase: Phase) -> None:
    back = facts(*OPEN, phase=phase, in_flight=False, released_load_kg=80.0)
    assert answer(back) == (NO, "release.load_returns")


@pytest.mark.parametrize(("planned_kg", "told"), [(39.0, CANNOT), (41.0, CHECK), (None, CHECK)])
def test_before_a_load_was_seen_a_cell_is_coarse_by_the_planned_one(planned_kg: float | None, told: Release) -> None:
    given = unladen(load=Load(), planned_kg=planned_kg)
    assert answer(given)[0] is told


def test_lifter_exactly_on_the_band_does_not_rest_on_the_panel() -> None:
    given = unladen(load_known=LoadKnown.UNSURE, load=Load(largest_kg=300.0), load_kg=-10.0)
    assert answer(given) == (NO, "release.not_steadily_off")


# --- what is said with it


LARGEST = Load(largest_kg=622.0)


@pytest.mark.parametrize(
    ("given", "text"),
    [
        (unladen(released_load_kg=44.0), Text("release.load_returns", {"load_kg": 44.0})),
        (facts(*OPEN, phase=Phase.IDLE, load_known=LoadKnown.OFF), Text("release.not_attached")),
        (facts(config={"load_measures": LoadMeasures.NONE}), Text("release.no_cell")),
        (facts(load_lost=True, load_known=LoadKnown.UNSURE), Text("release.load_lost")),
        (facts(load=LARGEST), Text("release.load_on", {"load_kg": 620.0, "largest_kg": 622.0})),
        (unladen(), Text("release.weight_off")),
        (
            unladen(load_known=LoadKnown.UNSURE, load_kg=-40.0, load=LARGEST),
            Text("release.rests", {"load_kg": -40.0}),
        ),
        (
            unladen(load_known=LoadKnown.UNSURE, load_kg=3.0, load=LARGEST),
            Text("release.not_steadily_off", {"load_kg": 3.0, "largest_kg": 622.0}),
        ),
        (
            unladen(config={"load_accuracy_kg": 200.0}, load=Load(largest_kg=300.0)),
            Text("release.coarse", {"band_kg": 400.0}),
        ),
    ],
    ids=lambda value: value.key if isinstance(value, Text) else "",
)
def test_answer_says_why_with_its_figures(given: Facts, text: Text) -> None:
    assert judge(given)[1] == text


@pytest.mark.parametrize(("partner", "key"), [(NO, "release.partner"), (CANNOT, "release.partner_unknown")])
def test_partner_is_named(partner: Release, key: str) -> None:
    given = facts(partners={"dock-7": ("holding", partner)})
    assert with_partner(CHECK, Text("release.weight_off"), given)[1] == Text(key, {"lifter": "dock-7"})


@pytest.mark.parametrize("partner", [CHECK, NOT])
def test_partner_that_is_off_leaves_what_is_said(partner: Release) -> None:
    own = Text("release.weight_off")
    assert with_partner(CHECK, own, facts(partners={"dock-7": ("holding", partner)})) == (CHECK, own)


# --- two lifters on one panel


@pytest.mark.parametrize("own", [CHECK, CANNOT, NOT])
def test_partner_that_carries_holds_the_answer_back(own: Release) -> None:
    given = facts(partners={"dock-7": ("holding", "do_not_release")})
    told, text = with_partner(own, judge(given)[1], given)
    assert (told, text.key, text.values["lifter"]) == (NO, "release.partner", "dock-7")


@pytest.mark.parametrize(("own", "told"), [(NO, NO), (CANNOT, CANNOT), (CHECK, CANNOT), (NOT, CANNOT)])
def test_partner_that_cannot_tell_is_never_better_than_that(own: Release, told: Release) -> None:
    given = facts(partners={"dock-7": ("holding", "cannot_tell")})
    assert with_partner(own, judge(given)[1], given)[0] is told


def test_partner_that_is_off_makes_nothing_better() -> None:
    given = facts(partners={"dock-7": ("holding", "check_fixed")})
    assert with_partner(*judge(given), given)[0] is NO


# --- sequences


def landed(**signals: str) -> Watch:
    watch = carrying()
    carry(watch, **signals)
    return watch


COMING_OFF = {
    "off for 4.9 s, counted from the edge of the band on": ("600>0x20 0x48", NO),
    "off for longer": ("600>0x20 0x60", CHECK),
    "inside 3 % of 600 kg": ("600>0x20 17.5x60", CHECK),
    "outside it": ("600>0x20 18.5x60", NO),
    "lifter leaning on the panel": ("600>0x20 -18.5x60", NO),
    "partial set-down on blocks": ("600>180x20 180x600", NO),
    "drifted zero": ("600>25x20 25x600", NO),
    "bounce": ("600>0x20 0x30 60x2 0x30", NO),
    "swing inside the band": ("600>0x20 " + "15x3 -15x3 " * 20, CHECK),
    "swing": ("600>0x20 " + "22x3 -22x3 " * 20, NO),
    "silent cell": ("600>0x20 0x100 -x40", NO),
}


@pytest.mark.parametrize(("load", "told"), COMING_OFF.values(), ids=COMING_OFF)
def test_load_coming_off(load: str, told: Release) -> None:
    assert landed(load_kg=load).release == told


def test_silent_cell_takes_the_answer_back() -> None:
    watch = landed(load_kg="600>0x20 0x100")
    assert watch.release == "check_fixed"
    carry(watch, load_kg="-x31")
    assert (watch.release, watch.status.release_text.key) == ("do_not_release", "release.load_lost")


def test_cell_heard_again_must_be_steady_for_five_seconds_anew() -> None:
    watch = landed(load_kg="600>0x20 0x100 -x100 0x49")
    assert watch.release == "do_not_release"
    carry(watch, load_kg="0x5")
    assert watch.release == "check_fixed"


def test_reading_that_cannot_be_believed_is_a_lost_reading() -> None:
    watch = landed(load_kg="600>0x20 0x100 nanx35")
    assert watch.release == "do_not_release"


def test_all_silence_takes_the_answer_back() -> None:
    watch = landed(load_kg="600>0x20 0x100")
    watch.wait(4.0)
    assert watch.release == "do_not_release"


def test_after_all_silence_the_five_seconds_begin_anew() -> None:
    watch = landed(load_kg="600>0x20 0x100 _x100 0x49")
    assert watch.release == "do_not_release"
    carry(watch, load_kg="0x5")
    assert watch.release == "check_fixed"


@pytest.mark.parametrize("kind", ["confirm_fixed", "landed_fixed", "picked_up", "service_note"])
def test_no_confirmation_turns_do_not_release_into_anything_else(kind: str) -> None:
    watch = carrying()
    assert watch.act(kind) == "done.logged"
    told = {status.release.value for status in carry(watch, load_kg="600x100")}
    assert told == {"do_not_release"}


SILENT = "-x100"
LET_GO = "64>0x40 0x60"


@pytest.mark.parametrize("kind", ["confirm_fixed", "landed_fixed"])
def test_with_a_silent_cell_a_named_fixed_ends_the_lift_once_every_pad_was_let_go(kind: str) -> None:
    watch = carrying()
    told = carry(watch, load_kg=SILENT, A=LET_GO, B=LET_GO)
    assert (watch.call, watch.release) == ("land_now", "do_not_release")
    assert watch.act(kind) == "done.logged"
    told = carry(watch, load_kg=SILENT, A="0x100", B="0x100")
    assert {status.facts.phase for status in told[5:]} == {Phase.RELEASED}
    assert (watch.release, told[-1].called.call) == ("not_attached", "not_lifting")


@pytest.mark.parametrize(
    ("load_kg", "a", "b"),
    [
        pytest.param(SILENT, "64x100", "64x100", id="attached"),
        pytest.param(SILENT, "64x100", LET_GO, id="one-circuit-let-go"),
        pytest.param(SILENT, LET_GO, "64x60 -x40", id="one-circuit-silent"),
        pytest.param("600x100", LET_GO, LET_GO, id="cell-says-on"),
        pytest.param("40x100", LET_GO, LET_GO, id="zero-drifted"),
    ],
)
def test_a_named_fixed_moves_no_phase_while_the_cell_is_heard_or_a_pad_may_hold(load_kg: str, a: str, b: str) -> None:
    watch = carrying()
    carry(watch, load_kg=load_kg, A=a, B=b)
    watch.act("confirm_fixed")
    told = carry(watch, load_kg=load_kg, A=a.rpartition(" ")[2], B=b.rpartition(" ")[2])
    assert {status.facts.phase for status in told} <= {Phase.LIFTING, Phase.CARRYING, Phase.LANDING}
    assert {status.release.value for status in told} == {"do_not_release"}


def test_a_fixed_said_before_the_pads_were_let_go_is_forgotten() -> None:
    watch = carrying()
    carry(watch, load_kg=SILENT)
    watch.act("confirm_fixed")
    told = carry(watch, load_kg=SILENT, A=LET_GO, B=LET_GO)
    assert Phase.RELEASED not in {status.facts.phase for status in told}


def test_no_cell_at_all_is_always_cannot_tell_while_attached() -> None:
    watch = Watch(dock(**NO_CELL))
    vacuum = "0x5 0>64x100 64x300"
    told = watch.play(A=vacuum, B=vacuum, **STILL)
    watch.act("landed_fixed")
    told += watch.play(A="64x100", B="64x100", **STILL)
    attached = {status.release.value for status in told if status.facts.phase in ATTACHED}
    assert attached == {"cannot_tell"}


def test_answer_is_told_whatever_the_call() -> None:
    watch = landed(load_kg="600>0x20 0x100", A="64x1 64>40x40 40x1")
    assert (watch.call, watch.release) == ("look", "check_fixed")
    watch = carrying()
    carry(watch, lifter_alarm="truex5")
    assert (watch.call, watch.release) == ("land_now", "do_not_release")


def test_not_known_to_be_off_is_do_not_release_for_any_cell() -> None:
    for largest_kg in (None, 100.0, 622.0):
        for known in (LoadKnown.ON, LoadKnown.UNSURE):
            given = facts(load=Load(largest_kg=largest_kg), load_known=known, load_kg=25.0)
            assert judge(replace(given, phase=Phase.LANDING))[0] is NO
