"""The topics of one site: ``<root>/<site>/<lifter>/<leaf>`` and the engine's own."""

import re
from dataclasses import dataclass
from typing import Final

LEAVES: Final = frozenset({"readings", "status", "alarms", "lifts", "connection", "actions"})
"""Last levels of a lifter's topics. ``actions`` exists in recordings only, never on the broker."""

ID: Final = re.compile(r"[A-Za-z0-9_-]{1,64}")
"""What a site, lifter, circuit or gauge may be called (the settings refuse anything else)."""


@dataclass(frozen=True, slots=True)
class Topics:
    """Builds and takes apart the topics of one site. ``root`` may have several levels, ``site`` is one."""

    root: str
    site: str

    def __post_init__(self) -> None:
        """Refuse a root or site that would not stay one fixed beginning.

        Raises:
            ValueError: An empty level, a wildcard or a control character in the root, or a site that is no id.
        """
        if not all(self.root.split("/")) or not self.root.isprintable() or set(self.root) & set("+#"):
            raise ValueError(f"root is {self.root!r}; it must be topic levels parted by /, none empty, without + and #")
        if not ID.fullmatch(self.site):
            raise ValueError(f"site is {self.site!r}; it must be 1 to 64 letters, digits, - and _")

    def reading(self, lifter: str) -> str:
        """Readings in."""
        return f"{self.root}/{self.site}/{lifter}/readings"

    def status(self, lifter: str) -> str:
        """Status out, retained."""
        return f"{self.root}/{self.site}/{lifter}/status"

    def alarms(self, lifter: str) -> str:
        """Alarm changes out."""
        return f"{self.root}/{self.site}/{lifter}/alarms"

    def lifts(self, lifter: str) -> str:
        """Finished lifts out."""
        return f"{self.root}/{self.site}/{lifter}/lifts"

    def connection(self, lifter: str) -> str:
        """The sender's retained ``online`` or ``offline``: a hint, never proof."""
        return f"{self.root}/{self.site}/{lifter}/connection"

    def actions(self, lifter: str) -> str:
        """Operator actions, in recordings only."""
        return f"{self.root}/{self.site}/{lifter}/actions"

    @property
    def engine(self) -> str:
        """The engine's own retained ``online`` or ``offline``."""
        return f"{self.root}/{self.site}/engine"

    def subscriptions(self) -> list[str]:
        """What the engine listens to. Actions are not among them: any lifter's login could forge them."""
        return [self.reading("+"), self.connection("+")]

    def split(self, topic: str) -> tuple[str, str] | None:
        """Take a topic apart into (lifter, leaf); None for whatever is not a lifter's topic of this site."""
        beginning = f"{self.root}/{self.site}/"
        if not topic.startswith(beginning):
            return None
        lifter, _, leaf = topic[len(beginning) :].partition("/")
        return (lifter, leaf) if leaf in LEAVES and ID.fullmatch(lifter) else None
