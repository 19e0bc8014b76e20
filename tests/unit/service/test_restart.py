"""Back after a crash: the same engine as if nothing had happened, and what is missing named."""

import json
import os
import pickle
import shutil
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import msgspec
import pytest

from monitor.core import engine
from monitor.core.alarm_acts import NEVER_SET_ASIDE
from monitor.core.events import (
    Action,
    ActionCame,
    ActionKind,
    AlarmMoved,
    ClockSet,
    Effect,
    LiftClosed,
    Resumed,
    Told,
)
from monitor.drive import Drive
from monitor.journalled import ACTION, message_event, row_of
from monitor.judged_by import state_version
from monitor.restart import Restored, Sealer, restore
from monitor.settings.site import SiteSettings, load_site, read_site
from monitor.store.records import Reader, Writer, open_reader, open_writer
from monitor.words.say import status_dict
from simulator.lifters import BUILT_IN
from simulator.play import timeline
from simulator.publisher import message_of
from simulator.scenarios import load

ROOT = Path(__file__).parents[3]
T0 = 1764019200.0
DOWN_S = 7.3
LEAKING_S = 190.0
ALARM_S = 180.0
NAMES = ("lifter", "raising", "key", "about", "moved", "state", "who")


@cache
def site() -> SiteSettings:
    return load_site(ROOT / "configs" / "demo.toml")


@cache
def version_of(text: str) -> str:
    return state_version(read_site(text, name="site"))


@cache
def messages(scenario: str, to_s: float) -> list[tuple[float, bytes]]:
    """A scenario's readings; from ``ALARM_S`` on the lifter's own alarm sounds."""
    found = []
    for one in timeline(load(scenario), BUILT_IN, seed=1):
        if one.leaf == "readings" and one.at_s < to_s:
            said = json.loads(message_of(one, epoch_utc_s=T0)) | {"lifter_alarm": one.at_s >= ALARM_S}
            found.append((T0 + one.at_s, json.dumps(said).encode()))
    return found


class Run:
    """An engine that journals like the service and keeps its state every 5 s, until it is killed."""

    def __init__(self, data: Path, drive: Drive, effects: list[Effect]) -> None:
        self.data = data
        self.writer: Writer = open_writer(data)
        self.sealer = Sealer(data)
        self.drive = drive
        self.effects = effects
        self._kept_s = drive.now_s

    def play(self, scenario: str, to_s: float) -> None:
        self.event(ClockSet(0.0))
        for at_s, message in messages(scenario, to_s):
            self.message(at_s, message)

    def message(self, at_s: float, message: bytes) -> None:
        for _, effects in self.drive.advance(at_s):
            self.effects += effects
        kind, event = message_event(message, "dock-6", retained=False)
        self.writer.journal(self.drive.now_s, kind, "dock-6", message)
        self.effects += self.drive.take(event)
        if at_s - self._kept_s >= 5.0:
            self._kept_s = at_s
            self.keep_state()
            self.writer.flush()

    def event(self, event: object) -> None:
        kind, lifter, payload = row_of(event)
        action = event.action.id if isinstance(event, ActionCame) else ""
        self.writer.journal(self.drive.now_s, kind, lifter, payload, action=action)
        self.effects += self.drive.take(event)

    def keep_state(self) -> None:
        opened_s = [one.log.opened_s for one in self.drive.state.lifters.values() if one.log is not None]
        self.writer.snapshot(
            self.drive.now_s,
            self.sealer.seal(self.drive.state),
            utc_minus_now_s=0.0,
            version=version_of(site().text),
            keep_since_s=min(opened_s, default=self.drive.now_s),
        )

    def kill(self) -> None:
        self.writer.close()

    def statement(self, sql: str, *values: object) -> None:
        self.writer.flush()
        with self.writer._engine.begin() as connection:
            connection.exec_driver_sql(sql, values)


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, bytes]:
    """A lift with a leak up to where an alarm stands: the data folder, and the engine with what it told so far."""
    data = tmp_path_factory.mktemp("played")
    run = Run(data, Drive(engine.begin(site().core, version="1"), T0), [])
    run.play("leak-in-flight", LEAKING_S)
    run.kill()
    return data, pickle.dumps((run.drive, run.effects))


