"""The rules that must never break (DESIGN §5), over histories nobody would send on purpose.

numpy makes the volume, always the same for the same seed; Hypothesis makes small ones that it can shrink.
"""

import hashlib
import math
import pickle
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.alarm_signals import TROUBLED_CALLS
from monitor.core.alarm_table import Priority
from monitor.core.alarms import ACTIVE
from monitor.core.call import RANK, Call
from monitor.core.circuits import open_kpa
from monitor.core.events import AlarmMoved
from monitor.core.facts import UNHEARD, CircuitState
from monitor.core.load import ON_FOR_S, off_band_kg
from monitor.core.phases import ATTACHED, Phase
from monitor.core.release import Release
from monitor.core.status import Status
from monitor.core.warning_time import Bounds
from monitor.words.say import status_dict
from tests.histories import RESTING, STILL, Watch, carry, carrying, dock
from tests.property.generated import CIRCUITS, Done, Sender, drive, encoded

STEPS_N = 50_000
STEPS_LONG_N = 1_000_000
HISTORY_N = 1000
BESIDE_THE_READINGS = {"broker_lost", "record_not_written", "disk_nearly_full", "clock_wrong"}
LONG = pytest.mark.long


def lifter_of(seed: int, *partners: str) -> Watch:
    """Site files differ too: pump levels or none, both bases, a battery limit."""
    changes: dict[str, object] = {"battery_low_v": 23.0} if seed % 2 else {}
    lifters = [dock(id=name, pump_levels=seed % 3 == 0, **changes) for name in ("dock-6", *partners)]
    return Watch(*lifters, tandem=bool(partners))


