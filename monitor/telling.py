"""What is told of each lifter, and when: at most 5 statuses a second, at once on a change, at least one a second.

A lifter the engine failed on is told as ``no_signal`` until it is judged again: never the last good answer.
"""

import logging
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Final

from monitor.core.messages import Text
from monitor.core.status import VALID_FOR_S, Status
from monitor.wire.status_json import encode_status
from monitor.wire.topics import Topics
from monitor.words.say import say, status_dict, text_dict

log = logging.getLogger(__name__)

READING_EVERY_S: Final = 0.2
AFTER_STILL_S: Final = 0.25
"""For a second after a status that only time caused: with that one there are five, and none waits long."""
STILL_EVERY_S: Final = 0.8
"""Without readings: often enough that with the ticks, half a second apart, there is one a second."""

Publish = Callable[[str, bytes, bool, int | None], None]
"""Topic, payload, whether retained, and its expiry in s if any."""


@dataclass(slots=True)
class _Told:
    """One lifter's last status."""

    status: Status | None = None
    said: dict[str, Any] | None = None  # the same in words, made when it is first needed
    good: dict[str, Any] | None = None  # the last that could be said
    fault: bool = False
    news_s: float = float("-inf")  # when a status caused by a message was last published
    published_s: float = float("-inf")
    still_s: float = float("-inf")  # and one that only time caused
    news: bool = False  # the one that is due was caused by a message
    due_s: float = float("inf")


class Telling:
    """The last status of every lifter of a site, and its publication."""

    def __init__(self, topics: Topics, lifters: Iterable[str], publish: Publish) -> None:
        self._topics = topics
        self._publish = publish
        self._told = {lifter: _Told() for lifter in lifters}

    def take(self, status: Status, now_s: float, *, changed: bool, news: bool) -> None:
        """Take a status the engine told; ``news`` says that a message caused it, not only time."""
        told = self._told[status.facts.config.id]
        told.status, told.said, told.fault = status, None, False
        # A reading just after a status that only time caused does not wait for it: it is told within 0.2 s of its arrival.
        every_s = AFTER_STILL_S if now_s - told.still_s < 1.0 else READING_EVERY_S
        next_s = told.news_s + every_s if news else told.published_s + STILL_EVERY_S
        told.news |= news
        told.due_s = min(told.due_s, now_s if changed else max(now_s, next_s))

    def fail(self, lifter: str | None, now_s: float) -> None:
        """The engine failed on a lifter (None: nobody knows on which)."""
        for name, told in self._told.items():
            if lifter in (None, name) and not told.fault:
                told.fault, told.said, told.due_s = True, None, now_s

    def due_s(self) -> float:
        """When the next status is to be published, engine time."""
        return min(told.due_s for told in self._told.values())

    def publish_due(self, now_s: float, utc_s: float) -> None:
        """Publish what is due."""
        for lifter, told in self._told.items():
            if now_s < told.due_s:
                continue
            said = self._said(told, utc_s)
            told.published_s = now_s
            if told.news:
                told.news_s = now_s
            else:
                told.still_s = now_s
            told.news = False
            told.due_s = now_s + STILL_EVERY_S if told.fault else float("inf")
            if said is not None:
                self._publish(self._topics.status(lifter), encode_status(said), True, int(VALID_FOR_S))

    def statuses(self, utc_s: float) -> list[dict[str, Any]]:
        """The last status of every lifter, in the order of the site file. They are not changed afterwards."""
        said = (self._said(told, utc_s) for told in self._told.values())
        return [one for one in said if one is not None]

    def say_stopped(self, utc_s: float) -> None:
        """Overwrite every status: the engine was stopped, and nobody watches any more."""
        for lifter, told in self._told.items():
            if (said := self._said(told, utc_s)) is not None:
                told.status, told.said, told.fault = None, muted(said, "reason.engine_stopped", utc_s), False
                self._publish(self._topics.status(lifter), encode_status(told.said), True, None)

    def _said(self, told: _Told, utc_s: float) -> dict[str, Any] | None:
        if not told.fault and told.said is None and told.status is not None:
            try:
                told.good = told.said = status_dict(told.status)
                encode_status(told.said)  # what cannot be sent must not be shown either
            except Exception:
                log.exception("a status could not be put in words")
                told.fault = True
        if told.fault:
            return None if told.good is None else muted(told.good, "reason.engine_fault", utc_s)
        return told.said


def muted(said: dict[str, Any], reason: str, utc_s: float) -> dict[str, Any]:
    """A status of which nothing is known any more but that it was so once.

    A standing ``land_now`` is never replaced by a failure of this program; only its reason says so.
    """
    attached = said["release"] != "not_attached"
    headline = Text("headline.no_signal" if attached or said["in_flight"] else "headline.read_the_gauge")
    release, release_reason = "do_not_release", Text("release.load_lost")
    if said["release"] == "cannot_tell":
        release, release_reason = "cannot_tell", Text("release.no_cell")
    standing = said["call"] == "land_now" and reason == "reason.engine_fault"
    silenced = {
        "call": "no_signal",
        "headline": say(headline),
        "headline_text": text_dict(headline),
    }
    return {
        **said,
        **({} if standing else silenced),
        "time": round(utc_s, 3),
        "reason": say(Text(reason)),
        "reason_text": text_dict(Text(reason)),
        "release": release,
        "release_words": say(Text(f"release.{release}")),
        "release_words_text": text_dict(Text(f"release.{release}")),
        "release_reason": say(release_reason),
        "release_reason_text": text_dict(release_reason),
        "load": {**said["load"], "kg": None},
        "holding": None,
        "seal_tests": dict.fromkeys(said["seal_tests"]),
        "circuits": {name: _muted_circuit(circuit, said, utc_s) for name, circuit in said["circuits"].items()},
    }


def _muted_circuit(circuit: dict[str, Any], said: dict[str, Any], utc_s: float) -> dict[str, Any]:
    age_s = None if circuit["age_s"] is None else circuit["age_s"] + max(0.0, utc_s - said["time"])
    text = Text("circuit.never") if age_s is None else Text("circuit.no_reading", {"age_s": age_s})
    unknown: dict[str, Any] = dict.fromkeys(("leak_kpa_per_min", "to_warning_s", "reserve_s"))
    return {
        **circuit,
        **unknown,
        "state": "no_reading",
        "age_s": None if age_s is None else round(age_s, 2),
        "falling": False,
        "text": text_dict(text),
        "words": say(text),
    }
