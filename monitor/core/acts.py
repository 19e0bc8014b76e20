"""What a named person may tell the engine, checked and folded in. None of it commands the lifter."""

from dataclasses import replace

from monitor.core import alarm_acts, alarms, seal_tests, summary
from monitor.core.alarm_table import priority
from monitor.core.config import Surface
from monitor.core.events import Action, ActionAnswered, ActionKind, AlarmMoved, Effect
from monitor.core.lifter import LifterState
from monitor.core.load import has_cell
from monitor.core.phases import ATTACHED, IN_FLIGHT
from monitor.core.plan_act import finite, read_params
from monitor.core.seal_tests import SealTestKind
from monitor.core.status import raising_id

ALARM_ACTS = frozenset({ActionKind.ACKNOWLEDGE, ActionKind.RESET, ActionKind.SHELVE, ActionKind.UNSHELVE})
SERVICE_ACTS = frozenset({ActionKind.OUT_OF_SERVICE, ActionKind.IN_SERVICE})


def apply_action(one: LifterState | None, action: Action, now_s: float, effects: list[Effect]) -> ActionAnswered:
    """Fold one action in; says whether it was done, or the key of why not."""
    if one is None:
        return ActionAnswered(action.id, done=False, key="refused.no_such_lifter")
    if not action.who.strip():
        return ActionAnswered(action.id, done=False, key="refused.who")
    if action.kind in ALARM_ACTS:
        answer = _act_on_alarm(one, action, now_s, effects)
    elif action.kind in SERVICE_ACTS:
        answer = _set_service(one, action, now_s, effects)
    else:
        answer = _act_on_lift(one, action, now_s)
    if answer.done and one.log is not None:
        one.log.actions.append(summary.ActionLog(action.kind, action.who, action.role, now_s, dict(action.params)))
    return answer


def _act_on_alarm(one: LifterState, action: Action, now_s: float, effects: list[Effect]) -> ActionAnswered:
    raising = action.params.get("raising")
    number = raising.rpartition("/")[2] if isinstance(raising, str) else ""
    raising_n = int(number) if number.isascii() and number.isdigit() and len(number) < 12 else 0
    found = next((key for key, alarm in one.board.alarms.items() if alarm.raising_n == raising_n), None)
    if found is None or raising != raising_id(one.config.id, found[0], found[1], raising_n):
        return ActionAnswered(action.id, done=False, key="refused.not_this_raising")
    why = action.params.get("reason")
    answered = alarm_acts.act(
        one.board,
        action.kind,
        raising_n=raising_n,
        who=action.who,
        now_s=now_s,
        duration_s=finite(action.params, "duration_s") or 0.0,
        why=why if isinstance(why, str) else "",
    )
    if answered.moved is not None:
        effects.append(alarm_moved(one, answered.moved, now_s))
    return ActionAnswered(action.id, done=answered.done, key=answered.key)


def _set_service(one: LifterState, action: Action, now_s: float, effects: list[Effect]) -> ActionAnswered:
    params = action.params
    key, about, why = params.get("alarm"), params.get("about") or "", params.get("reason")
    rule = alarms.RULES.get(key) if isinstance(key, str) else None
    if rule is None or not isinstance(about, str) or about not in (one.config.circuits if rule.per_circuit else ("",)):
        return ActionAnswered(action.id, done=False, key="refused.no_such_alarm")
    answered = alarm_acts.set_service(
        one.board,
        action.kind,
        (about, rule.key),
        who=action.who,
        role=action.role,
        now_s=now_s,
        why=why if isinstance(why, str) else "",
    )
    if answered.moved is not None:
        effects.append(alarm_moved(one, answered.moved, now_s))
    return ActionAnswered(action.id, done=answered.done, key=answered.key)


def alarm_moved(one: LifterState, moved: alarms.Moved, now_s: float) -> AlarmMoved:
    """The effect of an alarm's move, noted in the record of the lift in progress."""
    rule, alarm = moved.rule, moved.alarm
    raising = raising_id(one.config.id, moved.about, rule.key, alarm.raising_n)
    if (
        one.log is not None and alarm.raising_n
    ):  # one taken out of service before it was ever raised is no alarm of the lift
        summary.note_alarm(
            one.log,
            raising=raising,
            key=rule.key,
            about=moved.about,
            priority=priority(rule),
            state=alarm.state,
            moved=moved.moved,
            who=moved.who,
            at_s=now_s,
        )
    return AlarmMoved(one.config.id, raising, rule.key, moved.about, moved.moved, alarm.state, now_s, moved.who)


