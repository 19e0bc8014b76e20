"""When a named person's word that the panel is fixed moves the phase: the cautious side wherever a load is measured."""

from dataclasses import replace

import pytest

from monitor.core import lifter
from monitor.core.phases import OPEN_FOR_S, Phase, PhaseState
from tests.histories import NO_CELL, dock

NOW_S = 5000.0


@pytest.mark.parametrize(
    ("said", "load_fresh", "all_open", "open_for_s", "moves"),
    [
        pytest.param(True, False, True, OPEN_FOR_S, True, id="the cell is silent and every pad was let go"),
        pytest.param(True, False, True, OPEN_FOR_S - 0.1, False, id="not for long enough"),
        pytest.param(True, False, True, None, False, id="not known since when"),
        pytest.param(True, False, False, OPEN_FOR_S, False, id="a pad may still hold"),
        pytest.param(True, True, True, OPEN_FOR_S, False, id="the cell is heard: it says it better"),
        pytest.param(False, False, True, OPEN_FOR_S, False, id="nobody said so"),
    ],
)
def test_word_counts_beside_a_silent_cell_once_every_pad_was_let_go(
    said: bool, load_fresh: bool, all_open: bool, open_for_s: float | None, moves: bool
) -> None:
    one = lifter.begin(dock())
    one.landed_fixed, one.load = said, replace(one.load, confirmed_off=True)
    since_s = None if open_for_s is None else NOW_S - open_for_s
    one.phase = PhaseState(phase=Phase.LANDING, since_s=NOW_S - 60.0, open_since_s=since_s)
    assert lifter._said_fixed(one, NOW_S, load_fresh=load_fresh, all_open=all_open) is moves


@pytest.mark.parametrize(
    ("said", "confirmed_off", "moves"),
    [(True, False, True), (False, True, True), (True, True, True), (False, False, False)],
)
def test_without_a_cell_the_word_counts_until_it_is_taken_back(said: bool, confirmed_off: bool, moves: bool) -> None:
    one = lifter.begin(dock(**NO_CELL))
    one.landed_fixed, one.load = said, replace(one.load, confirmed_off=confirmed_off)
    assert lifter._said_fixed(one, NOW_S, load_fresh=False, all_open=False) is moves


@pytest.mark.parametrize(
    ("vacuum_kpa", "load_at_s", "asked"),
    [
        pytest.param((0.0, 0.0), NOW_S, {"load_fresh": True, "all_open": True}, id="let go, the cell heard"),
        pytest.param((0.0, 0.0), None, {"load_fresh": False, "all_open": True}, id="let go, the cell silent"),
        pytest.param((0.0, 64.0), None, {"load_fresh": False, "all_open": False}, id="one pad holds"),
        pytest.param((None, None), None, {"load_fresh": False, "all_open": False}, id="nothing heard is not open"),
    ],
)
def test_what_is_asked_of_the_word_is_what_is_heard_now(
    monkeypatch: pytest.MonkeyPatch,
    vacuum_kpa: tuple[float | None, float | None],
    load_at_s: float | None,
    asked: dict[str, bool],
) -> None:
    seen: list[tuple[float, dict[str, bool]]] = []
    monkeypatch.setattr(lifter, "_said_fixed", lambda _, now_s, **given: seen.append((now_s, given)))
    one = lifter.begin(dock())
    heard = dict(zip(one.gauges, vacuum_kpa, strict=True))
    monkeypatch.setattr(lifter, "_heard_kpa", lambda _, name, __: heard[name])
    one.load = replace(one.load, at_s=load_at_s, net_kg=0.0)
    lifter.advance_phase(one, NOW_S)
    assert seen == [(NOW_S, asked)]
