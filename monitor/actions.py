"""An operator's act as it comes from a page or stands in a recording, checked; pure."""

from collections.abc import Mapping
from typing import Annotated, Any

import msgspec

from monitor.core.events import Action, ActionKind

Name = Annotated[str, msgspec.Meta(max_length=100)]


class _Said(msgspec.Struct):
    id: Annotated[str, msgspec.Meta(min_length=1, max_length=100)]
    kind: ActionKind
    lifter: Name
    who: Name = ""
    role: Name = ""
    params: dict[str, Any] = {}


def action_of(said: Mapping[str, object], **more: object) -> Action | None:
    """The action that JSON ``said``, with ``more`` in place of what it says; None when it is none this program knows.

    Check: ``{"id": "a1", "kind": "surface", "lifter": "dock-6", "params": {"surface": "wet"}}`` is one, by nobody named.
    """
    try:
        found = msgspec.convert({**said, **more}, _Said)
    except msgspec.ValidationError:
        return None
    return Action(found.id, found.kind, found.lifter, found.who, found.role, found.params)