def _act_on_lift(one: LifterState, action: Action, now_s: float) -> ActionAnswered:
    match action.kind:
        case ActionKind.PLAN:
            return _plan(one, action, now_s)
        case ActionKind.SURFACE:
            return _surface(one, action)
        case ActionKind.SEAL_TEST:
            return _seal_test(one, action, now_s)
        case ActionKind.END_SEAL_TEST if one.seal_tests.running is None:
            return ActionAnswered(action.id, done=False, key="refused.seal_test_none")
        case ActionKind.END_SEAL_TEST:
            one.seal_tests = seal_tests.break_off(one.seal_tests, now_s, "by_hand")
            return ActionAnswered(action.id, done=True, key="done.end_seal_test")
        case ActionKind.PICKED_UP if has_cell(one.config):
            return ActionAnswered(action.id, done=True, key="done.logged")  # a measured load says it better
        case ActionKind.LANDED_FIXED | ActionKind.CONFIRM_FIXED if has_cell(one.config):
            one.landed_fixed = True  # counts only where the cell is silent and every pad was let go
            return ActionAnswered(action.id, done=True, key="done.logged")
        case ActionKind.PICKED_UP:
            one.picked_up = True
            one.seal_tests = seal_tests.break_off(one.seal_tests, now_s, "load_on")
            one.load = replace(one.load, confirmed_off=False)
            return ActionAnswered(action.id, done=True, key="done.picked_up")
        case ActionKind.LANDED_FIXED:
            one.landed_fixed = True
            one.load = replace(one.load, confirmed_off=True)
            return ActionAnswered(action.id, done=True, key="done.landed_fixed")
        case ActionKind.CONFIRM_FIXED | ActionKind.SERVICE_NOTE:
            return ActionAnswered(action.id, done=True, key="done.logged")
        case _:
            return ActionAnswered(action.id, done=False, key="refused.not_known")


def _surface(one: LifterState, action: Action) -> ActionAnswered:
    """Anyone present may say "wet" or "oily"; only the supervisor takes it back."""
    word = action.params.get("surface")
    if not isinstance(word, str) or word not in {surface.value for surface in Surface}:
        return ActionAnswered(action.id, done=False, key="refused.surface")
    if not _set_surface(one, Surface(word), action.role):
        return ActionAnswered(action.id, done=False, key="refused.supervisor_only")
    return ActionAnswered(action.id, done=True, key="done.surface")


def _set_surface(one: LifterState, surface: Surface, role: str) -> bool:
    order = list(Surface)
    standing = one.surface if one.surface is not None else one.config.surface
    if order.index(surface) < order.index(standing) and role != "supervisor":
        return False
    one.surface = None if surface is one.config.surface else surface
    return True


def _seal_test(one: LifterState, action: Action, now_s: float) -> ActionAnswered:
    """Ask for a guided seal test: attached, before the load is on, one at a time."""
    kind = action.params.get("test")
    phase = one.phase.phase
    if not isinstance(kind, str) or kind not in {known.value for known in SealTestKind}:
        return ActionAnswered(action.id, done=False, key="refused.seal_test")
    if one.seal_tests.running is not None:
        return ActionAnswered(action.id, done=False, key="refused.seal_test_runs")
    if phase in IN_FLIGHT and has_cell(one.config):
        return ActionAnswered(action.id, done=False, key="refused.seal_test_load_on")
    if phase not in ATTACHED:
        return ActionAnswered(action.id, done=False, key="refused.seal_test_open")
    one.seal_tests = seal_tests.ask(
        one.seal_tests,
        SealTestKind(kind),
        who=action.who,
        role=action.role,
        now_s=now_s,
        config=one.config,
        landing_s=one.time_to_land_s,
    )
    return ActionAnswered(action.id, done=True, key="done.seal_test")


def _plan(one: LifterState, action: Action, now_s: float) -> ActionAnswered:
    """The plan of the lift that follows: of the panel that hangs it changes nothing, or the next one's would judge it.

    A drier surface than the one standing counts only from the supervisor.
    """
    hangs = one.phase.phase in IN_FLIGHT
    if action.params.get("withdraw") is True:
        if hangs and one.next_plan is None and one.plan is not None:
            return ActionAnswered(action.id, done=False, key="refused.plan_in_flight")
        one.next_plan = None
        if not hangs:
            one.plan = one.planned = None
        return ActionAnswered(action.id, done=True, key="done.plan_withdrawn")
    plan = read_params(action.params, one.config)
    if plan is None:
        return ActionAnswered(action.id, done=False, key="refused.plan")
    one.next_plan = (plan, summary.ActionLog(action.kind, action.who, action.role, now_s, dict(action.params)))
    if hangs:
        return ActionAnswered(action.id, done=True, key="done.plan_next")
    put_next_plan_in_force(one)
    return ActionAnswered(action.id, done=True, key="done.plan")


def put_next_plan_in_force(one: LifterState) -> None:
    """The plan saved for the next lift, if any, is that of the lift that follows now."""
    if one.next_plan is None:
        return
    (one.plan, one.planned), one.next_plan = one.next_plan, None
    if one.plan.surface is not None:
        _set_surface(one, one.plan.surface, one.planned.role)
