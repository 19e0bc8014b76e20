"""What the live pages may have to show: every call, circuit state and release answer, and the fullest screens."""

from typing import Any, Final

from tests.page.statuses import CALLS, alarm, circuit, losing, silent, status, told, with_circuits

Status = dict[str, Any]

MIXED: Final = {
    "A": circuit(),
    "B": losing(),
    "C": silent(4.2),
    "D": circuit("sensor_fault", 60.0),
    "E": circuit("critical", 34.1),
    "F": circuit("building", 31.0, pump="on"),
}
"""Circuits of every state but open and low, which two calls have."""

ALARMS: Final = [alarm(), alarm("acknowledged", "medium", 18), alarm("returned_unacknowledged", "low", 19)]
_STOP: Final = told("headline", "headline.stop_hoisting") | {"phase": "lifting", "phase_words": "Lifting"}
_OVER: Final = {"rated_kg": 580.0, "margin_kg": -44.0, "margin_ratio": -0.07, "governs": "friction"}
_NO_LOAD: Final = {"kg": None, "source": "none", "judged_kg": None, "planned_kg": None, "known": "unknown"}
_OFF: Final = {"kg": 3.0, "source": "measured", "judged_kg": 624.0, "planned_kg": None, "known": "off"}


def _never_heard() -> Status:
    said = status("no_signal", circuits={name: silent(None) for name in "AB"}, phase="idle", phase_words="Idle")
    said |= {**told("headline", "headline.read_the_gauge"), **told("reason", "reason.never_heard"), "load": _NO_LOAD}
    said["facts"] = dict.fromkeys(said["facts"]) | {"pads_n": 6, "slow": False, "wind_at": "ground"}
    return said | {"in_flight": False, "holding": None, "lift": None}


def _over() -> Status:
    said = status(
        "land_now",
        **told("headline", "headline.tilt_back"),
        **told("reason", "reason.margin_gone", judged_kg=624.0, rated_kg=580.0),
    )
    return said | {"holding": said["holding"] | _OVER}


def _check_fixed() -> Status:
    words = told("release_words", "release.check_fixed") | told("release_reason", "release.weight_off")
    return status("holding", phase="landing", phase_words="Landing", release="check_fixed", load=_OFF, **words)


def _no_cell() -> Status:
    said = status(
        "look", release="cannot_tell", load=_NO_LOAD, **told("headline", "headline.look"),
        **told("reason", "reason.load_unknown"), **told("release_words", "release.cannot_tell"),
        **told("release_reason", "release.no_cell"), circuits={"A": circuit(), "B": circuit(vacuum_kpa=62.4)},
    )  # fmt: skip
    return said | {"holding": said["holding"] | {"margin_kg": None, "margin_ratio": None}}


SCENES: Final[dict[str, list[Status]]] = {
    **{call: [status(call)] for call in CALLS},
    "three circuits": [with_circuits(status("land_soon"), 3)],
    "four circuits, silent": [with_circuits(status("no_signal"), 4)],
    "six circuits": [with_circuits(status("land_now"), 6)],
    "every state": [status("land_now", circuits=MIXED, alarms=ALARMS, **_STOP)],
    "stop hoisting, three": [with_circuits(status("land_now", alarms=ALARMS, **_STOP), 3)],
    "a pad still grips": [status("land_now", **told("headline", "headline.stop_hoisting_grips"))],
    "alarms": [status("land_soon", alarms=ALARMS)],
    "over": [_over()],
    "check fixed": [_check_fixed()],
    "no load cell": [_no_cell()],
    "never heard": [_never_heard()],
    "two lifters": [status("land_soon"), status("not_lifting", lifter="dock-7", lifter_name="Dock 7")],
    "four lifters": [
        status(call, lifter=f"dock-{n}", lifter_name=f"Dock {n}")
        for n, call in enumerate(("land_now", "no_signal", "look", "holding"), 6)
    ],
}
"""By name: the statuses of the lifters, the first one's call being the page's."""
