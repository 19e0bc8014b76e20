"""A plan as the page asks for it: what was entered in, figures and words out. The judging is the core's; pure.

Every number that is read is put in words here; what is drawn goes out in millimetres, kilograms and degrees.
"""

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

import msgspec

from dashboards.words import Voice
from monitor.core.config import LifterConfig
from monitor.core.entry_fault import Fault
from monitor.core.messages import Text
from monitor.core.plan import PlanResult, judge_plan
from monitor.core.plan_act import write_params
from monitor.core.plan_input import PlanError, PlanInput
from monitor.core.plan_says import OFFSET_WORTH_RATIO
from monitor.core.units import MM_PER_M
from monitor.settings.plan_entry import US_UNITS, read_plan
from monitor.words.say import say as say_text

BUSY_RATIO: Final = 0.8
"""Use of a pad from which it is drawn in the colour of caution."""

AXIS_STEPS_N: Final = 4

PLACE: Final = re.compile(r"(layer|corner|number|pad|cut-out|circuit|lifter) ([^,]+)")
"""A place inside an entry, as a fault's field names it."""


def lifter_of(told: Mapping[str, Any]) -> LifterConfig:
    """The lifter's settings from the engine's greeting.

    Raises:
        msgspec.ValidationError: They are not all there.
    """
    pads = {pad["id"]: pad for pad in told.get("pads", ())}
    return msgspec.convert({**told, "circuits": told.get("circuit_settings"), "pads": pads}, LifterConfig)


def entered_plan(lifter: LifterConfig, entered: Mapping[str, object], *, units: str, today: str) -> PlanInput:
    """Read what was entered; in US units a bare number is one of theirs.

    Raises:
        PlanError: It lists every fault.
    """
    return read_plan(entered, lifter, today=today, bare_units=US_UNITS if units == "us" else None)


def judged(
    lifter: LifterConfig, entered: Mapping[str, object], *, units: str, today: str, voice: Voice
) -> tuple[dict[str, Any], dict[str, object]]:
    """All the page says and draws of a plan, and what the engine has to know of it.

    Raises:
        PlanError: The plan cannot be read or judged; it lists every fault.
    """
    plan = entered_plan(lifter, entered, units=units, today=today)
    result = judge_plan(lifter, plan)
    return _answer(lifter, plan, result, voice), write_params(lifter, plan, result) | _for_the_record(result, entered)


def _for_the_record(result: PlanResult, entered: Mapping[str, object]) -> dict[str, object]:
    """What was entered and what came out, beside what the lift is judged against."""
    return {
        "rated_kg": result.rated_kg,
        "governs": result.governs,
        "at_tilt_deg": result.at_tilt_deg,
        "margin_kg": result.margin_kg,
        "entered": dict(entered),
    }


def _answer(lifter: LifterConfig, plan: PlanInput, result: PlanResult, voice: Voice) -> dict[str, Any]:
    def told(texts: Sequence[Text]) -> list[str]:
        return [say_text(text, voice.speaker) for text in texts]

    figures = _figures(result, voice).items()
    return {
        "verdict": result.verdict.value,
        "verdict_words": voice.say(f"planning.{result.verdict}"),
        "verdict_says": say_text(Text(f"plan.{result.verdict}"), voice.speaker),
        "figures": [
            {"label": voice.say(f"planning.figure.{key}"), "value": value, "tip": voice.say(f"planning.tip.{key}")}
            for key, value in figures
        ],
        "reasons": told(result.reasons),
        "notes": told(result.notes),
        "checks": told(result.checks),
        "circuits": _circuits(result, voice),
        "pads": [
            {"id": pad.id, "use": _percent(pad.use_ratio, voice), "look": _look(pad.use_ratio)} for pad in result.pads
        ],
        "pads_say": voice.say("planning.pads_at", tilt_deg=result.at_tilt_deg, turn_deg=result.at_rotation_deg),
        "drawing": _drawing(plan, result),
        "curve": _curve(lifter, result, voice),
    }


def in_force(plan: Mapping[str, Any], voice: Voice) -> str:
    """The plan in force, from a status."""
    said = {"weight_kg": plan["weight_kg"], "who": plan["who"], "clock": voice.clock(plan["at"])}
    if plan["pads"]:
        words = voice.say("planning.in_force", pads=", ".join(plan["pads"]), **said)
    else:
        words = voice.say("planning.in_force.all_pads", **said)
    return f"{words} {voice.say('planning.outside')}" if plan["verdict"] == "outside_limits" else words


def faults_told(error: PlanError, voice: Voice) -> dict[str, Any]:
    """Every fault under the entry it belongs to."""
    return {"faults": [{"entry": entry_of(fault.field), "words": _fault(fault, voice)} for fault in error.faults]}


def _fault(fault: Fault, voice: Voice) -> str:
    """One fault; with its place inside the entry where there is one, for the entry's label stands there already."""
    words = voice.say(fault.key, **fault.values)
    places = [voice.say(f"planning.place.{kind}", name=name) for kind, name in PLACE.findall(fault.field)]
    return voice.say("planning.fault_at", place=", ".join(places), words=words) if places else words