@pytest.fixture
def run(played: tuple[Path, bytes], tmp_path: Path) -> Iterator[Run]:
    data = shutil.copytree(played[0], tmp_path / "data")
    made = Run(data, *pickle.loads(played[1]))  # noqa: S301 - our own
    yield made
    made.kill()


def reopened(
    data: Path, settings: SiteSettings | None = None, utc_s: float | None = None
) -> tuple[Restored, list[Effect]]:
    kept: list[Effect] = []
    reader: Reader = open_reader(data)
    settings = settings or site()
    newest = reader.newest_row()
    try:
        restored = restore(
            reader,
            settings,
            Sealer(data),
            utc_s=(newest.now_s if newest else T0) + DOWN_S if utc_s is None else utc_s,
            state_version=version_of(settings.text),
            version="1",
            keep=lambda effect, _state: kept.append(effect),
        )
    finally:
        reader.close()
    return restored, kept


def status(drive: Drive, at_s: float) -> dict:
    """What is told at the next tick, after which nothing differs any more that came from the way there."""
    told = [effect for at, effects in drive.advance(at_s) for effect in effects if isinstance(effect, Told)]
    return status_dict(told[-1].status)


def test_state_and_journal_give_the_same_engine_again(run: Run) -> None:
    """To the last bit of what is told, though the estimators carry many numbers."""
    run.kill()
    restored, _ = reopened(run.data)
    assert restored.down_since_s == run.drive.now_s
    restored.drive.now_s = run.drive.now_s  # as if no time had passed
    at_s = run.drive.now_s + 0.5
    assert status(restored.drive, at_s) == status(run.drive, at_s)


@pytest.mark.parametrize("broken_n", [1, 2])
def test_broken_states_are_passed_over_for_an_older_one(
    run: Run, broken_n: int, caplog: pytest.LogCaptureFixture
) -> None:
    ids = [row.journal_id for row in open_reader(run.data).snapshots()][:broken_n]
    for one in ids:
        run.statement("UPDATE snapshots SET blob = substr(blob, 1, 5000) WHERE journal_id = ?", one)
    run.kill()
    restored, _ = reopened(run.data)
    assert caplog.text.count("cannot be read") == broken_n
    restored.drive.now_s = run.drive.now_s
    at_s = run.drive.now_s + 0.5
    assert status(restored.drive, at_s) == status(run.drive, at_s)


def test_without_any_state_the_journal_brings_the_lift_back(run: Run) -> None:
    run.statement("UPDATE snapshots SET blob = x'00'")
    run.kill()
    restored, kept = reopened(run.data)
    restored.drive.now_s = run.drive.now_s
    at_s = run.drive.now_s + 0.5
    again, before = status(restored.drive, at_s), status(run.drive, at_s)
    assert again["lift"] == before["lift"]
    assert (again["phase"], again["call"], again["circuits"]) == (before["phase"], before["call"], before["circuits"])
    assert kept == []  # its alarms are other raisings than those already written


def written(run: Run) -> None:
    """The alarm moves so far, on the disk as the service puts them there."""
    for effect in run.effects:
        if isinstance(effect, AlarmMoved):
            said = {name: str(getattr(effect, name)) for name in NAMES}
            run.writer.alarm({**said, "at_s": effect.at_s, "utc_s": effect.at_s})


def raisings(drive: Drive) -> dict[str, str]:
    return {one["raising"]: one["state"] for one in status(drive, drive.now_s + 0.5)["alarms"]}


def test_without_any_state_a_raising_keeps_its_name_and_its_acknowledge(run: Run) -> None:
    written(run)
    before = raisings(run.drive)
    raising = next(name for name, state in before.items() if state == "unacknowledged")
    action = Action("a1", ActionKind.ACKNOWLEDGE, "dock-6", "the supervisor", "supervisor", {"raising": raising})
    run.event(ActionCame(action))
    run.statement("DELETE FROM snapshots")
    run.kill()
    restored, kept = reopened(run.data)
    restored.drive.now_s = run.drive.now_s
    assert raisings(restored.drive) == before | {raising: "acknowledged"}
    assert [effect for effect in kept if isinstance(effect, AlarmMoved)] == []  # all were written before


