"""A recording judged on its own clock: nothing lost, nothing invented, the same bytes twice."""

import io
import json
import os
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest

from monitor.replay import BREAK_S, ReplayReport, replay
from monitor.settings.site import SiteSettings, load_site, read_site
from monitor.wire.recording import read_recording, write_line
from simulator.lifters import BUILT_IN
from simulator.play import timeline
from simulator.publisher import message_of
from simulator.scenarios import load

ROOT = Path(__file__).parents[2]
T0 = 1764019200.0
READINGS = "holdwatch/quayside/dock-6/readings"


@pytest.fixture(scope="module")
def site() -> SiteSettings:
    return load_site(ROOT / "configs" / "demo.toml")


def reading(t_s: float, *, vacuum_kpa: float = 64.0, load_kg: float = 0.0, **more: object) -> dict:
    circuits = {name: {"vacuum_kpa": vacuum_kpa, "pump": "off"} for name in "AB"}
    return {"time": T0 + t_s, "seq": round(t_s * 10), "boot": "b", "circuits": circuits, "load_kg": load_kg} | more


def steady(from_s: float, to_s: float, **more: object) -> list[bytes]:
    """Five readings a second."""
    times = (n / 5 for n in range(round(from_s * 5), round(to_s * 5)))
    return [write_line(READINGS, reading(t_s, **more)) for t_s in times]


def recorded(scenario: str) -> list[bytes]:
    return [
        write_line(f"holdwatch/quayside/dock-6/{sent.leaf}", message_of(sent, epoch_utc_s=T0), T0 + sent.at_s)
        for sent in timeline(load(scenario), BUILT_IN, seed=1)
    ]


def judged(lines: Iterable[bytes], site: SiteSettings) -> tuple[ReplayReport, list[dict], dict[str, Any]]:
    statuses, summary = io.BytesIO(), io.BytesIO()
    report = replay(read_recording(lines), site, status_out=statuses, summary_out=summary)
    return report, [json.loads(line) for line in statuses.getvalue().splitlines()], json.loads(summary.getvalue())


PROGRAM = """
import sys
from pathlib import Path
from monitor.replay import replay
from monitor.settings.site import load_site
from monitor.wire.recording import read_recording_file
replay(read_recording_file(Path(sys.argv[1])), load_site(Path(sys.argv[2])), status_out=sys.stdout.buffer,
       summary_out=sys.stdout.buffer)
"""


def test_two_runs_give_the_same_bytes(tmp_path: Path) -> None:
    """In two processes, each with its own order of hashed things."""
    (tmp_path / "lift.jsonl").write_bytes(b"".join(recorded("leak-in-flight")))
    command = [sys.executable, "-c", PROGRAM, str(tmp_path / "lift.jsonl"), str(ROOT / "configs" / "demo.toml")]
    runs = [
        subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, env=os.environ | {"PYTHONHASHSEED": seed})
        for seed in ("1", "2")
    ]
    one, two = (run.communicate(timeout=60)[0] for run in runs)
    assert one == two
    assert len(one) > 100_000


def test_every_reading_has_one_status_at_its_time(site: SiteSettings) -> None:
    lines = steady(0.0, 10.0)
    _, statuses, _ = judged(lines, site)
    at_readings = [one["time"] for one in statuses if one["reading_time"] == one["time"]]
    assert at_readings == [round(T0 + n / 5, 3) for n in range(50)]


def test_silence_in_a_file_is_judged_at_whole_half_seconds(site: SiteSettings) -> None:
    """Rule 1: no reading after 3 s (readings come five times a second), told when it happens, not when the next comes."""
    lines = [*steady(0.0, 10.1), *steady(30.1, 31.0)]
    _, statuses, _ = judged(lines, site)
    between = [one for one in statuses if T0 + 10.2 < one["time"] < T0 + 30.0]
    lost = next(one for one in between if one["circuits"]["A"]["state"] == "no_reading")
    assert lost["call"] == "no_signal"
    assert T0 + 10.0 + 3.0 <= lost["time"] <= T0 + 10.0 + 3.5
    assert all((2 * one["time"]).is_integer() for one in between)


def test_nothing_is_invented_after_the_last_line(site: SiteSettings) -> None:
    report, statuses, _ = judged(steady(0.0, 10.0), site)
    assert statuses[-1]["time"] == T0 + 9.8
    assert report.ended_utc_s == T0 + 9.8


def test_late_line_does_not_turn_the_clock_back(site: SiteSettings) -> None:
    lines = steady(0.0, 10.0)
    late = write_line(READINGS, reading(5.0), received_s=T0 + 2.0)
    _, statuses, _ = judged([*lines, late], site)
    assert statuses[-1]["time"] == T0 + 9.8
    assert statuses[-1]["counts"]["late"] == 1


