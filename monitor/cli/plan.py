"""``plan``: a lift judged before it happens. A plan outside its limits is an answer, not a failure: exit code 0."""

import argparse
import json
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from monitor.cli.common import DONE, BadInputError, load

if TYPE_CHECKING:
    from monitor.core.plan import PlanResult
    from monitor.words.languages import Speaker

CAUTION: Final = (
    "By calculation from the figures entered. The lifter's plate and manual, local codes and a competent person decide."
)


def add(commands: Any) -> None:
    """Add the command. What is entered stays text here: it is read as a whole, so that all faults are told at once."""
    plan = commands.add_parser(
        "plan",
        help="judge a lift before it happens",
        description="Say whether the figures entered are within a lifter's limits. The supervisor decides.",
        epilog='A number counts in the unit its option names; any may be written with one: "16 inHg", "700 lb", "8 ft".',
    )
    plan.add_argument("--site", metavar="FILE", type=Path, required=True, help="the site file (TOML)")
    plan.add_argument("--lifter", metavar="ID", required=True, help="a lifter of the site file")
    panel = plan.add_argument_group("the panel")
    panel.add_argument("--weight", metavar="KG", help='stated weight, "700 lb"; counts instead of the worked-out one')
    panel.add_argument("--size", metavar="WxH", help='"2.5 m x 1.5 m", its middle on the pad drawing\'s origin')
    panel.add_argument(
        "--outline",
        metavar="CORNERS",
        help='instead of a size, from the drawing\'s origin in mm: "0,0; 2500,0; 0,1500"',
    )
    panel.add_argument(
        "--cut-out",
        metavar="CORNERS",
        action="append",
        dest="cut_outs",
        help="an opening, as --outline; may be repeated",
    )
    panel.add_argument(
        "--makeup", metavar="TEXT", help='layers from the pads outward in mm: "glass 8 + pvb 1.52 + glass 8"'
    )
    panel.add_argument("--spacer-kg-per-m", metavar="W", help="edge of an insulating unit's gap, each (0.5)")
    panel.add_argument(
        "--cg-x-mm", metavar="X", help="centre of gravity from the pad drawing's origin, along the width"
    )
    panel.add_argument("--cg-y-mm", metavar="Y", help="the same, up the panel")
    panel.add_argument("--cg-depth-mm", metavar="D", help="from the pads' face to the centre of gravity")
    panel.add_argument("--coated", action="store_true", help="the pads hold on a coating, film or paint")
    panel.add_argument("--porous", action="store_true", help="air comes through the panel's face")
    lift = plan.add_argument_group("the lift")
    lift.add_argument("--layout", metavar="NAME", help="a pad layout of the site file (default: all pads)")
    lift.add_argument("--pads", metavar="A1,B2,...", help="instead of a layout: the pads in use")
    angles = ("LOW", "HIGH")
    lift.add_argument("--tilt-deg", nargs=2, metavar=angles, help="0 flat below the pads, 90 upright (0 90)")
    lift.add_argument("--rotation-deg", nargs=2, metavar=angles, help="turns in the panel's own plane (0 360)")
    lift.add_argument("--surface", metavar="WORD", help="dry, wet or oily under the pads (default: the site file's)")
    lift.add_argument("--vacuum-kpa", metavar="V", help="judge by this (default: each circuit's warning level)")
    lift.add_argument("--altitude-m", metavar="H", help="above sea level (default: the site file's)")
    lift.add_argument("--lift-height-m", metavar="H", help="how far up the panel goes (0)")
    lift.add_argument("--wind-m-s", metavar="V", help="wind to allow for, measured as the site file says")
    lift.add_argument("--share-ratio", metavar="R", help="in tandem: the part of the panel that this lifter carries")
    plan.add_argument("--units", choices=("metric", "us"), help="of the words (default: the site file's)")
    plan.add_argument("--json", action="store_true", help="all figures as JSON")
    plan.set_defaults(act=_plan)


def _plan(given: argparse.Namespace) -> int:
    from monitor.core.entry_fault import fault
    from monitor.core.plan import judge_plan, numbers
    from monitor.core.plan_input import PlanError
    from monitor.settings.plan_entry import ENTRIES, read_plan
    from monitor.words.languages import Speaker
    from monitor.words.say import say

    site = load(given.site)
    unknown = fault("lifter", "lifter", found=given.lifter, known=", ".join(site.core.lifters))
    entered = {name: found for name in ENTRIES if (found := getattr(given, name)) not in (None, False)}
    try:
        today = datetime.now(ZoneInfo(site.time_zone)).date().isoformat()
        lifter = site.core.lifters.get(given.lifter, unknown)
        plan = read_plan(entered, lifter, today=today, partners=site.core.partners(given.lifter))
        result = judge_plan(site.core.lifters[given.lifter], plan)
    except PlanError as error:
        raise BadInputError(f"{error}\nNothing was judged. Put these right; holdwatch plan --help says how.") from None
    speaker = Speaker(units=given.units or site.pages.units)
    if given.json:
        answer = numbers(result)
        for part in ("reasons", "circuits", "notes", "checks"):
            answer[part] = [
                {"key": text.key, "values": dict(text.values), "words": say(text, speaker)}
                for text in getattr(result, part)
            ]
        print(json.dumps(answer, indent=2, allow_nan=False, ensure_ascii=False))
    else:
        _tell(result, speaker)
    return DONE


def _tell(result: "PlanResult", speaker: "Speaker") -> None:
    from monitor.core.messages import Text, Value
    from monitor.words.say import say

    summary: dict[str, Value] = {
        "lifter": result.lifter,
        "weight_kg": result.weight_kg,
        "rated_at_least_kg": result.rated_kg,
        "margin_at_least_kg": result.margin_kg,
        "pad": result.worst_pad.id,
        "use_percent": 100.0 * result.worst_pad.use_ratio,
    }
    print(say(Text(f"plan.{result.verdict}"), speaker))
    print(say(Text("plan.summary", summary), speaker))
    parts = (
        ("", result.reasons),
        ("Circuits", result.circuits),
        ("Heed", result.notes),
        ("Before the lift", result.checks),
    )
    for title, texts in parts:
        if title and texts:
            print(f"\n{title}")
        for text in texts:
            print(f"- {say(text, speaker)}")
    print(f"\n{CAUTION}")
