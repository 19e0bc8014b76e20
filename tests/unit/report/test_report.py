"""The record as a page, a table and data: complete, escaped, on one sheet, and never saying more than was seen."""

import csv
import io
import json
import re
import subprocess
from collections.abc import Callable, Mapping
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from weasyprint import HTML

from monitor.core.messages import Text
from monitor.report import CAUTIONS, figures_csv, lift_csv, lift_html, lift_json
from monitor.report_pdf import pdf
from monitor.report_plot import VACUUM, timeline
from monitor.words.languages import Speaker, languages
from monitor.words.say import say
from tests.tools import need, sheets

T0 = 1764019200.0  # 2025-11-24T21:20:00Z
HASH = "ab" * 32


def circuit(**more: object) -> dict[str, Any]:
    fixed = {"warning_kpa": 52.0, "lowest_kpa": 58.4, "lowest_at": T0 + 200, "at_pick_kpa": 64.0, "pump_on_s": 12.0}
    fixed |= {
        "leak_kpa_per_min": 0.92,
        "worst_leak_kpa_per_min": 1.1,
        "seen_s": 230.0,
        "states_s": {"holding": 180.0, "losing": 50.0},
    }
    return fixed | more


def record(**more: object) -> dict[str, Any]:
    fixed: dict[str, Any] = {
        "site": "quayside", "lifter_name": "dock-6", "time_zone": "Europe/Berlin", "version": 1, "id": "dock-6-1764019200",
        "lifter": "dock-6", "opened": T0, "load_on": T0 + 90, "load_off": T0 + 210, "closed": T0 + 240, "ended": "released",
        "duration_s": 240.0, "picks_n": 1, "load": {"largest_kg": 622.5, "planned_kg": 600.0},
        "margin": {"lowest_kg": 185.2, "at": T0 + 130, "governs": "friction"}, "tilt": {"low_deg": 0.2, "high_deg": 90.1},
        "height_high_m": 41.0, "wind_high_m_s": 4.2, "battery_low_v": 24.4, "temperature_c": 14.0,
        "circuits": {"A": circuit(), "B": circuit(lowest_kpa=None, lowest_at=None)},
        "calls_s": {"holding": 200.0}, "worst_call": "land_soon", "worst_call_reason": "reason.early_under_twice_landing",
        "alarms": [{"raising": "dock-6/B/losing_vacuum/17", "key": "losing_vacuum", "about": "B", "priority": "high",
                    "raised": T0 + 150, "returned": None, "acknowledged": T0 + 160, "acknowledged_by": "the supervisor"}],
        "actions": [{"kind": "plan", "who": "the supervisor", "role": "supervisor", "at": T0 + 5,
                     "params": {"weight_kg": 600.0}}],
        "seen_s": 230.0, "gap_s": 10.0, "gaps_n": 1, "gaps": [{"from": T0 + 100, "to": T0 + 110, "why": "restart"}],
        "counts": {"live": 1200, "rejected": 3, "late": 0, "doubled": 2, "lost": 0, "retained": 0, "refused": 0},
        "time_to_land_s": 240.0, "landing_s": 55.0,
        "settings": {"basis": "asme-bth-1", "wll_kg": 900.0, "surface": "dry", "friction": 0.5},
        "judged_by": "0.1.0", "site_file_sha256": "cd" * 32,
    }  # fmt: skip
    return fixed | more


def seal_test(test: str = "pre_pick", circuits: str = "AB", **more: object) -> dict[str, Any]:
    words = "Held: from 64.0 kPa to 62.1 kPa in 4 min, 3 % lost of 25 % allowed; above its warning level for 5 min."
    fixed = {
        "test": test, "state": "passed", "who": "the supervisor", "role": "supervisor", "asked": T0 + 10.0,
        "words": "Passed: every circuit has the reserve asked for, by these readings. The supervisor decides.",
        "circuits": {name: {"state": "passed", "words": words} for name in circuits},
    }  # fmt: skip
    return fixed | more