def test_received_is_the_clock_before_the_payloads_time(site: SiteSettings) -> None:
    lines = [write_line(READINGS, reading(n / 5), received_s=T0 + 100.0 + n / 5) for n in range(10)]
    report, statuses, _ = judged(lines, site)
    assert report.began_utc_s == T0 + 100.0
    assert statuses[0]["time"] == T0 + 100.0
    assert statuses[0]["reading_time"] == T0


def test_lines_without_a_time_are_judged_at_the_clock_so_far(site: SiteSettings) -> None:
    undated = {name: value for name, value in reading(0.0).items() if name in ("circuits", "load_kg")}
    line = write_line(READINGS, undated)
    report, statuses, _ = judged([line, line, *steady(3.0, 4.0), line], site)
    assert report.lines_n == 8
    assert report.readings_n == 8
    assert [one["time"] for one in statuses[:2]] == [T0 + 3.0, T0 + 3.0]
    assert statuses[-1]["time"] == T0 + 3.8


def test_file_that_never_says_when_is_judged_all_the_same(site: SiteSettings) -> None:
    line = write_line(READINGS, {"circuits": {"A": {"vacuum_kpa": 60}, "B": {"vacuum_kpa": 60}}})
    report, statuses, _ = judged([line] * 3, site)
    assert report.readings_n == 3
    assert len(statuses) == 3


def test_empty_file_gives_an_empty_summary(site: SiteSettings) -> None:
    report, statuses, summary = judged([], site)
    assert (report.lines_n, statuses, summary["lifts"]) == (0, [], [])
    assert report.began_utc_s is None


BAD = [
    (b"not json\n", "not_json"),
    (b'{"topic": "%s"}\n' % READINGS.encode(), "no_payload"),
    (b'{"payload": {}}\n', "no_topic"),
    (b"[1, 2]\n", "wrong_shape"),
    (b'{"topic": "%s", "payload": {"circuits": {}}}\n' % READINGS.encode(), "no_circuits"),
    (b'{"topic": "%s", "payload": "online"}\n' % READINGS.encode(), "wrong_shape"),
    (b'{"topic": "%s", "payload": {"load_kg": 1}, "received": "soon"}\n' % READINGS.encode(), "bad_received"),
    (b'{"topic": "holdwatch/quayside/dock-6/actions", "payload": {"id": "a", "kind": "release"}}\n', "no_action"),
    (b"[" * 100_000 + b"\n", "not_json"),
]  # fmt: skip


@pytest.mark.parametrize(("line", "reason"), BAD)
def test_bad_line_is_counted_said_and_passed_over(site: SiteSettings, line: bytes, reason: str) -> None:
    report, statuses, summary = judged([*steady(0.0, 2.0), line, *steady(2.0, 4.0)], site)
    assert report.bad == {reason: 1}
    assert report.bad_shown[0].startswith(f"line 11: {reason}: ")
    assert report.readings_n == 20
    assert statuses[-1]["time"] == T0 + 3.8
    assert summary["bad_n"] == 1


def test_bad_line_on_a_lifters_topic_is_counted_for_that_lifter(site: SiteSettings) -> None:
    _, statuses, _ = judged([*steady(0.0, 2.0), BAD[1][0], BAD[4][0], *steady(2.0, 2.2)], site)
    assert statuses[-1]["counts"]["rejected"] == 2


def test_only_unreadable_messages_are_silence(site: SiteSettings) -> None:
    rubbish = [write_line(READINGS, b"{", received_s=T0 + 10.0 + n / 5) for n in range(50)]
    _, statuses, _ = judged([*steady(0.0, 10.0), *rubbish], site)
    assert statuses[-1]["call"] == "no_signal"


def test_other_topics_and_other_lifters_are_counted_and_judged_as_nothing(site: SiteSettings) -> None:
    lines = [
        write_line("holdwatch/northgate/dock-6/readings", reading(0.0)),
        write_line("weather", {"time": T0, "wind_m_s": 3.0}),
        write_line("holdwatch/quayside/dock-99/readings", reading(0.5)),
        write_line("holdwatch/quayside/dock-6/status", {"call": "holding"}),
    ]
    report, statuses, _ = judged(lines, site)
    assert report.other_topics_n == 2
    assert report.unknown_lifters_n == 1
    assert [one for one in statuses if one["call"] != "no_signal"] == []


