"""``trends`` says the same as text, as JSON and as CSV: every figure, step, service and item of the list."""

import csv
import io
import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from monitor.care import Care
from monitor.care_tables import care_csv, care_text
from monitor.cli.main import main
from monitor.clock import utc_s
from monitor.core.lifter_trends import Service, follow
from monitor.store.conditions import Lifts
from monitor.words.say import say
from tests.trend_histories import UNTIL_UTC_S, columns, demo_site, history

YEAR_DAYS = 365.25
FIGURES = ("leak", "pump_down", "duty", "zero", "apart")


@dataclass(frozen=True)
class Told:
    json: dict[str, Any]
    text: str
    tables: dict[str, list[dict[str, str]]]


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Told:
    """Two years with services, certain and possible steps, forecasts and things to look at."""
    data, now_utc_s = tmp_path_factory.mktemp("trends") / "data", utc_s()

    def said(*more: str) -> str:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("sys.stdout", io.StringIO())
            patch.setattr("monitor.clock.utc_s", lambda: now_utc_s)  # levels and forecasts are those of "now"
            assert main(["trends", "--data", str(data), *more]) == 0
            return sys.stdout.getvalue()  # type: ignore[attr-defined,no-any-return]

    assert main(["simulate", "history", "--data", str(data), "--lifts", "2000", "--years", "2", "--seed", "3"]) == 0
    tables = {
        name: list(csv.DictReader(io.StringIO(said("--csv", name))))
        for name in ("figures", "list", "steps", "services")
    }
    assert list(csv.DictReader(io.StringIO(said("--csv")))) == tables["figures"]
    return Told(json.loads(said("--json"))["lifters"][0], said(), tables)


def n(value: float | None) -> str:
    return "" if value is None else f"{value:.4g}"


def day(at_s: float | None) -> str:
    return "" if at_s is None else datetime.fromtimestamp(at_s, UTC).strftime("%Y-%m-%d")


def span(bounds: dict[str, float] | None, times: float = 1.0) -> list[str]:
    return ["", "", ""] if bounds is None else [n(times * bounds[name]) for name in ("likely", "low", "high")]


def trends(told: Told) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for circuit, one in told.json["circuits"].items():
        yield from ((circuit, figure, one[figure]) for figure in FIGURES)
    yield "", "battery", told.json["battery"]


def words_of(told: Told, circuit: str, figure: str) -> list[str]:
    """The line of the text that stands for a figure, and those under it."""
    names = {"leak": "leak at", "pump_down": "pump-down", "duty": "pump on", "zero": "gauge off", "apart": "gauges of"}
    begin = f"  circuit {circuit}, {names[figure]}" if circuit else "  lowest battery"
    lines = told.text.splitlines()
    [at] = [n for n, line in enumerate(lines) if line.startswith(begin)]
    end = next(n for n in range(at + 1, len(lines)) if not lines[n].startswith("    "))
    return lines[at:end]


def test_history_has_something_of_everything(told: Told) -> None:
    """Else what follows would compare nothing."""
    assert len(told.tables["list"]) >= 2
    assert {row["certain"] for row in told.tables["steps"]} == {"yes", "no"}
    assert [row["figure"] for row in told.tables["services"]].count("leak") == 2
    assert sum(row["limit_reached_likely"] != "" for row in told.tables["figures"]) >= 4


def test_every_figure_is_the_same_in_all_three(told: Told) -> None:
    for circuit, figure, trend in trends(told):
        [row] = [one for one in told.tables["figures"] if (one["circuit"], one["figure"]) == (circuit, figure)]
        line = words_of(told, circuit, figure)[0]
        level, change = span(trend["level"]), span(trend["slope_per_day"], YEAR_DAYS)
        reach = trend["limit_reached"] or {}
        dates = [day(reach.get(name)) for name in ("early", "likely", "late")]
        assert [row["level"], row["level_low"], row["level_high"]] == level
        assert [row["change_per_year"], row["change_low"], row["change_high"]] == change
        assert [row[f"limit_reached_{name}"] for name in ("early", "likely", "late")] == dates
        assert (row["lifts"], row["limit"]) == (str(trend["n"]), n(trend["limit"]))
        assert (row["scatter"], row["fitted_from"]) == (n(trend["scatter"]), day(trend["fitted_from"]))
        assert row["steps"] == str(len(trend["steps"]))
        for cell in (*level, *change, *dates, row["scatter"], row["limit"], row["fitted_from"], row["last_step"]):
            assert cell in line
        assert (f"{trend['n']} lifts" in line) == (trend["n"] > 0)