class Judge:
    """Holds the rules against every step."""

    def __init__(self, watch: Watch, sender: Sender) -> None:
        self.watch = watch
        self.sender = sender
        self.silent_rank: int | None = None
        self.moved_n = 0

    def look(self, done: Done) -> None:
        lifter = self.sender.lifter
        told = (one.status for one in reversed(self.watch.told) if one.status.facts.config.id == lifter)
        status = next(told, None)
        if status is None:
            return
        own = self.watch.state.lifters[lifter]
        assert own.called is not None
        assert own.release is not None
        self.worse_of_two_is_told(status)
        status = replace(status, called=own.called, release=own.release)  # what follows is of each by itself
        assert 3.0 <= status.facts.stale_after_s <= 20.0
        self.silence_is_never_good(status)
        self.silence_never_improves(status, news=done.news_of == lifter)
        self.silence_never_clears(status)
        self.release_is_never_better_than_known(status)
        self.times_and_loads_hang_together(status)
        if not self.sender.clock_jumps:
            self.what_was_said_is_heard(status)

    def fresh(self, name: str, status: Status) -> bool:
        at_s = self.sender.said[name].at_s
        return at_s is not None and status.facts.now_s - at_s <= status.facts.stale_after_s + 1e-6

    def silence_is_never_good(self, status: Status) -> None:  # rule 1
        facts = status.facts
        for circuit in facts.used():
            if circuit.state is CircuitState.HOLDING or status.called.call is Call.HOLDING:
                assert self.fresh(circuit.id, status)
        if status.called.call is Call.HOLDING:
            assert all(circuit.state is CircuitState.HOLDING for circuit in facts.used())
            assert not [one for one in status.alarms if one.priority is Priority.HIGH and one.state in ACTIVE]
        if facts.in_flight and not any(self.fresh(circuit.id, status) for circuit in facts.used()):
            assert status.called.call in {Call.LAND_NOW, Call.NO_SIGNAL}

    def worse_of_two_is_told(self, status: Status) -> None:
        """Two lifters on one panel: one that carries nothing says nothing of the call, and all count for the release."""
        state = self.watch.state
        lifters = (self.sender.lifter, *state.config.partners(self.sender.lifter))
        calls = [one.called.call for name in lifters if (one := state.lifters[name]).called is not None]
        lifting = [call for call in calls if call is not Call.NOT_LIFTING]
        assert status.called.call is min(lifting, key=RANK.__getitem__, default=Call.NOT_LIFTING)
        answers = [state.lifters[name].release for name in lifters]
        worst = [answer for answer in (Release.DO_NOT_RELEASE, Release.CANNOT_TELL, answers[0]) if answer in answers]
        assert status.release is worst[0]

    def silence_never_improves(self, status: Status, *, news: bool) -> None:  # rule 2
        rank = RANK[status.called.call]
        heard_s = self.sender.fresh_s
        silent = heard_s is None or status.facts.now_s - heard_s > status.facts.stale_after_s
        if silent and not news and self.silent_rank is not None:
            assert rank <= self.silent_rank
        self.silent_rank = rank if silent else None

    def silence_never_clears(self, status: Status) -> None:  # rule 1
        for moved in self.watch.moved[self.moved_n :]:
            by_itself = moved.moved in {"returned", "cleared"} and not moved.who
            if not by_itself or moved.lifter != self.sender.lifter or moved.key in BESIDE_THE_READINGS:
                continue
            if moved.key == "tandem_trouble":  # of the other lifter's call, and silence of that one is trouble
                told = [one.status.facts for one in self.watch.told if one.status.facts.config.id == moved.lifter]
                heard = [facts.partners for facts in told if facts.now_s == moved.at_s]
                assert any(TROUBLED_CALLS.isdisjoint(call for call, _ in partners.values()) for partners in heard)
            else:
                abouts = [moved.about] if moved.about else list(CIRCUITS)
                assert any(self.fresh(name, status) for name in (*abouts, *(() if moved.about else ("load",)))), moved
        self.moved_n = len(self.watch.moved)

    def release_is_never_better_than_known(self, status: Status) -> None:  # rule 4
        facts = status.facts
        if status.release is Release.NOT_ATTACHED:
            assert facts.phase not in ATTACHED
            for circuit in facts.circuits.values():
                assert self.fresh(circuit.id, status)
                assert circuit.vacuum_kpa is not None
                assert circuit.vacuum_kpa <= open_kpa(circuit.config)
        if status.release is Release.CHECK_FIXED:
            assert self.fresh("load", status)
            band_kg = off_band_kg(facts.config, facts.load.largest_kg)
            loads = [(at_s, kg) for at_s, kg in self.sender.loads if at_s >= facts.now_s - 5.0]
            before = [at_s for at_s, _ in self.sender.loads if at_s < facts.now_s - 5.0 + 1e-6]
            assert before or loads[0][0] <= facts.now_s - 5.0 + 1e-6
            assert all(kg is not None and abs(kg) <= band_kg + 1e-9 for _, kg in loads)

    def times_and_loads_hang_together(self, status: Status) -> None:  # rules 5 and 6
        facts = status.facts
        for circuit in facts.circuits.values():
            for bounds in (circuit.to_warning, circuit.reserve):
                if bounds is not None:
                    early, likely, late = (math.inf if t is None else t for t in points(bounds))
                    assert 0.0 <= early <= likely <= late
        held = facts.holding
        if held is not None:
            assert held.rated_kg <= facts.config.wll_kg
            if held.margin_kg is not None:
                assert facts.judged_kg is not None
                assert held.margin_kg == pytest.approx(held.rated_kg - facts.judged_kg)
                if held.margin_kg <= 0.0 and facts.in_flight:
                    assert status.called.call is Call.LAND_NOW

    def what_was_said_is_heard(self, status: Status) -> None:
        facts = status.facts
        for name in CIRCUITS:
            if self.sender.said[name].bad:  # the newest word could not be believed
                assert facts.circuits[name].state in UNHEARD
        if self.sender.said["alarm"].value:
            assert status.called.call is Call.LAND_NOW
        loads = [(at_s, kg) for at_s, kg in self.sender.loads if at_s >= facts.now_s - 3.0]
        on = [at_s for at_s, kg in loads if kg is not None and kg > facts.config.load_on_kg]
        if len(on) == len(loads) >= 2 and on[-1] - on[0] >= ON_FOR_S and facts.phase in ATTACHED:
            assert status.release is Release.DO_NOT_RELEASE


def points(bounds: Bounds) -> tuple[float | None, float | None, float | None]:
    return bounds.early_s, bounds.likely_s, bounds.late_s