def test_raisings_to_come_are_never_named_like_one_from_before(run: Run) -> None:
    """A click on a page from before the crash must not silence an alarm from after it."""
    written(run)
    run.writer.alarm(
        dict.fromkeys(NAMES, "x")
        | {"raising": "dock-6/B/losing_vacuum/99", "lifter": "dock-6", "at_s": T0, "utc_s": T0}
    )
    run.statement("DELETE FROM snapshots")
    run.kill()
    restored, _ = reopened(run.data)
    assert restored.drive.state.lifters["dock-6"].board.raisings_n >= 99


def test_other_settings_never_go_on_from_a_state_of_the_old_ones(run: Run) -> None:
    run.kill()
    other = read_site(site().text.replace("wll_kg = 900", "wll_kg = 500"), name="other")
    restored, _ = reopened(run.data, other)
    assert restored.drive.state.config.lifters["dock-6"].wll_kg == 500
    told = status(restored.drive, restored.drive.now_s + 0.5)
    assert told["lift"]["id"] == status(run.drive, run.drive.now_s + 0.5)["lift"]["id"]


def test_bytes_of_others_are_never_unpickled(run: Run) -> None:
    class Trap:
        def __reduce__(self) -> object:
            return (os.mkdir, (str(run.data / "trapped"),))

    trap = b"\0" * 32 + pickle.dumps(Trap())
    run.statement("UPDATE snapshots SET blob = ?", trap)
    run.kill()
    reopened(run.data)
    assert not (run.data / "trapped").exists()


def test_lost_key_costs_the_states_and_nothing_else(run: Run) -> None:
    run.kill()
    (run.data / "state.key").unlink()
    restored, _ = reopened(run.data)
    assert status(restored.drive, restored.drive.now_s + 0.5)["lift"] is not None


def test_dropped_rows_are_a_gap_of_the_lift(run: Run) -> None:
    at_s, message = run.drive.now_s, messages("leak-in-flight", LEAKING_S)[-1][1]
    for n in range(1, 51):
        run.message(at_s + n / 5, message)
    run.statement("DELETE FROM journal WHERE now_s > ? AND now_s < ?", at_s + 1.01, at_s + 5.99)
    run.statement("DELETE FROM snapshots WHERE now_s > ?", at_s)
    run.kill()
    restored, _ = reopened(run.data)
    gaps = restored.drive.state.lifters["dock-6"].log.gaps
    assert [(round(gap.from_s - at_s, 1), round(gap.to_s - at_s, 1), gap.why) for gap in gaps] == [
        (1.0, 6.0, "restart")
    ]


def test_lift_closed_in_the_last_moments_is_kept(tmp_path: Path) -> None:
    """Killed after the engine closed it, before it was written: the replayed tail closes it again."""
    run = Run(tmp_path, Drive(engine.begin(site().core, version="1"), T0), [])
    run.play("clean-lift", 10_000.0)
    closed = [effect for effect in run.effects if isinstance(effect, LiftClosed)]
    assert len(closed) == 1
    run.statement("DELETE FROM snapshots WHERE now_s > ?", closed[0].summary.closed_s)
    run.kill()
    _, kept = reopened(run.data)
    lifts = [effect for effect in kept if isinstance(effect, LiftClosed)]
    assert [one.summary.log.id for one in lifts] == [closed[0].summary.log.id]
    assert lifts[0].summary.closed_s == closed[0].summary.closed_s


def test_acknowledge_survives(run: Run) -> None:
    before = status(run.drive, run.drive.now_s + 0.5)["alarms"]
    raising = next(one["raising"] for one in before if one["state"] == "unacknowledged")
    action = Action("a1", ActionKind.ACKNOWLEDGE, "dock-6", "the supervisor", "supervisor", {"raising": raising})
    run.event(ActionCame(action))
    run.kill()
    restored, _ = reopened(run.data)
    after = status(restored.drive, restored.drive.now_s + 0.5)["alarms"]
    assert {one["raising"]: one["state"] for one in after}[raising] == "acknowledged"


