"""``plan``: a lift judged before it happens. A plan outside its limits is an answer, not a failure: exit code 0."""

import argparse
import json
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from monitor.cli.common import DONE, BadInputError, load

if TYPE_CHECKING:
    from monitor.core.config import LifterConfig
    from monitor.core.panel import Panel
    from monitor.core.plan import PlanResult
    from monitor.core.plan_input import PlanInput

CAUTION: Final = (
    "By calculation from the figures entered. The lifter's plate and manual, local codes and a competent person decide."
)


def add(commands: Any) -> None:
    """Add the command."""
    plan = commands.add_parser(
        "plan",
        help="judge a lift before it happens",
        description="Say whether the figures entered are within a lifter's limits. The supervisor decides.",
    )
    plan.add_argument("--site", metavar="FILE", type=Path, required=True, help="the site file (TOML)")
    plan.add_argument("--lifter", metavar="ID", required=True, help="a lifter of the site file")
    panel = plan.add_argument_group("the panel")
    panel.add_argument("--size", metavar="WxH", type=_numbers("x", 2), help="width and height in m, like 2.5x1.5")
    panel.add_argument(
        "--makeup", metavar="TEXT", help='layers from the pads outward in mm: "glass 8 + pvb 1.52 + glass 8"'
    )
    panel.add_argument("--weight", metavar="KG", type=float, help="stated weight; counts instead of the worked-out one")
    panel.add_argument(
        "--centre", metavar="X,Y", type=_numbers(",", 2), help="centre of gravity from the pad drawing's origin, mm"
    )
    panel.add_argument("--depth", metavar="MM", type=float, help="from the pads' face to the centre of gravity")
    panel.add_argument("--coated", action="store_true", help="the pads hold on a coating, film or paint")
    panel.add_argument("--porous", action="store_true", help="air comes through the panel's face")
    lift = plan.add_argument_group("the lift")
    pads = lift.add_mutually_exclusive_group()
    pads.add_argument("--layout", metavar="NAME", help="a pad layout of the site file (default: all pads)")
    pads.add_argument("--pads", metavar="A1,A2,...", help="the pads in use")
    lift.add_argument(
        "--tilt", metavar="LOW:HIGH", type=_span, default=(0.0, 90.0), help="0 flat below the pads, 90 upright (0:90)"
    )
    lift.add_argument("--rotation", metavar="LOW:HIGH", type=_span, default=(0.0, 360.0), help="turns (0:360)")
    lift.add_argument("--surface", choices=("dry", "wet", "oily"), help="under the pads (default: the site file's)")
    lift.add_argument("--vacuum", metavar="KPA", type=float, help="judge by this (default: each warning level)")
    lift.add_argument("--altitude", metavar="M", type=float, help="above sea level (default: the site file's)")
    lift.add_argument(
        "--lift-height", metavar="M", type=float, default=0.0, help="how far up the panel goes (%(default)g)"
    )
    lift.add_argument("--wind", metavar="M/S", type=float, help="wind to allow for, measured as the site file says")
    lift.add_argument("--tandem-share", metavar="RATIO", type=float, help="another lifter holds the rest of the panel")
    plan.add_argument("--json", action="store_true", help="all figures as JSON")
    plan.set_defaults(act=_plan)


def _numbers(separator: str, count_n: int) -> Callable[[str], tuple[float, ...]]:
    def read(text: str) -> tuple[float, ...]:
        parts = tuple(float(part) for part in text.split(separator))
        if len(parts) != count_n:
            raise ValueError
        return parts

    read.__name__ = f"{count_n} numbers with {separator} between"
    return read


def _span(text: str) -> tuple[float, float]:
    low, _, high = text.partition(":")
    return float(low), float(high or low)


_span.__name__ = "LOW:HIGH"


def _plan(given: argparse.Namespace) -> int:
    from monitor.core.plan import judge_plan, numbers
    from monitor.core.plan_input import PlanError
    from monitor.words.say import say

    site = load(given.site)
    lifter = site.core.lifters.get(given.lifter)
    if lifter is None:
        known = ", ".join(site.core.lifters)
        raise BadInputError(f"--lifter is {given.lifter!r}; {given.site} has {known}.")
    today = datetime.now(ZoneInfo(site.time_zone)).date().isoformat()
    try:
        result = judge_plan(lifter, _entered(given, lifter, today))
    except PlanError as error:
        raise BadInputError(str(error)) from None
    if given.json:
        answer = numbers(result)
        for part in ("reasons", "notes", "checks"):
            answer[part] = [
                {"key": text.key, "values": dict(text.values), "words": say(text)} for text in getattr(result, part)
            ]
        print(json.dumps(answer, indent=2, allow_nan=False, ensure_ascii=False))
    else:
        _tell(result)
    return DONE


def _entered(given: argparse.Namespace, lifter: "LifterConfig", today: str) -> "PlanInput":
    from monitor.core.config import Surface
    from monitor.core.holding import Move
    from monitor.core.plan_input import PlanInput

    pads: tuple[str, ...] | None = None
    if given.layout is not None:
        pads = lifter.layouts.get(given.layout)
        if pads is None:
            known = ", ".join(lifter.layouts) or "none"
            raise BadInputError(f"--layout is {given.layout!r}; lifter {lifter.id} has {known}.")
    elif given.pads is not None:
        pads = tuple(part.strip() for part in given.pads.split(","))
    centre_x_mm, centre_y_mm = given.centre or (None, None)
    return PlanInput(
        panel=_panel(given),
        pads=pads,
        centre_x_mm=centre_x_mm,
        centre_y_mm=centre_y_mm,
        depth_mm=given.depth,
        move=Move(*given.tilt, *given.rotation),
        vacuum_kpa=given.vacuum,
        altitude_m=given.altitude,
        lift_height_m=given.lift_height,
        wind_m_s=given.wind,
        surface=Surface(given.surface) if given.surface else None,
        coated=given.coated,
        porous=given.porous,
        in_tandem=given.tandem_share is not None,
        share_ratio=1.0 if given.tandem_share is None else given.tandem_share,
        today=today,
    )


def _panel(given: argparse.Namespace) -> "Panel":
    from monitor.core.panel import Panel, PanelError, read_makeup, rectangle

    try:
        return Panel(
            outline=rectangle(*given.size) if given.size else (),
            layers=read_makeup(given.makeup) if given.makeup else (),
            weight_kg=given.weight,
        )
    except PanelError as error:
        raise BadInputError(str(error)) from None


def _tell(result: "PlanResult") -> None:
    from monitor.core.messages import Text
    from monitor.words.quantities import say_value
    from monitor.words.say import say

    def quantity(name: str, value: float) -> str:
        return say_value(name, value)

    print(f"{result.lifter}: {say(Text(f'plan.{result.verdict}'))}")
    print(
        f"panel {quantity('_kg', result.weight_kg)}, rated {quantity('_kg', result.rated_kg)}, "
        f"margin {quantity('_kg', result.margin_kg)}, worst pad {result.worst_pad.id} used {result.worst_pad.use_ratio:.0%}"
    )
    for title, texts in (("", result.reasons), ("Heed", result.notes), ("Before the lift", result.checks)):
        if title and texts:
            print(f"\n{title}")
        for text in texts:
            print(f"- {say(text)}")
    print(f"\n{CAUTION}")