def test_retained_reading_proves_nobody_alive(site: SiteSettings) -> None:
    lines = [write_line(READINGS, reading(0.0), received_s=T0, retained=True)]
    _, statuses, _ = judged(lines, site)
    assert [one["call"] for one in statuses] == ["no_signal"]
    assert statuses[0]["counts"]["retained"] == 1


def test_actions_are_applied_when_they_came(site: SiteSettings) -> None:
    plan = {"id": "p1", "kind": "plan", "who": "supervisor", "role": "supervisor", "params": {"weight_kg": 400.0}}
    line = write_line("holdwatch/quayside/dock-6/actions", plan, received_s=T0 + 5.1)
    report, statuses, _ = judged([*steady(0.0, 5.0), line, *steady(5.2, 6.0)], site)
    assert report.actions_n == 1
    assert report.refused_actions_n == 0
    assert statuses[0]["load"]["planned_kg"] is None
    assert statuses[-1]["load"]["planned_kg"] == 400.0


def test_seal_test_asked_for_in_a_recording_is_judged_and_recorded(site: SiteSettings) -> None:
    """On the simulator's own physics: asked for while the pumps build, begun once they rest by themselves at 66 kPa."""
    lines = recorded("clean-lift")
    said = {"id": "s1", "kind": "seal_test", "who": "M. Roth", "role": "supervisor", "params": {"test": "pre_pick"}}
    early_n = sum(json.loads(line).get("received", 0.0) < T0 + 6.0 for line in lines)
    lines.insert(early_n, write_line("holdwatch/quayside/dock-6/actions", said, received_s=T0 + 6.0))
    report, statuses, summary = judged(lines, site)
    assert report.refused_actions_n == 0
    told = [one["seal_tests"]["pre_pick"]["state"] for one in statuses if one["seal_tests"]["pre_pick"]]
    assert list(dict.fromkeys(told)) == ["waiting", "running", "passed"]
    [test] = summary["lifts"][0]["seal_tests"]
    assert test["state"] == "passed"
    assert all(one["start_kpa"] > 64.0 for one in test["circuits"].values())
    assert 10.0 < test["begun"] - T0 < 28.0, "before the crew switches the pumps off"
    assert test["ended"] - test["begun"] == pytest.approx(60.0, abs=1.0)
    assert judged(lines, site)[2] == summary


def test_refused_action_is_counted(site: SiteSettings) -> None:
    nobody = {"id": "p1", "kind": "plan", "who": "", "params": {"weight_kg": 400.0}}
    report, _, _ = judged([*steady(0.0, 1.0), write_line("holdwatch/quayside/dock-6/actions", nobody, T0 + 1.0)], site)
    assert report.refused_actions_n == 1


def test_lift_is_summed_up_and_one_still_open_at_the_end_is_marked(site: SiteSettings) -> None:
    lines = recorded("clean-lift")
    _, _, whole = judged(lines, site)
    assert [one["ended"] for one in whole["lifts"]] == ["released"]
    record = whole["lifts"][0]
    assert record["site"] == "quayside"
    assert record["lifter"] == "dock-6"
    assert record["closed"] - record["opened"] == pytest.approx(record["duration_s"], abs=0.002)

    in_flight = [line for line in lines if json.loads(line)["received"] < (record["load_on"] + record["load_off"]) / 2]
    report, _, cut = judged(in_flight, site)
    assert [one["ended"] for one in cut["lifts"]] == ["open"]
    assert (report.lifts_n, report.open_lifts_n) == (1, 1)
    assert cut["lifts"][0]["id"] == record["id"]
    assert cut["lifts"][0]["load_on"] == record["load_on"]


def test_night_between_two_lines_is_a_gap_of_the_recording_and_costs_no_time(site: SiteSettings) -> None:
    lines = [*steady(0.0, 2.0), *steady(BREAK_S + 100.0, BREAK_S + 102.0)]
    report, statuses, _ = judged(lines, site)
    assert report.breaks_n == 1
    assert statuses[-1]["time"] == T0 + BREAK_S + 101.8
    far = [*steady(0.0, 2.0), write_line(READINGS, reading(2.0), received_s=4_000_000_000.0)]
    assert judged(far, site)[0].breaks_n == 1  # would otherwise be four billion ticks


def test_settings_and_version_that_judged_are_named(site: SiteSettings) -> None:
    other = read_site(site.text + "\n# a remark\n", name="other")
    lines = recorded("clean-lift")
    one, two = (judged(lines, settings)[2]["lifts"][0] for settings in (site, other))
    assert one["judged_by"] == two["judged_by"]
    assert one["site_file_sha256"] != two["site_file_sha256"]