def trace(seconds: int = 240) -> dict[str, list[Any]]:
    times = [T0 + n / 5 for n in range(5 * seconds)]
    return {
        "kind": ["reading"] * len(times),
        "utc_s": times,
        "load_kg": [600.0 if 90 < at_s - T0 < 210 else 0.0 for at_s in times],
        "boot": ["=cmd|'/c calc'!A0"] * len(times),
        "A.vacuum_kpa": [64.0 - (at_s - T0) / 60 for at_s in times],
        "B.vacuum_kpa": [None if 100 < at_s - T0 < 110 else 63.0 for at_s in times],
        "call": ["look" if at_s - T0 < 20 else "holding" for at_s in times],
        "extra": [None] * len(times),
    }


class Words(HTMLParser):
    """The text of a page, and the tags in it."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.said: list[str] = []
        self.feed(page)
        self.text = " ".join(self.said)

    def handle_starttag(self, tag: str, _attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)

    def handle_data(self, data: str) -> None:
        self.said.append(data)


def test_lift_in_the_night_the_clocks_are_changed_tells_the_hour_that_comes_twice_apart() -> None:
    """At 2025-10-26T01:00:00Z clocks in Berlin go from 03:00 (+0200) back to 02:00 (+0100) (IANA time zone data)."""
    change_s = 1761440400.0
    moved = record(
        opened=change_s - 100,
        closed=change_s + 140,
        gaps=[{"from": change_s - 10, "to": change_s + 10, "why": "restart"}],
    )
    seen = trace() | {"utc_s": [change_s - 100 + n / 5 for n in range(1200)]}
    said = Words(lift_html(moved, seen)).text
    assert "2025-10-26 02:58:20 +0200" in said
    assert "02:59:50 +0200 to 02:00:10 +0100: Holdwatch was restarted" in said
    assert "4 min 00 s" in said
    axis = ("02:59:00 +0200", "02:59:30 +0200", "02:00:00 +0100", "02:00:30 +0100")
    assert sorted(axis, key=said.index) == list(axis)


def test_page_says_when_how_long_what_and_by_what_it_was_judged() -> None:
    """2025-11-24T21:20:00Z is 22:20 in Berlin, one hour ahead in winter (IANA time zone data)."""
    text = Words(lift_html(record(), trace(), chained=HASH)).text
    for words in (
        "2025-11-24 22:20:00 +0100", "4 min 00 s", "622 kg", "600 kg", "185 kg at 22:22:10, by friction", "Land soon", "41 m",
        "58.4 at 22:23:20", "0.92", "Losing vacuum", "circuit B", "stood at the end", "the supervisor",
        "22:21:40 to 22:21:50: Holdwatch was restarted", "3 unreadable", "2 doubled", "asme-bth-1",
        "900 kg", "0.1.0", "cd" * 32, HASH, "Lift supervisor", "Crane operator", "Installer",
        *(say(Text(key, {})) for key in CAUTIONS),
    ):  # fmt: skip
        assert words in text, words


def test_page_is_told_in_another_language_and_units() -> None:
    """600 kg is 1323 lb, 52.0 kPa is 15.4 inHg (NIST SP 811)."""
    text = Words(lift_html(record(), trace(), chained=HASH, speaker=Speaker("es", "us", "es"))).text
    for words in (
        "Registro del izado: dock-6, quayside",
        "1323 lb",
        "15,4",
        "inHg/min",
        "Pérdida de vacío",
        "Jefe de maniobra",
    ):
        assert words in text, words
    assert "Alarms" not in text


def test_page_never_says_that_a_lift_was_safe() -> None:
    text = Words(lift_html(record(), trace())).text.lower()
    assert re.findall(r"[^.;]*\bsafe\b[^.;]*", text) == [" it is no statement that a lift was or will be safe"]
    assert not re.search(r"\bok\b", text)


def test_page_has_no_script_and_fetches_nothing() -> None:
    page = lift_html(record(), trace())
    assert {"script", "img", "iframe", "object"}.isdisjoint(Words(page).tags)
    assert re.findall("<link[^>]*>", page) == ["<link rel='icon' href='data:,'>"]  # without it a browser asks for one
    assert "http" not in page
    assert "url(" not in page.replace("url(#unknown)", "")


HOSTILE = "<script>alert(1)</script>\"'&"


@pytest.mark.parametrize(
    "more",
    [
        {"site": HOSTILE},
        {"lifter_name": HOSTILE},
        {"id": HOSTILE},
        {"ended": HOSTILE},
        {"judged_by": HOSTILE},
        {"time_zone": HOSTILE},
        {"worst_call": HOSTILE},
        {"margin": {"lowest_kg": 1.0, "at": None, "governs": HOSTILE}},
        {"circuits": {HOSTILE: circuit(states_s={HOSTILE: 5.0})}},
        {
            "alarms": [
                record()["alarms"][0]
                | {"key": HOSTILE, "about": HOSTILE, "priority": HOSTILE, "acknowledged_by": HOSTILE}
            ]
        },
        {"actions": [{"kind": HOSTILE, "who": HOSTILE, "role": HOSTILE, "at": T0, "params": {HOSTILE: HOSTILE}}]},
        {"gaps": [{"from": T0, "to": T0 + 1, "why": HOSTILE}]},
        {"settings": {"basis": HOSTILE, "wll_kg": 1.0, "surface": HOSTILE, "friction": 0.5}},
        {"site_file_sha256": HOSTILE},
    ],
)
def test_text_from_outside_is_text(more: Mapping[str, Any]) -> None:
    columns = trace()
    columns[f"{HOSTILE}.vacuum_kpa"] = columns["A.vacuum_kpa"]
    columns["call"] = [HOSTILE] * len(columns["call"])
    page = lift_html(record(**more), columns, chained=HOSTILE)
    assert "script" not in Words(page).tags


def test_record_without_trace_or_much_else_is_still_a_page() -> None:
    nothing = {
        "load": {"largest_kg": None, "planned_kg": None},
        "margin": {"lowest_kg": None, "at": None, "governs": None},
    }
    nothing |= {
        "tilt": {"low_deg": None, "high_deg": None},
        "height_high_m": None,
        "wind_high_m_s": None,
        "battery_low_v": None,
    }
    nothing |= {
        "alarms": [],
        "actions": [],
        "gaps": [],
        "gaps_n": 0,
        "worst_call": None,
        "load_on": None,
        "load_off": None,
    }
    page = Words(lift_html(record(**nothing))).text
    assert "no timeline" in page
    assert "not measured" in page
    assert "No alarm." in page
    assert "No gap in the readings." in page
    assert "Not in a chain of records." in page


def test_plan_is_told_with_who_made_it_and_what_it_said() -> None:
    plan = {"who": "R. <L>", "role": "supervisor", "at": T0, "weight_kg": 600.0, "pads": ["A1", "B1"], "rated_kg": 818.2,
            "governs": "friction", "verdict": "outside_limits"}  # fmt: skip
    page = Words(lift_html(record(plan=plan), trace())).text
    assert (
        "Planned at 22:20:00 by R. <L> (supervisor): 600 kg, pads A1, B1, OUTSIDE the limits of the figures entered, "
        "limit 818 kg by friction."
    ) in page
    assert "No plan was saved for this lift." in Words(lift_html(record(), trace())).text


def test_seal_tests_are_told_the_last_of_each_kind() -> None:
    tests = [seal_test(who="first"), seal_test("shift", who="<fitter>"), seal_test(who="second", circuits="B")]
    page = Words(lift_html(record(seal_tests=tests), trace())).text
    assert "Seal test before the pick, 22:20:10, second (supervisor): Passed: every circuit" in page
    assert "Seal test at the start of the shift, 22:20:10, <fitter> (supervisor)" in page
    assert "B: Held: from 64.0 kPa" in page
    assert "first" not in page


@pytest.mark.parametrize("tests", [[], [seal_test("shift")]])
def test_lift_without_a_test_before_the_pick_says_so(tests: list[dict[str, Any]]) -> None:
    page = Words(lift_html(record(seal_tests=tests), trace())).text
    assert "No seal test before the pick was made with Holdwatch." in page


def test_long_tables_are_cut_and_say_so() -> None:
    alarms = [record()["alarms"][0] | {"raised": T0 + n} for n in range(100)]
    assert "and 94 more, in the data of this record" in Words(lift_html(record(alarms=alarms), trace())).text


WHO = "Maximiliana-Featherstonehaugh-" * 3 + "of-the-yard"  # as long as a name may be, and nowhere to break it
NAMES = [f"{'north-left-upper-' * 3}circuit-{name}" for name in "ABCD"]


def fullest() -> dict[str, Any]:
    """As much as a record ever holds, with names as long as they may be."""
    alarms = [record()["alarms"][0] | {"about": NAMES[1], "acknowledged_by": WHO}] * 100
    acts = [
        record()["actions"][0] | {"who": WHO, "params": {"panel": "facade panel 17-B, north-west corner, " * 9}}
    ] * 100
    gaps = [{"from": T0 + n, "to": T0 + n + 1, "why": "silence"} for n in range(100)]
    held = seal_test()["circuits"]["A"]
    tests = [
        seal_test(kind, who=WHO) | {"circuits": dict.fromkeys(NAMES, held)} for kind in ("shift", "pre_pick")
    ] * 5  # fmt: skip
    states = ("holding", "losing", "low", "critical", "no_reading", "sensor_fault", "building", "open")
    circuits = {name: circuit(states_s=dict.fromkeys(states, 50.0)) for name in NAMES}
    plan = record()["actions"][0] | {"who": WHO, "weight_kg": 600.0, "pads": [f"pad-{n}" for n in range(32)]}
    return record(alarms=alarms, actions=acts, gaps=gaps, gaps_n=500, circuits=circuits, seal_tests=tests, plan=plan,
                  lifter_name="the lifter with eight pads " * 4, site="s" * 64, id=f"{'l' * 64}-1764019200")  # fmt: skip


@pytest.mark.parametrize("language", languages())
def test_pdf_is_one_sheet_however_much_there_is(language: str, tmp_path: Path) -> None:
    names = dict(zip("AB", NAMES, strict=False))
    columns = {names.get(key[0], key[0]) + key[1:] if key[1:2] == "." else key: one for key, one in trace().items()}
    speaker = Speaker(language, "us", language)
    (tmp_path / "lift.pdf").write_bytes(pdf(lift_html(fullest(), columns, chained=HASH, speaker=speaker)))
    assert sheets((tmp_path / "lift.pdf").read_bytes()) == 1


def test_pdf_is_in_large_print_where_there_is_room(monkeypatch: pytest.MonkeyPatch) -> None:
    said: list[str] = []

    class Told:
        def __init__(self, *, string: str, url_fetcher: object) -> None:
            said.append(string)
            self._page = HTML(string=string, url_fetcher=url_fetcher)

        def render(self) -> Any:
            return self._page.render()

    monkeypatch.setattr("weasyprint.HTML", Told)
    pdf(lift_html(record(), trace()))
    assert ["font-size: 12px" in one for one in said] == [True]


def test_nothing_stands_beyond_the_edge_of_the_drawing() -> None:
    """A letter is at most 8 units wide in a print of 11 (DejaVu Sans); the page has 60 units of margin beside the drawing."""
    root = ET.fromstring(timeline(trace(), fullest(), str))  # noqa: S314 - our own
    texts = [one for one in root.iter("text") if one.get("text-anchor") == "start"]
    assert [one.text for one in texts if (one.text or "").endswith("rcuit-C")] == ["north-l…rcuit-C"]
    for one in texts:
        assert float(one.get("x") or 0) + 8 * len(one.text or "") <= 1000 + 110, one.text


def long_tables() -> dict[str, Any]:
    """As many rows as a record ever shows, with usual names."""
    return record(**{name: fullest()[name] for name in ("gaps", "gaps_n")}, alarms=record()["alarms"] * 100,
                  actions=record()["actions"] * 100, circuits={name: circuit() for name in "ABCD"},
                  seal_tests=[seal_test("shift", circuits="ABCD"), seal_test("pre_pick", circuits="ABCD")])  # fmt: skip


@pytest.mark.parametrize("full", [record, long_tables, fullest])
@pytest.mark.parametrize("language", languages())
def test_page_prints_on_one_sheet(language: str, full: Callable[[], dict[str, Any]], tmp_path: Path) -> None:
    """Printed by a real browser."""
    speaker = Speaker(language, "us", language)
    (tmp_path / "lift.html").write_text(lift_html(full(), trace(), chained=HASH, speaker=speaker))
    command = [
        need("chromium"),
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        f"--user-data-dir={tmp_path / 'profile'}",
    ]
    command += ["--no-pdf-header-footer", f"--print-to-pdf={tmp_path / 'lift.pdf'}", (tmp_path / "lift.html").as_uri()]
    subprocess.run(command, check=True, capture_output=True, timeout=60)
    assert sheets((tmp_path / "lift.pdf").read_bytes()) == 1


def test_timeline_is_wellformed_and_draws_gaps_as_gaps() -> None:
    drawing = timeline(trace(), record(), lambda at_s: str(at_s))
    root = ET.fromstring(drawing)  # noqa: S314 - our own
    paths = [one.get("d") or "" for one in root.iter("path")]
    assert [path.count("M") for path in paths if len(path) > 100] == [1, 2, 1]  # A, B with its gap, the load
    words = [one.text for one in root.iter("text")]
    assert "warning level A, B: 52.0 kPa" in words
    assert {"A", "B", "Holding"} <= set(words)


def test_timeline_keeps_the_shortest_dip() -> None:
    """Thinned to what a page can show, but never by leaving the worst out."""
    columns = trace(3000)
    columns["A.vacuum_kpa"][7777] = 3.0
    drawing = ET.fromstring(timeline(columns, record(), str))  # noqa: S314 - our own
    path = max((one.get("d") or "" for one in drawing.iter("path")), key=lambda one: one.count("L"))
    lowest_y = max(float(y) for y in re.findall(r"[ML][\d.]+ ([\d.]+)", path))
    assert len(path) < 60_000
    assert lowest_y > VACUUM[1] - 15.0  # 3 of 70 kPa, near the bottom of the band at 190


@pytest.mark.parametrize("columns", [{}, {"utc_s": []}, {"utc_s": [None, None]}, {"utc_s": [T0]}, {"utc_s": [T0, T0]}])
def test_trace_without_time_has_no_timeline(columns: dict[str, list[Any]]) -> None:
    assert timeline(columns, record(), str) == ""


def test_csv_reads_back_and_runs_no_formula() -> None:
    columns = trace(2)
    columns["extra"][0] = 'a "quoted", text\nof two lines'
    rows = list(csv.DictReader(io.StringIO(lift_csv(columns))))
    assert len(rows) == 10
    assert [float(row["utc_s"]) for row in rows] == columns["utc_s"]
    assert rows[0]["extra"] == columns["extra"][0]
    assert rows[1]["extra"] == ""
    assert {row["boot"] for row in rows} == {"'=cmd|'/c calc'!A0"}
    assert float(rows[0]["A.vacuum_kpa"]) == 64.0


def test_csv_without_a_trace_has_every_figure_of_the_record_and_says_so() -> None:
    rows = list(csv.reader(io.StringIO(figures_csv(record(lifter_name="=1+1", plan=None), chained=HASH))))
    assert rows[:2] == [["figure", "value"], ["trace", "not kept"]]
    told = dict(rows)
    assert len(told) == len(rows)
    assert float(told["circuits.A.lowest_kpa"]) == 58.4
    assert (told["circuits.B.lowest_kpa"], told["plan"]) == ("", "")
    assert told["alarms.0.key"] == "losing_vacuum"
    assert told["gaps.0.why"] == "restart"
    assert told["lifter_name"] == "'=1+1"
    assert told["chained"] == HASH
    given = json.dumps(record(plan=None))
    assert len(told) == len(re.findall(r": (?![{\[])|: \[\]|: {}", given)) + 3  # the head, trace and chained


def test_json_is_the_record_and_its_place_in_the_chain() -> None:
    assert json.loads(lift_json(record(), chained=HASH)) == record(chained=HASH)
