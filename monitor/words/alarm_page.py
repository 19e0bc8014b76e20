"""The guide's list of alarms, made from the alarm table. Printed by ``python -m monitor.words.alarm_page``."""

import sys
from typing import Final

from monitor.core.alarm_acts import NEVER_SET_ASIDE
from monitor.core.alarm_table import ALARMS, AlarmRule, Breach, priority
from monitor.words.quantities import duration

INTRO: Final = (
    "Every alarm Holdwatch can raise, from the one table it judges by. Priority follows from the consequence and the "
    "time there is to act. Times and levels come from the site file."
)
CAUTION: Final = (
    "Holdwatch is an aid. The gauge and alarm on the lifter, the lift plan, local codes and a competent person decide. "
    "Keep clear of a raised load."
)


def title(rule: AlarmRule) -> str:
    """An alarm's name as a heading. Check: `vacuum_low` is "Vacuum low"."""
    return rule.key.replace("_", " ").capitalize()


def rows(rule: AlarmRule) -> dict[str, str]:
    """What is told of one alarm, by name. Words stand as the table has them, with the places of their values."""
    said = {
        "Says": rule.says,
        "Do": rule.do,
        "Priority": priority(rule).value,
        "Cause": rule.cause,
        "Consequence": rule.consequence,
        "Who acts": rule.who_acts.value,
        "Time to act": duration(rule.time_to_act_s),
        "About": "each circuit" if rule.per_circuit else "the lifter",
        "Raised": f"after {rule.raise_after_s:g} s in breach" if rule.raise_after_s else "at once",
        "Clear": f"after {rule.clear_after_s:g} s, and a minute at least after it was raised{_margin(rule)}",
        "Once over": "held until it is acknowledged and reset" if rule.latching else "gone once it is acknowledged",
        "Watched in": ", ".join(sorted(phase.value.replace("_", " ") for phase in rule.armed_in)),
        "Set aside": "never by a person" if rule.key in NEVER_SET_ASIDE else "shelved for an hour, or out of service",
    }
    if rule.off_raise_after_s is not None:
        said["Raised"] += f"; after {rule.off_raise_after_s:g} s while the load is known to be off"
    if rule.suppressed_in:
        said["Suppressed in"] = ", ".join(sorted(phase.value for phase in rule.suppressed_in))
    if rule.led_by:
        said["Folded under"] = ", ".join(key.replace("_", " ") for key in rule.led_by)
    return said


def _margin(rule: AlarmRule) -> str:
    if not rule.clear_margin:
        return ""
    side = "above" if rule.breach is Breach.AT_OR_BELOW else "below"
    unit = {"deg": "°"}.get(rule.unit, rule.unit)
    return f", {rule.clear_margin:g}{' ' if unit else ''}{unit} {side} its limit"


def alarm_page() -> str:
    """The whole page as Markdown."""
    parts = ["# Alarms", "", INTRO, "", CAUTION, ""]
    for rule in ALARMS:
        parts += [f"## {title(rule)}", "", "| | |", "| --- | --- |"]
        parts += [f"| {name} | {said} |" for name, said in rows(rule).items()]
        parts.append("")
    return "\n".join(parts)


if __name__ == "__main__":
    sys.stdout.write(alarm_page())
