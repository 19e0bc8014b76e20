"""A message: a key and SI values, never prose. ``monitor.words`` says it in a language and in units."""

from collections.abc import Mapping
from dataclasses import dataclass, field

Value = float | int | str | None


@dataclass(frozen=True, slots=True)
class Text:
    """One thing to be said. Value names end in their unit (``early_s``, ``vacuum_kpa``), so words know how to print them."""

    key: str
    values: Mapping[str, Value] = field(default_factory=dict)