def hold_the_rules(seed: int, *partners: str) -> int:
    """One history, of one lifter or of several on one panel; returns how many engine steps it was."""
    watch = lifter_of(seed, *partners)
    senders = [
        Sender(np.random.default_rng(seed + 1_000_000 * n), clock_jumps=seed % 4 == 0, lifter=name, rich=seed % 3 == 1)
        for n, name in enumerate(("dock-6", *partners))
    ]
    judges = [Judge(watch, sender) for sender in senders]
    steps_n = 0
    for done in drive(watch, senders, HISTORY_N):
        steps_n += 1
        if not watch.told:
            continue
        for judge in judges:
            judge.look(done)
        if watch.told[-1].changed or steps_n % 20 == 0:
            encoded(status_dict(watch.told[-1].status))
        if len(watch.told) > 200:
            del watch.told[:-100]
    no_alarm_chatters(watch.moved)
    return steps_n


def no_alarm_chatters(moved: list[AlarmMoved]) -> None:
    """Never three changes between alarm and clear within 60 s (two alarm-management trade texts)."""
    active: dict[tuple[str, str, str], bool] = {}
    changes: dict[tuple[str, str, str], list[float]] = {}
    for move in moved:
        key, now_active = (move.lifter, move.about, move.key), move.state in {"unacknowledged", "acknowledged"}
        if active.get(key, False) is not now_active:
            active[key] = now_active
            changes.setdefault(key, []).append(move.at_s)
    for key, at_s in changes.items():
        assert all(late - early > 60.0 for early, late in zip(at_s, at_s[2:], strict=False)), key


@pytest.mark.parametrize("block", range(5))
def test_rules_hold_over_generated_histories(block: int) -> None:
    each = STEPS_N // HISTORY_N // 5
    assert sum(hold_the_rules(seed) for seed in range(block * each, (block + 1) * each)) >= STEPS_N // 5


@pytest.mark.parametrize("block", range(5))
def test_rules_hold_for_two_lifters_on_one_panel(block: int) -> None:
    each = STEPS_N // HISTORY_N // 25
    first = 5_000 + block * each
    steps_n = sum(hold_the_rules(seed, "dock-7") for seed in range(first, first + each))
    assert steps_n >= STEPS_N // 25


@LONG
@pytest.mark.parametrize("block", range(20))
def test_rules_hold_over_a_million_steps(block: int) -> None:
    each = STEPS_LONG_N // HISTORY_N // 20
    first = 10_000 + block * each
    assert sum(hold_the_rules(seed) for seed in range(first, first + each)) >= STEPS_LONG_N // 20


# --- the same again


def fingerprint(seed: int, steps_n: int, *, pickled_every_n: int = 0) -> str:
    """Everything told of one history, as one hash; the state may be pickled and taken up again meanwhile."""
    watch = lifter_of(seed)
    sender = Sender(np.random.default_rng(seed), clock_jumps=True)
    told = hashlib.sha256()
    for number, _ in enumerate(drive(watch, [sender], steps_n)):
        for each in watch.told:
            told.update(encoded(status_dict(each.status)))
        del watch.told[:]
        if pickled_every_n and number % pickled_every_n == 0:
            watch.state = pickle.loads(pickle.dumps(watch.state))  # noqa: S301  # our own bytes
    told.update(repr(watch.moved).encode())
    return told.hexdigest()


@pytest.mark.parametrize("seed", [101, 102])
def test_same_history_is_told_the_same_also_over_a_restart(seed: int) -> None:
    first = fingerprint(seed, 1500)
    assert fingerprint(seed, 1500) == first
    assert fingerprint(seed, 1500, pickled_every_n=97) == first


# --- an old acknowledge


@pytest.mark.parametrize("seed", range(200, 206))
def test_acknowledge_of_an_old_raising_changes_nothing(seed: int) -> None:
    watch = lifter_of(seed)
    sender = Sender(np.random.default_rng(seed), clock_jumps=False)
    for _ in drive(watch, [sender], 700):
        raised = [moved for moved in watch.moved if moved.moved == "raised"]
        if len(raised) < 2:
            continue
        newest = {(moved.about, moved.key): moved.raising for moved in raised}
        old = [moved.raising for moved in raised if newest[moved.about, moved.key] != moved.raising]
        board = watch.state.lifters["dock-6"].board
        before = dict(board.alarms)
        for raising in old[-2:]:
            answered = watch.act("acknowledge", raising=raising)
            assert answered == "refused.not_this_raising"
        still = {key: alarm for key, alarm in board.alarms.items() if key in before}
        assert [alarm.state for alarm in still.values()] == [alarm.state for alarm in before.values()]
        del watch.moved[: -12 or None]


# --- two lifts that differ in one thing


