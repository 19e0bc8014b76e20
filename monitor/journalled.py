"""What the engine takes in, as rows of the journal and back. A journal replayed gives the same states again.

Ticks are not rows: they stand at every whole half second between them. A message stands as the bytes that came; what
came from a source of the site file stands as the native reading that was made of it.
"""

from dataclasses import replace
from typing import Any, Final

import msgspec

from monitor.actions import action_of
from monitor.core.events import (
    ActionCame,
    ClockSet,
    ConnectionSaid,
    Event,
    LastLifts,
    LinkChanged,
    MessagesLost,
    ReadingCame,
    Resumed,
    StoreSaid,
    UnreadableCame,
)
from monitor.core.intake import News
from monitor.core.readings import Reading, Rejected
from monitor.wire.inbox import Ask, Came, Online
from monitor.wire.joining import Old
from monitor.wire.mapping import Unreadable
from monitor.wire.reading_json import decode_reading, encode_reading

READING: Final = "reading"
RETAINED: Final = "retained"
UNREADABLE: Final = "unreadable"
LATE: Final = "late"
DOUBLED: Final = "doubled"
ACTION: Final = "action"
RESUMED: Final = "resumed"
JUDGED: Final = "judged"
"""A row for the trace, not for the engine: what was called just then."""

_VALUES: Final = {
    "link": LinkChanged,
    "connection": ConnectionSaid,
    "lost": MessagesLost,
    RESUMED: Resumed,
    "clock": ClockSet,
    "store": StoreSaid,
    "last_lifts": LastLifts,
}
_KINDS: Final = {kind: name for name, kind in _VALUES.items()}
_OLD: Final = {News.LATE: LATE, News.DOUBLED: DOUBLED, News.RETAINED: RETAINED}
_NEWS: Final = {LATE: News.LATE, DOUBLED: News.DOUBLED}


def message_event(payload: bytes, lifter: str, *, retained: bool) -> tuple[str, ReadingCame | UnreadableCame]:
    """The event of a message on a lifter's ``readings`` topic, and the kind of its row; the row's payload is the message."""
    found = decode_reading(payload, lifter=lifter)
    if isinstance(found, Rejected):
        return UNREADABLE, UnreadableCame(lifter, found, retained)
    return (RETAINED if retained else READING), ReadingCame(found, retained)


def came_row(came: Came, message: bytes) -> tuple[str, str, bytes] | None:
    """Kind, lifter and payload of the row for what came from a source in ``message``; ``event_of`` makes its event.

    None for what is nobody's, or is no event: ``Ask`` is to be sent.
    """
    match came:
        case Reading():
            return READING, came.lifter, encode_reading(came)
        case Old(reading, news):
            return _OLD[news], reading.lifter, encode_reading(reading)
        case Online(lifter, _):
            return row_of(ConnectionSaid(lifter, came.online))
        case MessagesLost():
            return row_of(came)
        case Unreadable(lifter, _):
            return None if lifter is None else (UNREADABLE, lifter, message)
        case Ask():
            return None


def row_of(event: Event) -> tuple[str, str, bytes]:
    """Kind, lifter and payload of the row for any other event."""
    if isinstance(event, ActionCame):
        return ACTION, event.action.lifter, msgspec.json.encode(event.action)
    return _KINDS[type(event)], getattr(event, "lifter", ""), msgspec.json.encode(event)


def event_of(kind: str, lifter: str, payload: bytes) -> Event | None:
    """The event of a row; None for rows that are none.

    Raises:
        ValueError: The row cannot be read.
    """
    if kind in (READING, RETAINED, UNREADABLE, *_NEWS):
        _, event = message_event(payload, lifter, retained=kind == RETAINED)
        if isinstance(event, UnreadableCame):
            return event
        if kind == UNREADABLE:  # by its source, whatever else it may look like
            return UnreadableCame(lifter, Rejected("wrong_shape", "by its source"))
        return replace(event, judged=_NEWS.get(kind))
    if kind == ACTION:
        action = action_of(msgspec.json.decode(payload, type=dict[str, Any]))
        if action is None:
            raise ValueError("not an action this program knows")
        return ActionCame(action)
    if kind in _VALUES:
        other: Event = msgspec.json.decode(payload, type=_VALUES[kind])
        return other
    return None
