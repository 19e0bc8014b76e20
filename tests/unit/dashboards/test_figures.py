"""Trends as figures: every part of the trend is drawn, with units, and a point leads to its lift."""

from zoneinfo import ZoneInfo

import numpy as np
import pytest

from dashboards.figures import POINTS_MOST_N, figure, thinned
from dashboards.words import Voice
from monitor.core.lifter_trends import Service
from monitor.core.trends import DAY_S, trend
from monitor.words.languages import Speaker
from monitor.words.quantities import Unit

NOW = 1_764_000_000.0


def drawn(n: int = 300, language: str = "en", **more: float) -> dict:
    ago = np.linspace(300.0, 0.0, n)
    values = 0.3 - 0.0005 * ago + 0.01 * np.random.default_rng(2).standard_normal(n)
    values[n // 2 :] += 0.1
    made = trend(NOW - ago * DAY_S, values, now_utc_s=NOW, limit=0.6)
    return figure(
        made,
        [f"lift-{k}" for k in range(n)],
        title="Circuit A",
        unit=Unit("kPa/min"),
        voice=Voice(Speaker(language, locale=language), ZoneInfo("Europe/Berlin")),
        services=[Service(NOW - 30 * DAY_S, "circuit A", "seals renewed", "maintenance")],
        now_utc_s=NOW,
        limit=0.6,
        **more,
    )


def test_every_point_names_its_lift() -> None:
    points = drawn()["data"][0]
    assert points["customdata"][:2] == ["lift-0", "lift-1"]
    assert len(points["x"]) == len(points["y"]) == 300


def test_axes_carry_units_and_the_time_zone() -> None:
    layout = drawn()["layout"]
    assert layout["yaxis"]["title"]["text"] == "kPa/min"
    assert "Europe/Berlin" in layout["xaxis"]["title"]["text"]


def test_numbers_of_the_axes_follow_the_locale_and_dates_need_none() -> None:
    """CLDR: "." in English, "," in Spanish. Months by name would be English ones: plotly has no other language here."""
    assert [drawn(language=one)["layout"]["separators"][0] for one in ("en", "es")] == [".", ","]
    axis = drawn()["layout"]["xaxis"]
    assert "%b" not in str((axis["tickformatstops"], axis["hoverformat"]))


def test_trend_bounds_limit_step_and_service_note_are_drawn() -> None:
    made = drawn()
    assert [part["name"] for part in made["data"]] == ["lifts", "trend", "early", "late", "likely"]
    words = [note["text"] for note in made["layout"]["annotations"]]
    assert words == ["step", "circuit A: seals renewed", "service limit"]
    assert any(shape.get("xref") == "paper" and shape["y0"] == 0.6 for shape in made["layout"]["shapes"])


def test_bounds_meet_the_limit_in_order() -> None:
    early, late, likely = (
        next(part for part in drawn()["data"] if part["name"] == name) for name in ("early", "late", "likely")
    )
    assert early["x"][1] < likely["x"][1] < late["x"][1]
    assert early["y"][1] == late["y"][1] == likely["y"][1] == 0.6


def test_shorter_time_leaves_the_other_lifts_out() -> None:
    assert len(drawn(since_utc_s=NOW - 30 * DAY_S)["data"][0]["x"]) == 30
    assert drawn(until_utc_s=NOW - 400 * DAY_S)["data"][0]["x"] == []


@pytest.mark.parametrize("n", [0, 1, POINTS_MOST_N, 20_000])
def test_points_drawn_are_bounded_and_the_last_lift_is_among_them(n: int) -> None:
    places = thinned(n)
    assert len(places) == min(n, POINTS_MOST_N)
    assert len(set(places)) == len(places)
    assert not n or places[-1] == n - 1


def test_band_between_the_bounds_never_falls_again() -> None:
    lines = {line["name"]: line for line in drawn()["data"] if line["mode"] == "lines"}
    assert lines["early"]["x"][-1] == lines["late"]["x"][-1]
    assert lines["early"]["y"][-1] == lines["early"]["y"][-2]