def side_by_side(
    worse: Watch, better: Watch, plays: list[dict[str, str]], changed: Callable[[dict[str, str]], dict[str, str]]
) -> list[tuple[Status, Status]]:
    """The same plays on both, ``changed`` on the first; every pair of statuses."""
    pairs: list[tuple[Status, Status]] = []
    for number, play in enumerate(plays):
        low = carry(worse, seed=number, **changed(play))
        high = carry(better, seed=number, **play)
        assert len(low) == len(high)
        pairs += zip(low, high, strict=True)
    return pairs


def shifted(history: str, by_kpa: float) -> str:
    """A history of vacuum, so much less. Check: ``64>60x5 _x2`` by 2 is ``62.0>58.0x5 _x2``."""
    words = []
    for word in history.split():
        values, _, count = word.rpartition("x")
        if values not in {"_", "-", "nan"}:
            values = ">".join(str(float(end) - by_kpa) for end in values.split(">"))
        words.append(f"{values}x{count}")
    return " ".join(words)


def random_vacuum(rng: np.random.Generator, from_kpa: float) -> tuple[str, float]:
    """A few seconds of one circuit: it holds, leaks, drops, comes back, is missed or says what can't be believed."""
    kind = rng.integers(6)
    n = int(rng.integers(20, 80))
    if kind == 1:
        to_kpa = max(from_kpa - float(10.0 ** rng.uniform(-1.0, 1.2)), 2.0)
        return f"{from_kpa}>{to_kpa}x{n}", to_kpa
    if kind == 2:
        to_kpa = max(from_kpa - float(rng.uniform(0.0, 12.0)), 2.0)
        return f"{from_kpa}x3 {to_kpa}x{n}", to_kpa
    if kind == 3:
        to_kpa = min(from_kpa + float(rng.uniform(0.0, 6.0)), 66.0)
        return f"{from_kpa}>{to_kpa}x{n}", to_kpa
    return [f"{from_kpa}x{n}", "", "", "", f"{from_kpa}x5 _x{n} {from_kpa}x20", f"{from_kpa}x5 nanx{n} {from_kpa}x20"][
        kind
    ], from_kpa


def random_plays(seed: int, plays_n: int = 6) -> list[dict[str, str]]:
    rng = np.random.default_rng(seed)
    now = dict.fromkeys("AB", 64.0)
    plays = []
    for _ in range(plays_n):
        play = {}
        for name in "AB":
            play[name], now[name] = random_vacuum(rng, now[name])
        plays.append(play)
    return plays


def rank(status: Status) -> int:
    return RANK[status.called.call]


@pytest.mark.parametrize("seed", range(12))
def test_more_load_never_raises_the_margin_nor_improves_the_call(seed: int) -> None:
    light, heavy = carrying(500.0), carrying(560.0)
    plays = random_plays(seed)
    pairs = side_by_side(heavy, light, [{**p, "load_kg": "500x1"} for p in plays], lambda p: {**p, "load_kg": "560x1"})
    for more, less in pairs:
        assert more.facts.holding is not None
        assert less.facts.holding is not None
        assert (more.facts.holding.margin_kg or 0.0) < (less.facts.holding.margin_kg or 0.0)
        assert rank(more) <= rank(less)


@pytest.mark.parametrize("seed", range(12))
def test_less_vacuum_never_holds_more_nor_improves_the_call(seed: int) -> None:
    less, more = carrying(), carrying()
    carry(less, A="64>61x40 61x400", B="64>61x40 61x400")  # let both settle: a step would be news by itself
    carry(more, A="64x440", B="64x440")
    by_kpa = 3.0
    pairs = side_by_side(less, more, random_plays(seed), lambda p: {name: shifted(h, by_kpa) for name, h in p.items()})
    for low, high in pairs:
        assert low.facts.holding is not None
        assert high.facts.holding is not None
        assert low.facts.holding.rated_kg <= high.facts.holding.rated_kg
        assert low.facts.holding.now_kg <= high.facts.holding.now_kg + 1e-6
        assert (low.facts.holding.margin_kg or 0.0) <= (high.facts.holding.margin_kg or 0.0)
        assert rank(low) <= rank(high), (low.called.reason, high.called.reason)


