"""The smaller parts: metrics, markdown, addresses, the story, headers."""

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from dashboards import asgi
from dashboards.access import RefusedError
from dashboards.acting import read_action, why_foreign
from dashboards.live import Live
from dashboards.metrics import metrics
from dashboards.mount import address_of, token
from dashboards.pages.help import HELP, layout
from dashboards.pages.lifts import layout as lifts_layout
from dashboards.pages.markdown import render, slug, title
from dashboards.static import Static
from dashboards.story import Story
from dashboards.words import Voice
from monitor.core.alarm_table import ALARMS
from monitor.words.languages import ENGLISH
from tests.page.statuses import circuit, status


def words_of(component: Any) -> str:
    """All the words of a layout."""
    if component is None:
        return ""
    if isinstance(component, str | int | float):
        return str(component)
    if isinstance(component, list | tuple):
        return " ".join(words_of(part) for part in component)
    return words_of(getattr(component, "children", ""))


def links_of(component: Any) -> list[str]:
    """Every address a layout links to."""
    if isinstance(component, list | tuple):
        return [link for part in component for link in links_of(part)]
    own = [component.href] if getattr(component, "href", None) else []
    return own + (links_of(component.children) if getattr(component, "children", None) is not None else [])


# -- metrics: the exposition of OpenMetrics 1.0 (openmetrics.io), read by hand


def _metrics(*lifters: dict[str, Any]) -> list[str]:
    live = Live(monotonic=lambda: 5.0, utc=lambda: 1764019200.0)
    if lifters:
        live.take({"utc_s": 1764019200.0, "lifters": list(lifters)})
    return metrics(live, waiting_n=3).splitlines()


def test_metrics_end_in_eof_and_leave_out_what_is_not_known() -> None:
    lines = _metrics()
    assert lines[-1] == "# EOF"
    assert "holdwatch_viewers 3" in lines
    assert not [line for line in lines if "call" in line]


def test_metrics_are_in_base_units_with_escaped_labels() -> None:
    lines = _metrics(status(lifter='a"b\\c\nd', circuits={"A": circuit(vacuum_kpa=63.4)}))
    assert 'holdwatch_circuit_vacuum_pascals{lifter="a\\"b\\\\c\\nd",circuit="A"} 63400' in lines
    assert 'holdwatch_call{lifter="a\\"b\\\\c\\nd",holdwatch_call="holding"} 1' in lines


def test_metrics_count_what_came_of_the_messages() -> None:
    lines = _metrics(status(counts={"live": 12, "rejected": 3, "refused": 2}))
    assert 'holdwatch_messages_total{lifter="dock-6",kind="live"} 12' in lines
    assert 'holdwatch_messages_total{lifter="dock-6",kind="rejected"} 3' in lines
    assert 'holdwatch_messages_total{lifter="dock-6",kind="refused"} 2' in lines


