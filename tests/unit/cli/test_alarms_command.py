"""``holdwatch alarms`` and the page ``/alarms``: the same figures from a store, in words and as JSON."""

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from dashboards.pages.alarms import layout
from dashboards.words import Voice
from monitor import clock
from monitor.cli.main import main
from monitor.core.alarm_stats import statistics
from monitor.store.records import open_reader, open_writer
from monitor.words.alarm_figures import figures
from monitor.words.languages import Speaker


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A store with an alarm that came and went ten minutes ago and one that has stood for thirty hours."""
    now_s = clock.utc_s()
    writer = open_writer(tmp_path)
    for number, (ago_s, moved, state, key) in enumerate(
        [
            (108_000.0, "raised", "unacknowledged", "sensor_fault"),
            (600.0, "raised", "unacknowledged", "vacuum_low"),
            (540.0, "acknowledged", "acknowledged", "vacuum_low"),
            (500.0, "returned", "latched_acknowledged", "vacuum_low"),
        ]
    ):
        said = {
            "lifter": "dock-6",
            "raising": f"dock-6/B/{key}/1",
            "key": key,
            "about": "B",
            "moved": moved,
            "state": state,
        }
        writer.alarm({**said, "who": "", "at_s": float(number), "utc_s": now_s - ago_s})
    writer.flush()
    writer.close()
    return tmp_path


def test_figures_of_a_day_as_json(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["alarms", "--data", str(data), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["raised_n"] == 1
    assert said["stale_n"] == 1
    assert said["by_priority_n"] == {"high": 1, "medium": 0, "low": 0}
    assert [one["which"]["key"] for one in said["standing"]] == ["sensor_fault"]
    assert said["longest_unacknowledged"]["for_s"] == pytest.approx(108_000.0, abs=5.0)


def test_figures_in_words_with_what_the_standards_want(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["alarms", "--data", str(data), "--hours", "1"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].split() == ["Alarms", "raised", "1", "in", "1", "h"]
    assert "dock-6 circuit B: sensor fault (30 h, still waiting)" in next(
        line for line in lines if line.startswith("Longest")
    )
    assert "(wanted: under 1 % of the time)" in next(line for line in lines if line.startswith("Floods"))


def test_span_may_end_at_any_time(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for until, raised_n in (("2001-02-03", 0), (f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%S}Z", 1)):
        assert main(["alarms", "--data", str(data), "--until", until, "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["raised_n"] == raised_n


def test_end_of_a_span_that_is_none_is_refused_in_words(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["alarms", "--data", str(data), "--until", "yesterday"]) == 2
    assert "--until is 'yesterday'; it must be a day or a time" in capsys.readouterr().err


def test_page_of_a_span_that_is_over(data: Path) -> None:
    reader = open_reader(data)
    said = words_of(layout(lambda: reader, clock.utc_s(), {"until": "2001-02-03", "hours": "24"}, Voice(), []))
    assert "24 h up to 2001-02-03" in said
    assert "0 in 24 h" in said
    assert "Last 24 h" in words_of(layout(lambda: reader, clock.utc_s(), {"until": "nonsense"}, Voice(), []))
    reader.close()


def test_another_lifter_has_none(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["alarms", "--data", str(data), "--lifter", "dock-7", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["raised_n"] == 0


@pytest.mark.parametrize("hours", ["0", "-1", "nan", "inf"])
def test_hours_that_are_no_span_are_refused_in_words(
    data: Path, hours: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["alarms", "--data", str(data), "--hours", hours]) == 2
    assert "--hours is" in capsys.readouterr().err


def test_folder_that_is_not_there_is_refused_in_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["alarms", "--data", str(tmp_path / "none")]) == 2
    assert "which is no folder" in capsys.readouterr().err


def words_of(part: Any) -> str:
    if part is None or isinstance(part, str | int | float):
        return str(part or "")
    children = part if isinstance(part, list | tuple) else [getattr(part, "children", None)]
    return " ".join(words_of(child) for child in children)


@pytest.mark.parametrize("hours", ["24", "", "x", "0", "99999999999999999999"])
def test_page_says_the_same_whatever_is_asked(data: Path, hours: str) -> None:
    reader = open_reader(data)
    now_s = clock.utc_s()
    said = words_of(layout(lambda: reader, now_s, {"hours": hours}, Voice(), []))
    for name, value, wanted in figures(statistics(reader.alarm_moves(until=now_s), now_s - 86_400.0, now_s)):
        assert name in said
        assert wanted in said
        assert value in said or hours == "0"
    reader.close()


def test_page_of_one_lifter(data: Path) -> None:
    reader = open_reader(data)
    said = words_of(layout(lambda: reader, clock.utc_s(), {"lifter": "dock-7"}, Voice(), []))
    assert "dock-7" in said
    assert "0 in 24 h" in said
    reader.close()


def test_page_speaks_the_viewers_language(data: Path) -> None:
    reader = open_reader(data)
    said = words_of(layout(lambda: reader, clock.utc_s(), {"hours": "1"}, Voice(Speaker("es", locale="es")), []))
    reader.close()
    assert "Alarmas activadas" in said
    assert "dock-6 circuito B: vacío bajo" in said
    for english in ("Alarms raised", "wanted", "vacuum", "none", "Longest", "still waiting"):
        assert english not in said
