"""A template whose words follow a number."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Plural:
    """English has two forms; other languages have as many as their file says. The number is the value ending in ``_n``."""

    one: str
    other: str


Template = str | Plural
