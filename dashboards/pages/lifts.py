"""Records of finished lifts: the list, and one as a page to be read. Layout only; the words of a record are made here."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from dash import html

from dashboards.pages.parts import paper
from dashboards.words import say
from monitor.words.quantities import duration

if TYPE_CHECKING:
    from monitor.store.records import Reader

PAGE_N: Final = 50

Record = Mapping[str, Any]


def layout(store: "Callable[[], Reader]", zone: ZoneInfo, query: Mapping[str, str]) -> Any:
    """``?id=`` one record; else the newest lifts, of ``?lifter=`` alone, those ``?before=`` a UTC second."""
    if "id" in query:
        record = store().lift(query["id"])
        if record is None:
            return paper([html.H1("No such lift"), html.P("There is no record of that lift here.")])
        return paper(_record(record, zone))
    before = float(query["before"]) if query.get("before", "").replace(".", "", 1).isdecimal() else None
    return paper(_list(store().lifts(query.get("lifter") or None, before, PAGE_N), zone))


def _list(records: Sequence[Record], zone: ZoneInfo) -> list[Any]:
    if not records:
        return [html.H1("Lifts"), html.P("No finished lift yet. A lift is recorded when it ends: released, or parked.")]
    heads = ("Opened", "Lifter", "Took", "Largest load", "Lowest margin", "Worst call", "Alarms", "Not seen")
    rows = [
        html.Tr(
            [
                html.Td(html.A(_when(record["opened"], zone), href=f"/lifts?id={record['id']}")),
                html.Td(record["lifter"]),
                html.Td(duration(record["duration_s"])),
                html.Td(_quantity(record["load"]["largest_kg"], "kg", 0)),
                html.Td(_quantity(record["margin"]["lowest_kg"], "kg", 0)),
                html.Td(_call(record["worst_call"])),
                html.Td(str(len(record["alarms"]))),
                html.Td(duration(record["gap_s"]) if record["gap_s"] else "–"),
            ]
        )
        for record in records
    ]
    older = (
        [html.P(html.A("Older lifts", href=f"/lifts?before={records[-1]['opened']}"))] if len(records) == PAGE_N else []
    )
    table = html.Table([html.Thead(html.Tr([html.Th(head) for head in heads])), html.Tbody(rows)])
    return [html.H1("Lifts"), html.Div(table, className="wide"), *older]


def _record(record: Record, zone: ZoneInfo) -> list[Any]:
    load, margin, tilt, settings = record["load"], record["margin"], record["tilt"], record["settings"]
    facts = {
        "Lifter": record["lifter"],
        "Opened": _when(record["opened"], zone),
        "Load came on": _when(record["load_on"], zone),
        "Load went off": _when(record["load_off"], zone),
        "Closed": f"{_when(record['closed'], zone)} ({record['ended']})",
        "Took": duration(record["duration_s"]),
        "Picks": str(record["picks_n"]),
        "Largest load": _quantity(load["largest_kg"], "kg", 0),
        "Planned load": _quantity(load["planned_kg"], "kg", 0),
        "Lowest margin": _quantity(margin["lowest_kg"], "kg", 0),
        "at": _when(margin["at"], zone),
        "Limit set by": say(f"governs.{margin['governs']}") if margin["governs"] else "–",
        "Tilt": f"{_quantity(tilt['low_deg'], '°', 0)} to {_quantity(tilt['high_deg'], '°', 0)}",
        "Greatest height": _quantity(record["height_high_m"], "m", 0),
        "Strongest wind": _quantity(record["wind_high_m_s"], "m/s", 1),
        "Lowest battery": _quantity(record["battery_low_v"], "V", 1),
        "Worst call": _call(record["worst_call"]),
        "Time to land in force": duration(record["time_to_land_s"]),
        "Landing took": "–" if record["landing_s"] is None else duration(record["landing_s"]),
    }
    return [
        html.H1(f"Lift {record['id']}"),
        _pairs(facts),
        html.H2("Circuits"),
        html.Div(_circuits(record["circuits"], zone), className="wide"),
        html.H2("Calls"),
        _pairs({_call(call): duration(seconds) for call, seconds in record["calls_s"].items() if seconds >= 1}),
        html.H2("Seal tests"),
        _seal_tests(record.get("seal_tests", ()), zone),
        html.H2("Alarms"),
        _alarms(record["alarms"], zone),
        html.H2("Acts of people"),
        _actions(record["actions"], zone),
        html.H2("What was not seen"),
        _gaps(record, zone),
        html.H2("Judged by"),
        _pairs(
            {
                "Holdwatch": str(record["judged_by"]),
                "Basis": settings["basis"],
                "Plate": _quantity(settings["wll_kg"], "kg", 0),
                "Surface": f"{settings['surface']}, friction {settings['friction']}",
            }
        ),
        html.P("This record says what the readings said. It does not say that the lift was safe."),
    ]


def _circuits(circuits: Mapping[str, Record], zone: ZoneInfo) -> Any:
    heads = (
        "Circuit",
        "Lowest vacuum",
        "at",
        "At the pick",
        "Leak at the end",
        "Worst leak",
        "Pump on",
        "Time in each state",
    )
    rows = [
        html.Tr(
            [
                html.Th(name),
                html.Td(_quantity(said["lowest_kpa"], "kPa", 1)),
                html.Td(_when(said["lowest_at"], zone)),
                html.Td(_quantity(said["at_pick_kpa"], "kPa", 1)),
                html.Td(_quantity(said["leak_kpa_per_min"], "kPa/min", 2)),
                html.Td(_quantity(said["worst_leak_kpa_per_min"], "kPa/min", 2)),
                html.Td(duration(said["pump_on_s"])),
                html.Td(
                    ", ".join(
                        f"{say(f'state.{state}').lower()} {duration(seconds)}"
                        for state, seconds in said["states_s"].items()
                        if seconds >= 1
                    )
                ),
            ]
        )
        for name, said in circuits.items()
    ]
    return html.Table([html.Thead(html.Tr([html.Th(head) for head in heads])), html.Tbody(rows)])


def _alarms(alarms: Sequence[Record], zone: ZoneInfo) -> Any:
    if not alarms:
        return html.P("No alarm.")
    heads = ("Alarm", "About", "Priority", "Raised", "Over", "Acknowledged", "By")
    rows = [
        html.Tr(
            [
                html.Td(html.A(alarm["key"].replace("_", " "), href=f"/help/alarms#{alarm['key']}")),
                html.Td(say("circuit.name", circuit=alarm["about"]) if alarm["about"] else "Lifter"),
                html.Td(alarm["priority"]),
                html.Td(_when(alarm["raised"], zone)),
                html.Td(_when(alarm["returned"], zone)),
                html.Td(_when(alarm["acknowledged"], zone)),
                html.Td(alarm["acknowledged_by"] or "–"),
            ]
        )
        for alarm in alarms
    ]
    table = html.Table([html.Thead(html.Tr([html.Th(head) for head in heads])), html.Tbody(rows)])
    return html.Div(table, className="wide")


def _seal_tests(tests: Sequence[Record], zone: ZoneInfo) -> Any:
    if not tests:
        return html.P("No seal test was made with Holdwatch before this lift.")
    return html.Div([part for test in tests for part in _seal_test(test, zone)])


def _seal_test(test: Record, zone: ZoneInfo) -> list[Any]:
    head = f"{say('seal.' + test['test'])}, {_when(test['asked'], zone)}, {test['who']} ({test['role']})"
    circuits = [
        html.Li(f"{say('circuit.name', circuit=name)}: {one['words']}") for name, one in test["circuits"].items()
    ]
    return [html.H3(head), html.P(test["words"]), html.Ul(circuits)]


def _actions(actions: Sequence[Record], zone: ZoneInfo) -> Any:
    if not actions:
        return html.P("None.")
    return html.Ul(
        [
            html.Li(f"{_when(act['at'], zone)}: {act['kind'].replace('_', ' ')}, {act['who']} ({act['role']})")
            for act in actions
        ]
    )


def _gaps(record: Record, zone: ZoneInfo) -> Any:
    if not record["gaps"]:
        return html.P("No gap in the readings.")
    rows = [
        html.Li(f"{_when(gap['from'], zone)} to {_when(gap['to'], zone)}: {gap['why'].replace('_', ' ')}")
        for gap in record["gaps"]
    ]
    return html.Div([html.P(f"{duration(record['gap_s'])} in {record['gaps_n']} gaps."), html.Ul(rows)])


def _pairs(facts: Mapping[str, str]) -> Any:
    return html.Dl([html.Div([html.Dt(name), html.Dd(said)]) for name, said in facts.items()], className="pairs")


def _call(call: str | None) -> str:
    return say(f"call.{call}") if call else "–"


def _when(at_utc_s: float | None, zone: ZoneInfo) -> str:
    """Site time with its offset. Check: 0 in UTC is "1970-01-01 00:00:00 +00:00"."""
    if at_utc_s is None:
        return "–"
    moment = datetime.fromtimestamp(at_utc_s, zone)
    return f"{moment:%Y-%m-%d %H:%M:%S} {moment.isoformat()[-6:]}"


def _quantity(value: float | None, unit: str, digits: int) -> str:
    return (
        "–" if value is None else f"{round(value, digits) + 0.0:.{digits}f}{'' if unit == '°' else ' '}{unit}"
    )  # never -0
