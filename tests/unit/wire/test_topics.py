"""Topics are fixed promises to other people's hardware, so they stand here letter by letter."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.settings.check import ID as SETTINGS_ID
from monitor.wire.topics import ID, LEAVES, Topics

TOPICS = Topics("holdwatch", "quayside")


def test_topics_are_those_promised() -> None:
    assert TOPICS.reading("dock-6") == "holdwatch/quayside/dock-6/readings"
    assert TOPICS.status("dock-6") == "holdwatch/quayside/dock-6/status"
    assert TOPICS.alarms("dock-6") == "holdwatch/quayside/dock-6/alarms"
    assert TOPICS.lifts("dock-6") == "holdwatch/quayside/dock-6/lifts"
    assert TOPICS.connection("dock-6") == "holdwatch/quayside/dock-6/connection"
    assert TOPICS.actions("dock-6") == "holdwatch/quayside/dock-6/actions"
    assert TOPICS.engine == "holdwatch/quayside/engine"


def test_actions_are_never_listened_to() -> None:
    assert TOPICS.subscriptions() == ["holdwatch/quayside/+/readings", "holdwatch/quayside/+/connection"]


@pytest.mark.parametrize("leaf", sorted(LEAVES))
@pytest.mark.parametrize("root", ["holdwatch", "site/lifting", "a/b/c"])
def test_topic_of_a_lifter_is_taken_apart(root: str, leaf: str) -> None:
    assert Topics(root, "quayside").split(f"{root}/quayside/dock-6/{leaf}") == ("dock-6", leaf)


@pytest.mark.parametrize(
    "topic",
    [
        "",
        "holdwatch",
        "holdwatch/quayside/engine",
        "holdwatch/quayside/dock-6",
        "holdwatch/quayside/dock-6/",
        "holdwatch/quayside//readings",
        "holdwatch/quayside/dock-6/readings/",
        "holdwatch/quayside/dock-6/more/readings",
        "holdwatch/quayside/dock-6/Readings",
        "holdwatch/quayside/dock 6/readings",
        "holdwatch/quayside/+/readings",
        "holdwatch/quayside/dock-6\n/readings",
        "holdwatch/quayside/dóck/readings",
        "holdwatch/other/dock-6/readings",
        "other/quayside/dock-6/readings",
        "/holdwatch/quayside/dock-6/readings",
        f"holdwatch/quayside/{'x' * 65}/readings",
    ],
)
def test_topic_that_is_no_lifters_is_none(topic: str) -> None:
    assert TOPICS.split(topic) is None


@given(st.text())
def test_any_topic_is_none_or_the_one_it_was_built_from(topic: str) -> None:
    for text in (topic, f"holdwatch/quayside/{topic}", f"holdwatch/quayside/{topic}/readings"):
        parts = TOPICS.split(text)
        assert parts is None or text == f"holdwatch/quayside/{parts[0]}/{parts[1]}"


@pytest.mark.parametrize("root", ["", "/a", "a/", "a//b", "a/+", "#", "a\nb", "a\x00"])
def test_root_that_would_not_stay_one_beginning_is_refused(root: str) -> None:
    with pytest.raises(ValueError, match="root is"):
        Topics(root, "quayside")


@pytest.mark.parametrize("site", ["", "a/b", "a b", "+", "x" * 65])
def test_site_that_is_no_id_is_refused(site: str) -> None:
    with pytest.raises(ValueError, match="site is"):
        Topics("holdwatch", site)


def test_what_the_settings_allow_as_id_the_wire_allows_too() -> None:
    assert ID.pattern == SETTINGS_ID.pattern
