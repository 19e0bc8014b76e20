"""Everything that comes from sources of the site file: messages in, readings of Holdwatch's own kind out."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from monitor.core.events import MessagesLost
from monitor.core.intake import Intake
from monitor.core.readings import Reading, Rejected
from monitor.core.sources import Format, Source
from monitor.wire.by_name import Named, parts_by_name
from monitor.wire.joining import Joiner, Old, gauges_of
from monitor.wire.mapping import Part, Route, Unreadable, read_message
from monitor.wire.reading_json import EARLIEST_UTC_S
from monitor.wire.senml import read_senml
from monitor.wire.sparkplug import (
    ASK_AGAIN_S,
    NAMESPACE,
    Host,
    Lives,
    Missed,
    Told,
    decode_payload,
    encode_rebirth,
)

_NODE_LEVELS_N: Final = 4


@dataclass(frozen=True, slots=True)
class Online:
    """A device's session began or ended: a hint, never proof."""

    lifter: str
    online: bool


@dataclass(frozen=True, slots=True)
class Ask:
    """A message to send: the request for a rebirth, where the site file allows it."""

    topic: str
    payload: bytes


Came = Reading | Old | MessagesLost | Unreadable | Online | Ask


class Inbox:
    """Takes the messages of all sources. Reads no clock; nothing it is given makes it raise."""

    def __init__(
        self,
        sources: Sequence[Source],
        circuits: Mapping[str, tuple[str, ...]],
        streams: dict[tuple[str, str], Intake] | None = None,
    ) -> None:
        """Take the sources, each lifter's circuits, and what is remembered of each topic (the engine's, to be kept)."""
        self.routes = [Route(source) for source in sources]
        self.joiner = Joiner(circuits, gauges_of(tuple(sources)), {} if streams is None else streams)
        self.missed: dict[str, int] = {}
        self.unknown_lifters_n = 0
        self._filters = self._wanted()
        self._host = Host()
        self._asked_s: dict[str, float] = {}

    def subscriptions(self) -> list[str]:
        """MQTT filters to subscribe to."""
        return list(self._filters)

    def _wanted(self) -> list[str]:
        """Filters, each topic by one of them; of a Sparkplug device also its node's, whose birth and death count for it."""
        filters = [route.subscription for route in self.routes]
        for route in self.routes:
            levels = route.subscription.split("/")
            if route.source.format is Format.SPARKPLUG and len(levels) > _NODE_LEVELS_N:
                filters.append("/".join(levels[:_NODE_LEVELS_N]))
        # A broker may send a message once for each filter it fits: what another filter takes in is not asked for again.
        wanted = dict.fromkeys(filters)
        return [one for one in wanted if not any(_takes_in(other, one) for other in wanted if other != one)]

    def knows(self, topic: str) -> bool:
        """Whether a topic is one of the sources'."""
        return any(_takes_in(one, topic) for one in self._filters)

    def time_of(self, topic: str, payload: bytes) -> float | None:
        """The newest time in a message by its sender's clock, UTC epoch seconds; None where it says none."""
        times: list[float | None] = []
        for route in self.routes:
            if route.place(topic) is None:
                continue
            try:
                if route.source.format is Format.SPARKPLUG:
                    times.append(decode_payload(payload).time_utc_s)
                elif route.source.format is Format.SENML:
                    times += [record.time_s for record in read_senml(payload, now_utc_s=0.0)]
                else:
                    parts = read_message(route, topic, payload)
                    times += [part.sent_utc_s for part in parts if isinstance(part, Part)]
            except ValueError:
                continue  # said when it is taken
        return max((at for at in times if at is not None and at >= EARLIEST_UTC_S), default=None)

    def take(self, topic: str, payload: bytes, *, now_s: float, now_utc_s: float, retained: bool = False) -> list[Came]:
        """What comes of one message: readings, or why there is none. Empty for a topic that is no source's."""
        came: list[Came] = []
        if topic.startswith(f"{NAMESPACE}/") and any(route.source.format is Format.SPARKPLUG for route in self.routes):
            return self._sparkplug(topic, payload, now_s, now_utc_s, retained)
        for route in self.routes:
            if route.source.format is Format.SENML:
                parts = self._senml(route, topic, payload, now_utc_s)
            elif route.source.format is Format.SPARKPLUG:
                continue
            else:
                parts = read_message(route, topic, payload)
            came += [part for part in parts if isinstance(part, Unreadable)]
            told = [part for part in parts if isinstance(part, Part)]
            came += self._join(told, now_s, now_utc_s, retained=retained)
        return came

    def due(self, now_s: float) -> list[Reading]:
        """Readings that time alone brings out; to be asked at every tick."""
        return self.joiner.due(now_s)

    def _senml(self, route: Route, topic: str, payload: bytes, now_utc_s: float) -> Sequence[Part | Unreadable]:
        place = route.place(topic)
        if place is None:
            return []
        if isinstance(place, Unreadable):
            return [place]
        try:
            records = read_senml(payload, now_utc_s=now_utc_s)
        except ValueError as error:
            return [Unreadable(place["lifter"], Rejected("wrong_shape", re.sub(r"\s+", " ", str(error))[:200]))]
        items = [Named(item.name, item.unit, item.value, item.time_s) for item in records if item.value is not None]
        return parts_by_name(route.source, place, topic, items)

    def _sparkplug(self, topic: str, payload: bytes, now_s: float, now_utc_s: float, retained: bool) -> list[Came]:
        if retained:
            return []  # Sparkplug births, data and deaths are never retained: a leftover is somebody's mistake
        routes = [(route, route.place(topic)) for route in self.routes if route.source.format is Format.SPARKPLUG]
        try:
            events = self._host.take(topic, payload)
        except ValueError as error:
            places = [place for _, place in routes if place is not None and not isinstance(place, Unreadable)]
            return [Unreadable(place["lifter"], Rejected("wrong_shape", str(error)[:200])) for place in places]
        came: list[Came] = []
        for event in events:
            if isinstance(event, Missed):
                self.missed[event.reason] = self.missed.get(event.reason, 0) + 1
                lifters = [place["lifter"] for _, place in routes if isinstance(place, dict)]
                came += [MessagesLost(lifter, event.n) for lifter in dict.fromkeys(lifters) if event.n]
                came += self._ask(event.node, now_s, now_utc_s)
                continue
            for route, place in routes:
                if isinstance(place, Unreadable):
                    came.append(place)
                elif place is not None and isinstance(event, Lives):
                    came.append(Online(place["lifter"], event.online))
                elif place is not None and isinstance(event, Told):
                    past = parts_by_name(route.source, place, topic, event.historical)
                    if self._is_known(past):
                        came += self.joiner.late(past, now_s, now_utc_s)
                    came += self._join(parts_by_name(route.source, place, topic, event.items), now_s, now_utc_s)
        return came

    def _join(
        self, parts: Sequence[Part], now_s: float, now_utc_s: float, *, retained: bool = False
    ) -> list[Reading | Old | MessagesLost]:
        if not self._is_known(parts):
            return []
        return self.joiner.take(parts, now_s, now_utc_s, retained=retained)

    def _is_known(self, parts: Sequence[Part]) -> bool:
        if parts and parts[0].lifter not in self.joiner.circuits:
            self.unknown_lifters_n += 1
            return False
        return True

    def _ask(self, node: str, now_s: float, now_utc_s: float) -> list[Ask]:
        allowed = any(route.source.ask_rebirth for route in self.routes)
        if not allowed or now_s - self._asked_s.get(node, -ASK_AGAIN_S) < ASK_AGAIN_S:
            return []
        self._asked_s[node] = now_s
        group, edge = node.split("/")
        return [Ask(f"{NAMESPACE}/{group}/NCMD/{edge}", encode_rebirth(now_utc_s))]


def _takes_in(one: str, other: str) -> bool:
    """Whether a filter takes in everything another filter (or a topic) does. Check: a/# takes in a, a/+ and a/b/c."""
    levels, others = one.split("/"), other.split("/")
    if levels[-1] == "#":
        levels = levels[:-1]
        others = others[: len(levels)]
    elif "#" in others:
        return False
    return len(levels) == len(others) and all(
        a == b or (a == "+" and b != "#") for a, b in zip(levels, others, strict=True)
    )