@pytest.mark.parametrize("surface", ["wet", "oily"])
@pytest.mark.parametrize("seed", range(3))
def test_worse_surface_never_improves_the_call(seed: int, surface: str) -> None:
    worse, better = carrying(), carrying()
    worse.act("surface", surface=surface)
    better.act("confirm_fixed")
    for low, high in side_by_side(worse, better, random_plays(seed), lambda p: p):
        assert rank(low) <= rank(high)


@pytest.mark.parametrize("seed", range(20))
def test_silence_from_any_instant_on_never_improves_the_call(seed: int) -> None:
    rng = np.random.default_rng(seed)
    watch = carrying(**({"battery_low_v": 23.0} if seed % 2 else {}))
    for number, play in enumerate(random_plays(seed, 3)):
        carry(watch, seed=number, **play, battery_v=str(rng.choice(["25x1", "22x1"])))
        twin = watch.copy()
        worst = rank(watch.status)
        for status in twin.wait(float(rng.uniform(1.0, 90.0))):
            if not fresh_enough(status):
                assert rank(status) <= worst
            worst = rank(status)
            assert status.release is Release.DO_NOT_RELEASE


def fresh_enough(status: Status) -> bool:
    return any(c.state not in UNHEARD for c in status.facts.used())


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("lost", ["A", "B", "load_kg", "battery_v", "tilt_deg", "wind_m_s"])
def test_field_that_is_no_longer_sent_never_improves_the_call(seed: int, lost: str) -> None:
    rng = np.random.default_rng(seed)
    limits = {"battery_low_v": 23.0, "wind_limit_m_s": 9.0}
    full = carrying(**limits)
    around = {"battery_v": str(rng.choice(["25x1", "22x1"])), "wind_m_s": str(rng.choice(["3x1", "8.5x1"]))}
    for number, play in enumerate(random_plays(seed, 2)):
        carry(full, seed=number, **{**around, **play})
    last = {name: f"{full.status.facts.circuits[name].vacuum_kpa}x120" for name in "AB"}
    less, before = full.copy(), full.status
    told_less = carry(less, seed=9, **{**around, **last, lost: "-x120"})
    told_full = carry(full, seed=9, **{**around, **last})
    for low, high in zip(told_less, told_full, strict=True):
        silent_s = low.facts.now_s - before.facts.now_s
        waits = silent_s <= low.facts.stale_after_s + 1e-6  # what the next readings show by then is not known
        most = max(rank(high), rank(before)) if waits else rank(high)
        assert rank(low) <= most, (low.called.reason, high.called.reason)


# --- small ones, for shrinking


words = st.sampled_from(
    ["64x5", "64>50x20", "50x5", "50>64x20", "30x5", "0x5", "_x5", "_x40", "nanx5", "-x40", "999x3", "64x40"]
)
loads = st.sampled_from(["600x5", "600>0x10", "0x60", "0>600x10", "15x30", "-40x30", "_x40", "-x40", "nanx5", "600x40"])


@given(st.lists(st.tuples(words, words, loads, st.booleans()), max_size=6))
@settings(max_examples=60)
def test_no_short_history_breaks_a_rule(plays: list[tuple[str, str, str, bool]]) -> None:
    watch = carrying(for_s=5.0)
    for number, (a, b, load, alarm) in enumerate(plays):
        told = watch.play(
            A=a, B=b, load_kg=load, lifter_alarm=f"{'true' if alarm else 'false'}x1", noise_kpa=0.05, seed=number,
            **STILL, **RESTING,
        )  # fmt: skip
        for status in told:
            facts = status.facts
            if status.called.call is Call.HOLDING:
                assert all(c.state is CircuitState.HOLDING for c in facts.used())
                assert all((c.age_s or 0.0) <= facts.stale_after_s for c in facts.used())
            if facts.in_flight and facts.silent:
                assert status.called.call in {Call.LAND_NOW, Call.NO_SIGNAL}
            if facts.in_flight and any((c.vacuum_kpa or 0.0) <= c.config.warning_kpa for c in facts.used()):
                assert status.called.call is Call.LAND_NOW
            if facts.load_kg is None or abs(facts.load_kg) > off_band_kg(facts.config, facts.load.largest_kg):
                assert status.release in {Release.DO_NOT_RELEASE, Release.NOT_ATTACHED}
            if facts.phase in {Phase.LIFTING, Phase.CARRYING} and facts.lifter_alarm:
                assert status.called.call is Call.LAND_NOW
            encoded(status_dict(status))