def entry_of(field: str) -> str:
    """The entry a fault is shown at. Check: "makeup, layer 2" is "makeup", "pad A1" is "pads", "cut-out 1" is "cut_outs"."""
    name = field.partition(",")[0]
    if name.startswith("pad "):
        return "pads"
    return "cut_outs" if name.startswith("cut-out") else name


def _figures(result: PlanResult, voice: Voice) -> dict[str, str]:
    margin_kg, worst = result.margin_kg, result.worst_pad
    governs = voice.say(f"governs.{result.governs}")
    if result.governs != "plate":
        governs = f"{governs}, {voice.value('x_deg', result.at_tilt_deg)}"
    return {
        "weight": voice.value("x_kg", result.weight_kg),
        "rated": voice.value("x_kg", result.rated_kg),
        "over" if margin_kg < 0.0 else "margin": voice.value("x_kg", abs(margin_kg)),
        "governs": governs,
        "worst_pad": f"{worst.id}, {_percent(worst.use_ratio, voice)}",
        "wind": voice.value("x_m_s", result.wind_limit_m_s),
    }


def _circuits(result: PlanResult, voice: Voice) -> list[dict[str, Any]]:
    told = []
    for name, judged_kpa in result.judged_kpa.items():
        lost = result.if_lost[name]
        needed_kpa = result.needed_kpa.get(name)
        enough = lost.needed_factor is None or (lost.factor is not None and lost.factor >= lost.needed_factor)
        falls = lost.factor is not None and lost.factor < 1.0
        how = "planning.lost_falls" if falls else "planning.lost_holds"
        asked = {} if lost.needed_factor is None else {"asked_factor": lost.needed_factor}
        told.append(
            {
                "id": name,
                "needed": voice.value("x_kpa", needed_kpa),
                "judged": voice.value("x_kpa", judged_kpa),
                "short": needed_kpa is not None and needed_kpa > judged_kpa,
                "lost": voice.say(f"{how}.asked" if asked else how, left_at_least_factor=lost.factor, **asked),
                "falls": falls or not enough,
            }
        )
    return told


def _drawing(plan: PlanInput, result: PlanResult) -> dict[str, Any]:
    """Outline, openings, centre of gravity and the way to a better place, mm on the pads' drawing, y up."""
    offset = result.best_offset
    worth = offset.fits and offset.rated_kg > OFFSET_WORTH_RATIO * result.rated_kg
    return {
        "outline": _corners(plan.panel.outline),
        "cut_outs": [_corners(hole) for hole in plan.panel.cut_outs],
        "centre": [result.centre.x_mm, result.centre.y_mm],
        "offset": [offset.x_mm, offset.y_mm] if worth else None,
    }


def _corners(outline: Sequence[tuple[float, float]]) -> list[list[float]]:
    return [[MM_PER_M * x, MM_PER_M * y] for x, y in outline]


def _curve(lifter: LifterConfig, result: PlanResult, voice: Voice) -> dict[str, Any]:
    """Rated load over tilt, against the planned weight: points in degrees and kg, and the marks of the axis."""
    most_kg = max(lifter.wll_kg, result.weight_kg)
    step_kg = _round_step(most_kg / AXIS_STEPS_N)
    marks = [step_kg * n for n in range(AXIS_STEPS_N + 2) if step_kg * n <= 1.05 * most_kg]
    return {
        "points": [[round(tilt, 2), round(kg, 1)] for tilt, kg in result.margin_curve],
        "weight_kg": result.weight_kg,
        "at_deg": result.at_tilt_deg,
        "rated_kg": result.rated_kg,
        "most_kg": 1.1 * most_kg,
        "marks": [{"kg": kg, "words": voice.value("x_kg", kg)} for kg in marks],
        "says": voice.say("planning.curve_says", low_deg=result.move.tilt_low_deg, high_deg=result.move.tilt_high_deg),
        "weight_words": voice.say("planning.curve_weight", weight_kg=result.weight_kg),
        "rated_words": voice.say("planning.curve_rated", rated_kg=result.rated_kg),
    }


def _round_step(step: float) -> float:
    """The next of 1, 2, 5, 10 times a power of ten. Check: 225 is 500."""
    power = 10.0 ** math.floor(math.log10(step))
    return next(power * n for n in (1.0, 2.0, 5.0, 10.0) if power * n >= step)


def _look(use_ratio: float) -> str:
    if not math.isfinite(use_ratio) or use_ratio > 1.0:
        return "over"
    return "busy" if use_ratio > BUSY_RATIO else "room"


def _percent(ratio: float, voice: Voice) -> str:
    """Rounded up: what is asked of a pad is never told smaller than it is."""
    if not math.isfinite(ratio):
        return voice.say("planning.no_balance")
    return voice.value("x_at_most_percent", 100.0 * ratio)
