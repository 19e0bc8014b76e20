"""What comes into the engine and what goes out of it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

from monitor.core.intake import News
from monitor.core.past_lifts import PastLifts
from monitor.core.readings import Reading, Rejected

if TYPE_CHECKING:
    from monitor.core.status import Status
    from monitor.core.summary import Summary


class ActionKind(StrEnum):
    """What a named person may tell the engine. None of these commands the lifter."""

    ACKNOWLEDGE = "acknowledge"  # params: raising
    RESET = "reset"  # params: raising; lets a latched alarm go once its cause is gone
    SHELVE = "shelve"  # params: raising, duration_s, reason
    UNSHELVE = "unshelve"  # params: raising
    OUT_OF_SERVICE = "out_of_service"  # params: alarm, about, reason
    IN_SERVICE = "in_service"  # params: alarm, about
    PLAN = "plan"  # params: weight_kg, layout, pads, tilt_low_deg, tilt_high_deg, rotation_..., wind_limit_m_s, ...
    PICKED_UP = "picked_up"  # no load cell: the load is on
    LANDED_FIXED = "landed_fixed"  # a named person says the panel is landed and fixed
    CONFIRM_FIXED = "confirm_fixed"  # logged; with a silent load cell ends the lift once every pad was let go
    SURFACE = "surface"  # params: surface ("wet" by anyone present, "dry" only by the supervisor)
    SEAL_TEST = "seal_test"  # params: test ("pre_pick" or "shift")
    END_SEAL_TEST = "end_seal_test"  # breaks off the test under way
    SERVICE_NOTE = "service_note"  # params: about, note


@dataclass(frozen=True, slots=True)
class Action:
    """An operator's act: what, on which lifter, by whom in which role."""

    id: str
    kind: ActionKind
    lifter: str
    who: str
    role: str
    params: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ReadingCame:
    """A decoded message arrived. A retained one is old news: it fills, but proves no one is alive.

    ``judged`` is what the wire found it to be where it alone can tell; the time of a late one is then UTC of this site.
    """

    reading: Reading
    retained: bool = False
    judged: News | None = None


@dataclass(frozen=True, slots=True)
class UnreadableCame:
    """A message arrived on a lifter's topic that could not be read."""

    lifter: str
    rejected: Rejected
    retained: bool = False


@dataclass(frozen=True, slots=True)
class Tick:
    """Engine time passed a whole multiple of 0.5 s."""


@dataclass(frozen=True, slots=True)
class ActionCame:
    """An action that is already on disk."""

    action: Action


@dataclass(frozen=True, slots=True)
class LinkChanged:
    """The connection to the broker came up or went down."""

    up: bool


@dataclass(frozen=True, slots=True)
class ConnectionSaid:
    """A lifter's `connection` topic said `online` or `offline`: a hint, never proof."""

    lifter: str
    online: bool


@dataclass(frozen=True, slots=True)
class MessagesLost:
    """A device's own count left ``n`` messages out, found where its messages are joined to readings."""

    lifter: str
    n: int


@dataclass(frozen=True, slots=True)
class Resumed:
    """The engine starts again after being down; everything not heard since ``down_since_s`` is a gap."""

    down_since_s: float


@dataclass(frozen=True, slots=True)
class ClockSet:
    """UTC minus engine time, s. Said at the start and whenever the system clock was stepped."""

    utc_minus_now_s: float


@dataclass(frozen=True, slots=True)
class StoreSaid:
    """How the store fares: writing or not, room left on the disk."""

    writing: bool
    free_ratio: float | None = None


@dataclass(frozen=True, slots=True)
class LastLifts:
    """What a lifter's last lifts took (from the store, at the start)."""

    lifter: str
    past: PastLifts


Event = (
    ReadingCame
    | UnreadableCame
    | Tick
    | ActionCame
    | LinkChanged
    | ConnectionSaid
    | MessagesLost
    | Resumed
    | ClockSet
    | StoreSaid
    | LastLifts
)


@dataclass(frozen=True, slots=True)
class Told:
    """The new status of a lifter. ``changed``: call, release, phase or an alarm changed, so it is told at once."""

    status: "Status"
    changed: bool


@dataclass(frozen=True, slots=True)
class FilledIn:
    """An old reading came after all: circuits' vacuum at ``at_s``, for the trend and never for the call."""

    lifter: str
    at_s: float
    vacuums: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class AlarmMoved:
    """An alarm of a lifter moved in its life cycle: written at once, published on `.../alarms`."""

    lifter: str
    raising: str
    key: str
    about: str
    # raised, returned, cleared, acknowledged; shelved, unshelved; suppressed, unsuppressed; out_of_service, in_service
    moved: str
    state: str
    at_s: float
    who: str = ""


@dataclass(frozen=True, slots=True)
class LiftClosed:
    """A lift ended: its record, to be written and published once."""

    lifter: str
    summary: "Summary"


@dataclass(frozen=True, slots=True)
class ActionAnswered:
    """What came of an action: done, or refused with a message key that says why."""

    action_id: str
    done: bool
    key: str


Effect = Told | FilledIn | AlarmMoved | LiftClosed | ActionAnswered