def test_shelf_survives_with_its_end_and_comes_off_by_itself(run: Run) -> None:
    told = status(run.drive, run.drive.now_s + 0.5)["alarms"]
    raising = next(one["raising"] for one in told if one["key"] not in NEVER_SET_ASIDE)
    params = {"raising": raising, "duration_s": 600.0, "reason": "gauge is being changed"}
    run.event(ActionCame(Action("s1", ActionKind.SHELVE, "dock-6", "the supervisor", "supervisor", params)))
    shelved_s = run.drive.now_s
    run.kill()
    restored, _ = reopened(run.data)
    for after_s, shelved in ((599.0, True), (601.0, False)):
        told = status(restored.drive, shelved_s + after_s)["alarms"]
        [one] = [one for one in told if one["raising"] == raising]
        assert one["shelved"] is shelved
        assert (one["set_aside_why"] == "gauge is being changed") is shelved


@pytest.mark.parametrize("forgotten", [False, True], ids=["with its state", "without"])
def test_out_of_service_survives_with_who_and_why(run: Run, forgotten: bool) -> None:
    params = {"alarm": "sensor_fault", "about": "B", "reason": "gauge on order"}
    action = Action("o1", ActionKind.OUT_OF_SERVICE, "dock-6", "the technician", "maintenance", params)
    run.writer.action({**msgspec.to_builtins(action), "utc_s": T0}, timeout_s=60.0)
    run.event(ActionCame(action))
    if forgotten:  # and said so long ago that its row in the journal is gone too
        run.statement("DELETE FROM snapshots")
        run.statement("DELETE FROM journal WHERE kind = 'action'")
    run.kill()
    restored, _ = reopened(run.data)
    restored.drive.now_s = run.drive.now_s
    after = status(restored.drive, restored.drive.now_s + 0.5)["alarms"]
    [told] = [one for one in after if one["out_of_service"]]
    assert (told["key"], told["about"]) == ("sensor_fault", "circuit B")
    assert (told["set_aside_by"], told["set_aside_why"]) == ("the technician", "gauge on order")


def test_engine_time_goes_on_by_utc_and_never_back(run: Run) -> None:
    run.kill()
    ended_s = run.drive.now_s
    assert reopened(run.data)[0].drive.now_s == pytest.approx(ended_s + DOWN_S)
    assert reopened(run.data, utc_s=0.0)[0].drive.now_s == ended_s  # a clock that was lost: no battery


def test_row_that_cannot_be_read_costs_that_row(run: Run, caplog: pytest.LogCaptureFixture) -> None:
    run.writer.journal(run.drive.now_s, ACTION, "dock-6", b"{")
    run.writer.journal(run.drive.now_s, "last_lifts", "dock-6", b"[]")
    run.message(run.drive.now_s + 0.2, messages("leak-in-flight", LEAKING_S)[-1][1])
    run.kill()
    restored, _ = reopened(run.data)
    assert caplog.text.count("could not be taken again") == 2
    assert restored.down_since_s == run.drive.now_s


def test_first_start_of_all_knows_nothing(tmp_path: Path) -> None:
    open_writer(tmp_path).close()
    restored, kept = reopened(tmp_path, utc_s=T0)
    assert restored.down_since_s is None
    assert restored.drive.now_s == T0
    assert kept == []


def test_seal_test_under_way_at_a_crash_is_not_passed(tmp_path: Path) -> None:
    run = Run(tmp_path, Drive(engine.begin(site().core, version="1"), T0), [])
    run.play("clean-lift", 30.0)
    run.event(ActionCame(Action("s1", ActionKind.SEAL_TEST, "dock-6", "M. Roth", "supervisor", {"test": "pre_pick"})))
    for at_s, message in messages("clean-lift", 60.0):
        if at_s > T0 + 30.0:
            run.message(at_s, message)
    assert run.drive.state.lifters["dock-6"].seal_tests.running is not None
    run.kill()
    restored, _ = reopened(run.data)
    drive = restored.drive
    assert drive.state.lifters["dock-6"].seal_tests.running is not None, "as it was when it ended"
    drive.take(Resumed(restored.down_since_s or 0.0))  # what the service says first
    tests = drive.state.lifters["dock-6"].seal_tests
    assert tests.running is None
    assert [(test.state.value, test.text.key) for test in tests.ended] == [("not_passed", "seal.broken.restart")]
    assert status(drive, drive.now_s + 0.5)["seal_tests"]["pre_pick"]["state"] == "not_passed"
