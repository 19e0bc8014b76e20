"""Two lifters on one panel, step by step: whose answers show on whom, and who is told when."""

import pytest

from monitor.core.call import Call, Called
from monitor.core.events import Told
from monitor.core.messages import Text
from monitor.core.release import Release
from tests.histories import Watch, dock

READING = {"circuits": {"A": {"vacuum_kpa": 0.0}, "B": {"vacuum_kpa": 0.0}}, "load_kg": 0.0}


def site(*names: str, tandem: bool = True) -> Watch:
    """Lifters without pads: what holds is not worked out."""
    return Watch(*(dock(id=name, pads={}, layouts={}) for name in names), tandem=tandem)


def told(watch: Watch) -> list[str]:
    """Of whom was told, since it was asked last."""
    names = [one.status.facts.config.id for one in watch.told]
    watch.told.clear()
    return names


def answer(watch: Watch, name: str, call: Call | None, release: Release | None) -> None:
    """What a lifter's own answers are, as if just judged."""
    one = watch.state.lifters[name]
    one.called = None if call is None else Called(call, Text(f"headline.{call}"), Text("reason.low"))
    one.release = release


def heard(watch: Watch, name: str) -> Told:
    watch.send(READING, lifter=name)
    return watch.told[-1]


def test_partner_is_told_where_a_call_changed_and_tells_back_once() -> None:
    watch = site("dock-6", "dock-7", "dock-8", tandem=True)
    watch.wait(0.5)
    first = told(watch)
    assert first[:2] == ["dock-6", "dock-7"]  # all is new: each tells the others
    assert set(first) == {"dock-6", "dock-7", "dock-8"}
    watch.wait(0.5)
    assert told(watch) == ["dock-6", "dock-7", "dock-8"]  # nothing is: each is told by the tick alone
    heard(watch, "dock-7")
    assert told(watch)[:2] == ["dock-7", "dock-6"]
    heard(watch, "dock-7")
    assert told(watch) == ["dock-7"]


def test_without_a_tandem_nobody_else_is_told() -> None:
    watch = site("dock-6", "dock-7", tandem=False)
    watch.wait(0.5)
    assert told(watch) == ["dock-6", "dock-7"]
    heard(watch, "dock-6")
    assert told(watch) == ["dock-6"]


@pytest.mark.parametrize(
    ("call", "release", "shown"),
    [
        pytest.param(
            Call.LAND_NOW, Release.DO_NOT_RELEASE, {"dock-7": ("land_now", "do_not_release")}, id="both known"
        ),
        pytest.param(None, Release.DO_NOT_RELEASE, {}, id="no call yet"),
        pytest.param(Call.LAND_NOW, None, {}, id="no release yet"),
    ],
)
def test_answers_of_the_partner_stand_in_the_facts(
    call: Call | None, release: Release | None, shown: dict[str, tuple[str, str]]
) -> None:
    watch = site("dock-6", "dock-7")
    watch.state.lifters["dock-6"].shown = (Call.NOT_LIFTING, Release.DO_NOT_RELEASE)
    answer(watch, "dock-7", call, release)
    watch.send(READING, lifter="dock-6")
    status = watch.told[0].status
    assert status.facts.partners == shown
    assert (status.called.reason.key == "reason.tandem") is bool(shown)


def test_own_answers_are_kept_and_the_partners_are_shown() -> None:
    """Else a partner's call would echo between the two for ever."""
    watch = site("dock-6", "dock-7")
    watch.wait(0.5)
    heard(watch, "dock-6")
    answer(watch, "dock-7", Call.LAND_NOW, Release.DO_NOT_RELEASE)
    shown = heard(watch, "dock-6")
    assert (shown.status.called.call, shown.status.called.reason.key) == (Call.LAND_NOW, "reason.tandem")
    assert shown.changed
    own = watch.state.lifters["dock-6"].called
    assert own is not None
    assert own.call is not Call.LAND_NOW


def test_nothing_new_of_the_partner_is_no_change() -> None:
    watch = site("dock-6", "dock-7")
    for _ in range(3):
        for name in ("dock-6", "dock-7"):
            told_last = heard(watch, name)
    assert not told_last.changed