def test_schema_of_the_status_is_a_file_the_server_gives() -> None:
    file = Static(HELP).files["status.schema.json"]
    assert file.content_type == "application/json"
    assert json.loads(file.body)["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_the_standards_own_reader_takes_them() -> None:
    """prometheus_client's parser of OpenMetrics 1.0, strict about order, units, suffixes and the end."""
    given = [status(), status(lifter="dock-7", call="no_signal", load={"kg": None}, holding=None)]
    for lines in (_metrics(), _metrics(*given)):
        families = {family.name: family for family in text_string_to_metric_families("\n".join(lines) + "\n")}
        assert families["holdwatch_snapshots"].type == "counter"
    calls = {tuple(sample.labels.values()): sample.value for sample in families["holdwatch_call"].samples}
    assert calls["dock-7", "no_signal"] == 1.0
    assert calls["dock-6", "no_signal"] == 0.0
    assert families["holdwatch_call"].type == "stateset"
    assert families["holdwatch_circuit_vacuum_pascals"].unit == "pascals"


def test_every_family_is_declared_once_with_its_unit_in_its_name() -> None:
    lines = _metrics(status(), status(lifter="dock-7"))
    families = [line.split()[2] for line in lines if line.startswith("# TYPE")]
    assert len(families) == len(set(families))
    for line in lines:
        if line.startswith("# UNIT"):
            assert line.split()[2].endswith(f"_{line.split()[3]}")
        elif not line.startswith("#"):
            name = line.split("{")[0].split(" ")[0].removesuffix("_total")
            assert name in families


# -- addresses


@pytest.mark.parametrize("address", ["/", "/lifts?id=dock-6-1", "/help/running", "/?lifter=ä%20b"])
def test_address_survives_its_token(address: str) -> None:
    assert address_of(token(address)) == address
    assert set(token(address)) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_")


@pytest.mark.parametrize("taken", ["*", "a", "_-_-", "%2e"])
def test_token_that_is_none_is_the_ground_screen(taken: str) -> None:
    assert address_of(taken) == "/"


@pytest.mark.parametrize(
    ("host", "own"),
    [
        ("127.0.0.1:8050", True),
        ("[::1]:8050", True),
        ("192.168.1.20", True),
        ("localhost:8050", True),
        ("site-box.local:8050", True),
        ("evil.example:8050", False),
        ("127.0.0.1.evil.example", False),
        ("", False),
        ("[", False),
    ],
)
def test_only_our_own_names_are_answered(host: str, own: bool) -> None:
    assert asgi.is_own_host(host, frozenset({"localhost", "site-box.local"})) is own


def _scope(**headers: str) -> dict[str, Any]:
    named = {"host": "10.0.0.1:8050", "content-type": "application/json"} | {
        k.replace("_", "-"): v for k, v in headers.items()
    }
    return {"headers": [(name.encode(), value.encode()) for name, value in named.items()]}


def test_actions_come_from_our_own_pages() -> None:
    assert why_foreign(_scope()) is None
    assert why_foreign(_scope(origin="http://10.0.0.1:8050", sec_fetch_site="same-origin")) is None
    assert why_foreign(_scope(origin="http://10.0.0.1:8051")) is not None
    assert why_foreign(_scope(sec_fetch_site="none")) is not None
    assert why_foreign(_scope(content_type="text/plain")) is not None


def test_action_is_read_strictly() -> None:
    said = {
        "kind": "acknowledge",
        "lifter": "dock-6",
        "who": "AB",
        "role": "operator",
        "params": {"raising": "x"},
        "extra": 1,
    }
    assert read_action(said) == {key: value for key, value in said.items() if key != "extra"}
    with pytest.raises(RefusedError, match="who must be text"):
        read_action(said | {"who": "x" * 65})


# -- static files


def test_fingerprint_changes_with_any_file(tmp_path: Path) -> None:
    (tmp_path / "a.js").write_text("1")
    first = Static(tmp_path).url("a.js")
    (tmp_path / "b.css").write_text("2")
    assert Static(tmp_path).url("a.js") != first
    assert not Static(tmp_path).files["a.js"].packed, "gzip would be longer"


# -- story


def test_story_is_read_again_when_it_changes(tmp_path: Path) -> None:
    path = tmp_path / "story.json"
    story = Story(path)
    assert story.now() is None
    path.write_text('{"title": "a", "line": "b"}')
    assert story.now() == {"title": "a", "line": "b"}
    path.write_text('{"title": "longer", "line": ')
    assert story.now() is None
    assert Story(None).now() is None


# -- markdown and guides


def test_markdown_leaves_raw_html_and_running_links_as_text() -> None:
    shown = render(
        "# A\n\n<script>alert(1)</script> [x](javascript:alert(1)) [run](running.md#lost) [up](../../README.md)"
    )
    assert "<script>" in words_of(shown)
    assert "#" in links_of(shown) or "javascript:alert(1)" in words_of(shown)
    assert not [link for link in links_of(shown) if link.startswith("javascript")]
    assert "/help/running#lost" in links_of(shown)


def test_table_wider_than_a_phone_moves_by_itself_and_by_the_keys() -> None:
    (shown,) = render("| a | b |\n| --- | --- |\n| 1 | 2 |\n")
    assert (shown.className, shown.tabIndex, shown.children._type) == ("wide", 0, "Table")
    assert words_of(shown).split() == ["a", "b", "1", "2"]


def test_drawing_by_itself_is_not_shrunk_to_a_phone() -> None:
    (shown,) = render("![four\ncases](img/leak.svg)\n")
    assert (shown.className, shown.tabIndex) == ("wide", 0)
    assert (shown.children.src, shown.children.className) == ("/help/img/leak.svg", "drawing")
    assert shown.children.alt.split() == ["four", "cases"]
    for other in ("![ground](img/ground.png)", "![a](a.svg) and words", "words"):
        assert render(other)[0]._type == "P"


def test_headings_can_be_linked() -> None:
    assert render("## Lost broker, and back")[0].id == slug("Lost broker, and back") == "lost-broker-and-back"
    assert title("# Running\n\ntext") == "Running"


@pytest.mark.parametrize("path", sorted(HELP.glob("*.md")), ids=lambda path: path.stem)
def test_every_guide_renders_and_its_links_lead_somewhere(path: Path) -> None:
    shown = render(path.read_text(encoding="utf-8"))
    assert title(path.read_text(encoding="utf-8"))
    known = {f"/help/{guide.stem}" for guide in HELP.glob("*.md")} | {"/help/alarms", "/alarms", "/lifts"}
    for link in links_of(shown):
        if link.startswith("/"):
            assert link.partition("#")[0] in known, link


def test_help_lists_the_guides_and_every_alarm() -> None:
    assert "Reading the screens" in words_of(layout("", ENGLISH))
    assert words_of(layout("running", ENGLISH)) == words_of(layout("running.md", ENGLISH))
    alarms = words_of(layout("alarms", ENGLISH))
    for rule in ALARMS:
        assert rule.do in alarms
        assert rule.says in alarms


def test_name_in_the_address_opens_no_other_file() -> None:
    assert words_of(layout("../../pyproject", ENGLISH)) == words_of(layout("", ENGLISH))


# -- records


def test_no_lift_yet_is_said() -> None:
    store = SimpleNamespace(lifts=lambda *_: [], lift=lambda _: None)
    assert "No finished lift yet" in words_of(lifts_layout(lambda: store, Voice(), {}))  # type: ignore[arg-type, return-value]
    assert "No such lift" in words_of(lifts_layout(lambda: store, Voice(), {"id": "x"}))  # type: ignore[arg-type, return-value]