def test_sisters_temperature_and_lifts_left_out_are_the_same_in_all_three(told: Told) -> None:
    for circuit, one in told.json["circuits"].items():
        rows = {row["figure"]: row for row in told.tables["figures"] if row["circuit"] == circuit}
        assert rows["leak"]["lifts_left_out"] == str(one["leak"]["left_out_n"])
        for figure in ("over_sisters", "temperature_per_k"):
            level, row = span(one[figure]), rows[figure]
            assert [row["level"], row["level_low"], row["level_high"]] == level
            assert f"{level[0]} ({level[1]} to {level[2]})" in told.text


def test_every_step_is_the_same_in_all_three(told: Told) -> None:
    for circuit, figure, trend in trends(told):
        rows = [one for one in told.tables["steps"] if (one["circuit"], one["figure"]) == (circuit, figure)]
        lines = [line for line in words_of(told, circuit, figure)[1:] if "step of" in line]
        assert len(rows) == len(lines) == len(trend["steps"])
        for step, row, line in zip(trend["steps"], rows, lines, strict=True):
            assert [row["at"], row["size"], row["scatter"]] == [day(step["utc_s"]), n(step["size"]), n(step["scatter"])]
            assert row["certain"] == ("yes" if step["certain"] else "no")
            assert ("possible" in line) == (not step["certain"])
            assert f"step of {row['size']} on {row['at']}; scatter {row['scatter']}" in line


def test_every_service_is_the_same_in_all_three(told: Told) -> None:
    compared = [(one, service) for _, _, one in trends(told) for service in one["services"]]
    rows = told.tables["services"]
    assert len(rows) == len(told.json["services"])
    assert len(compared) == sum(row["figure"] != "" for row in rows) == 2
    for noted in told.json["services"]:
        [row] = [one for one in rows if (one["at"], one["about"]) == (day(noted["utc_s"]), noted["about"])]
        assert (row["note"], row["who"]) == (noted["note"], noted["who"])
        [line] = [line for line in told.text.splitlines() if f"service on {row['at']}, {row['about']}" in line]
        assert f"by {row['who']}: {row['note']}" in line
        for service in (service for _, service in compared if service["utc_s"] == noted["utc_s"]):
            before, after = span(service["before"]), span(service["after"])
            assert [row["before"], row["before_low"], row["before_high"]] == before
            assert [row["after"], row["after_low"], row["after_high"]] == after
            assert row["better"] == {True: "yes", False: "no", None: ""}[service["better"]]
            assert (
                f"before {before[0]} ({before[1]} to {before[2]}), after {after[0]} ({after[1]} to {after[2]})" in line
            )


def test_list_is_the_same_and_in_the_same_order_in_all_three(told: Told) -> None:
    rows = told.tables["list"]
    for place, (item, row) in enumerate(zip(told.json["list"], rows, strict=True), 1):
        assert (row["place"], row["evidence"], row["lift"]) == (str(place), item["words"], item["lift"])
        assert (row["circuit"], row["pads"]) == (item["circuit"] or "", ", ".join(item["pads"]))
        assert f"  {place}. {item['words']}" in told.text
        assert f"Lift {item['lift']}." in told.text


def test_table_nobody_knows_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(["trends", "--data", str(tmp_path), "--csv", "everything"])
    assert "'figures', 'list', 'steps', 'services'" in capsys.readouterr().err


def test_note_is_no_formula_in_a_spreadsheet() -> None:
    [config] = demo_site().core.lifters.values()
    note = Service(UNTIL_UTC_S - 1e6, "circuit A", '=cmd|"/c calc"!A0', "@who")
    care = Care(follow(config, columns(history(1, 40, 0.2)), [note], UNTIL_UTC_S), [])
    [row] = csv.DictReader(io.StringIO(care_csv([care], say, "services")))
    assert (row["note"], row["who"]) == ("'" + note.note, "'@who")


def test_lifter_without_lifts_is_not_told_to_be_well() -> None:
    [config] = demo_site().core.lifters.values()
    said = care_text([Care(follow(config, Lifts().columns(), [], UNTIL_UTC_S), [])], say)
    assert "dock-6: 0 lifts\n  No finished lift yet" in said
    assert "Nothing stands out" not in said
