"""Records of finished lifts: the list, and one as a page to be read. Layout only; the words of a record are made here."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlencode

from dash import html

from dashboards.pages.parts import paper, wide
from dashboards.pages.timeline import can_be_drawn
from dashboards.words import Voice

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.store.records import Reader

PAGE_N: Final = 50
NONE: Final = "–"

Record = Mapping[str, Any]


def layout(store: "Callable[[], Reader]", voice: Voice, query: Mapping[str, str]) -> Any:
    """``?id=`` one record; else the newest lifts, of ``?lifter=`` alone, those ``?before=`` a UTC second."""
    if "id" in query:
        record = store().lift(query["id"])
        if record is None:
            nothing = [html.H1(voice.say("lift.none")), html.P(voice.say("lift.none_here"))]
            return paper(nothing, voice.speaker)
        return paper(_record(record, voice, store().trace(record["id"])), voice.speaker)
    before = float(query["before"]) if query.get("before", "").replace(".", "", 1).isdecimal() else None
    return paper(_list(store().lifts(query.get("lifter") or None, before, PAGE_N), voice), voice.speaker)


def _list(records: Sequence[Record], voice: Voice) -> list[Any]:
    heading = html.H1(voice.say("lifts.title"))
    if not records:
        return [heading, html.P(voice.say("lifts.none"))]
    heads = ("opened", "lifter", "took", "largest", "lowest_margin", "worst_call", "alarms", "not_seen")
    rows = [
        (
            html.A(_when(record["opened"], voice), href=f"/lifts?id={record['id']}"),
            record["lifter"],
            voice.value("took_s", record["duration_s"]),
            _value("largest_kg", record["load"]["largest_kg"], voice),
            _value("lowest_kg", record["margin"]["lowest_kg"], voice),
            _call(record["worst_call"], voice),
            voice.value("alarms_n", len(record["alarms"])),
            voice.value("gap_s", record["gap_s"]) if record["gap_s"] else NONE,
        )
        for record in records
    ]
    older = html.P(html.A(voice.say("lifts.older"), href=f"/lifts?before={records[-1]['opened']}"))
    figures = html.P(html.A(voice.say("alarms.figures_link"), href="/alarms"))
    return [heading, _table(heads, rows, voice), *([older] if len(records) == PAGE_N else []), figures]


def _record(record: Record, voice: Voice, trace: "Path | None") -> list[Any]:
    load, margin, tilt, settings = record["load"], record["margin"], record["tilt"], record["settings"]
    facts = {
        "lifter": record["lifter"],
        "opened": _when(record["opened"], voice),
        "load_on": _when(record["load_on"], voice),
        "load_off": _when(record["load_off"], voice),
        "closed": _when(record["closed"], voice),
        "ended": voice.named("ended", record["ended"]),
        "took": voice.value("took_s", record["duration_s"]),
        "picks": voice.value("picks_n", record["picks_n"]),
        "largest": _value("largest_kg", load["largest_kg"], voice),
        "planned": _value("planned_kg", load["planned_kg"], voice),
        "lowest_margin": _value("lowest_kg", margin["lowest_kg"], voice),
        "lowest_margin_at": _when(margin["at"], voice),
        "limit_by": voice.named("governs", margin["governs"]) if margin["governs"] else NONE,
        "tilt_low": _value("low_deg", tilt["low_deg"], voice),
        "tilt_high": _value("high_deg", tilt["high_deg"], voice),
        "height": _value("height_m", record["height_high_m"], voice),
        "wind": _value("wind_m_s", record["wind_high_m_s"], voice),
        "battery": _value("battery_v", record["battery_low_v"], voice),
        "worst_call": _call(record["worst_call"], voice),
        "time_to_land": voice.value("time_to_land_s", record["time_to_land_s"]),
        "landing_took": _value("landing_s", record["landing_s"], voice),
    }
    judged_by = {
        "program": str(record["judged_by"]),
        "basis": settings["basis"],
        "plate": _value("wll_kg", settings["wll_kg"], voice),
        "surface": voice.value("surface", settings["surface"]),
        "friction": _value("friction_ratio", settings["friction"], voice),
    }
    calls = {call: seconds for call, seconds in record["calls_s"].items() if seconds >= 1}
    return [
        html.H1(voice.say("lift.title", id=record["id"])),
        html.Ul([_report(str(record["id"]), form, voice, trace) for form in ("html", "pdf", "csv", "json")]),
        _pairs({voice.say(f"lift.{name}"): said for name, said in facts.items()}),
        html.H2(voice.say("lift.timeline")),
        _timeline(record, voice, trace),
        html.H2(voice.say("lift.circuits")),
        _circuits(record["circuits"], voice),
        html.H2(voice.say("lift.calls")),
        _pairs({_call(call, voice): voice.value("took_s", seconds) for call, seconds in calls.items()}),
        html.H2(voice.say("lift.seal_tests")),
        _seal_tests(record.get("seal_tests", ()), voice),
        html.H2(voice.say("lift.alarms")),
        _alarms(record["alarms"], voice),
        html.H2(voice.say("lift.actions")),
        _actions(record["actions"], voice),
        html.H2(voice.say("lift.gaps")),
        _gaps(record, voice),
        html.H2(voice.say("lift.judged_by")),
        _pairs({voice.say(f"lift.{name}"): said for name, said in judged_by.items()}),
        html.P(voice.say("lift.says_no_more")),
    ]


def _timeline(record: Record, voice: Voice, trace: "Path | None") -> Any:
    if trace is None or not can_be_drawn(trace):
        return html.P(voice.say("lift.no_trace" if trace is None else "lift.no_times"))
    src = "/timeline.svg?" + urlencode({"id": record["id"]})
    return wide(html.Img(src=src, alt=voice.say("timeline.says"), className="timeline"))


def _report(lift: str, form: str, voice: Voice, trace: "Path | None") -> Any:
    """Where the record is to be had to print, send or work on."""
    address = f"/api/report?{urlencode({'lift': lift, 'as': form})}"
    what = "figures" if form == "csv" and trace is None else form
    return html.Li(html.A(voice.say(f"lifts.report.{what}"), href=address))


def _circuits(circuits: Mapping[str, Record], voice: Voice) -> Any:
    heads = ("circuit", "lowest", "lowest_at", "at_pick", "leak", "worst_leak", "pump_on", "states")
    rows = [
        (
            name,
            _value("lowest_kpa", said["lowest_kpa"], voice),
            _when(said["lowest_at"], voice),
            _value("at_pick_kpa", said["at_pick_kpa"], voice),
            _value("leak_kpa_per_min", said["leak_kpa_per_min"], voice),
            _value("leak_kpa_per_min", said["worst_leak_kpa_per_min"], voice),
            voice.value("pump_on_s", said["pump_on_s"]),
            html.Ul(
                [
                    html.Li(voice.say("lift.state_for", state=voice.say(f"state.{state}"), in_it_s=seconds))
                    for state, seconds in said["states_s"].items()
                    if seconds >= 1
                ],
                className="plain",
            ),
        )
        for name, said in circuits.items()
    ]
    return _table(heads, rows, voice)


def _alarms(alarms: Sequence[Record], voice: Voice) -> Any:
    if not alarms:
        return html.P(voice.say("lift.no_alarm"))
    heads = ("alarm", "about", "priority", "raised", "over", "acknowledged", "by")
    rows = [
        (
            html.A(voice.named("alarm", f"{alarm['key']}.name"), href=f"/help/alarms#{alarm['key']}"),
            voice.say("circuit.name", circuit=alarm["about"]) if alarm["about"] else voice.say("lift.lifter"),
            voice.named("priority", alarm["priority"]),
            _when(alarm["raised"], voice),
            _when(alarm["returned"], voice),
            _when(alarm["acknowledged"], voice),
            alarm["acknowledged_by"] or NONE,
        )
        for alarm in alarms
    ]
    return _table(heads, rows, voice)


def _seal_tests(tests: Sequence[Record], voice: Voice) -> Any:
    if not tests:
        return html.P(voice.say("lift.no_seal_test"))
    return html.Div([part for test in tests for part in _seal_test(test, voice)])


def _seal_test(test: Record, voice: Voice) -> list[Any]:
    name, when, role = voice.named("seal", test["test"]), _when(test["asked"], voice), voice.value("role", test["role"])
    circuits = [
        html.Li(voice.say("lift.circuit_said", circuit=circuit, words=voice.told(one, "words", "text")))
        for circuit, one in test["circuits"].items()
    ]
    head = html.H3(voice.say("lift.seal_test", what=name, when=when, who=test["who"], role=role))
    return [head, html.P(voice.told(test, "words", "text")), html.Ul(circuits)]


def _actions(actions: Sequence[Record], voice: Voice) -> Any:
    if not actions:
        return html.P(voice.say("lift.no_action"))
    return html.Ul(
        [
            html.Li(
                voice.say(
                    "lift.action",
                    when=_when(act["at"], voice),
                    what=voice.named("action", act["kind"]),
                    who=act["who"],
                    role=voice.value("role", act["role"]),
                )
            )
            for act in actions
        ]
    )


def _gaps(record: Record, voice: Voice) -> Any:
    if not record["gaps"]:
        return html.P(voice.say("lift.no_gap"))
    rows = [
        html.Li(voice.say(f"lift.gap.{gap['why']}", start=_when(gap["from"], voice), end=_when(gap["to"], voice)))
        for gap in record["gaps"]
    ]
    return html.Div([html.P(voice.say("lift.gaps_n", gaps_n=record["gaps_n"], gap_s=record["gap_s"])), html.Ul(rows)])


def _table(heads: Iterable[str], rows: Iterable[Iterable[Any]], voice: Voice) -> Any:
    """A table whose first column names its rows; wide ones are scrolled by themselves."""
    head = html.Tr([html.Th(voice.say(f"lift.{name}"), scope="col") for name in heads])
    body = [
        html.Tr([html.Th(first, scope="row"), *(html.Td(cell) for cell in rest)]) for first, *rest in map(list, rows)
    ]
    return wide(html.Table([html.Thead(head), html.Tbody(body)]))


def _pairs(facts: Mapping[str, str]) -> Any:
    return html.Dl([html.Div([html.Dt(name), html.Dd(said)]) for name, said in facts.items()], className="pairs")


def _call(call: str | None, voice: Voice) -> str:
    return voice.say(f"call.{call}") if call else NONE


def _when(at_utc_s: float | None, voice: Voice) -> str:
    """Site time with its offset. Check: 0 in UTC is "1970-01-01 00:00:00 +00:00"."""
    if at_utc_s is None:
        return NONE
    moment = datetime.fromtimestamp(at_utc_s, voice.zone)
    return f"{moment:%Y-%m-%d %H:%M:%S} {moment.isoformat()[-6:]}"


def _value(name: str, value: float | None, voice: Voice) -> str:
    return NONE if value is None else voice.value(name, value)
