"""How one viewer of one site is told things: language, units, and the site's time of day."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, Final
from zoneinfo import ZoneInfo

from monitor.core.messages import Text, Value
from monitor.words.english import TEMPLATES
from monitor.words.languages import ENGLISH, Speaker
from monitor.words.quantities import Unit, localised, number_and_unit, say_value, unit_of
from monitor.words.say import say as say_text
from monitor.words.say import say_told

UTC: Final = ZoneInfo("UTC")


def say(key: str, speaker: Speaker = ENGLISH, **values: Value) -> str:
    """The words for a key, values put in by name, in the viewer's units."""
    return say_text(Text(key, values), speaker)


def zone_of(site: Mapping[str, Any]) -> ZoneInfo:
    """The site's time zone, UTC before the engine said which."""
    return ZoneInfo(site.get("time_zone", "UTC"))


@dataclass(frozen=True, slots=True)
class Voice:
    """A viewer's language and units, and the site's time zone."""

    speaker: Speaker = ENGLISH
    zone: ZoneInfo = UTC

    def say(self, key: str, **values: Value) -> str:
        """The words for a key."""
        return say(key, self.speaker, **values)

    def told(self, status: Mapping[str, Any], name: str, text: str | None = None) -> str:
        """What a status says under ``name``: in English as it stands there, else from the text beside it.

        A text that can't be said, as of a newer engine, falls back to English: words missing would be worse.
        """
        words = str(status[name])
        if self.speaker == ENGLISH:
            return words
        try:
            return say_told(status[text or f"{name}_text"], self.speaker)
        except (KeyError, TypeError):
            return words

    def named(self, table: str, word: str) -> str:
        """A fixed word of the interface, such as an alarm's key; as it stands when these words do not know it."""
        key = f"{table}.{word}"
        return self.say(key) if key in TEMPLATES else word

    def value(self, name: str, value: Value) -> str:
        """One value with its unit, by its name's suffix."""
        return say_value(name, value, self.speaker)

    def number_and_unit(self, name: str, value: float) -> tuple[str, str]:
        """Number and unit apart."""
        return number_and_unit(name, value, self.speaker)

    def unit(self, name: str) -> Unit:
        """The unit a value is shown in, by its name's suffix."""
        return unit_of(name, self.speaker)

    def decimal_mark(self) -> str:
        """What stands before the decimals, in the viewer's locale."""
        return self.value("_v", 0.5)[1]

    def figure(self, value: float) -> str:
        """A number of a table, three digits that count and four places at most. Check: 0.05961 is "0.0596"."""
        digits = f"{Decimal(f'{round(value, 4) + 0.0:.3g}'):f}"
        return localised(digits, self.speaker.locale)

    def day(self, at_utc_s: float | None) -> str:
        """A day at the site, as ISO 8601 writes it."""
        return "–" if at_utc_s is None else f"{datetime.fromtimestamp(at_utc_s, self.zone):%Y-%m-%d}"

    def clock(self, at_utc_s: float) -> str:
        """Time of day at the site. Check: 0 in UTC is 00:00:00."""
        return f"{datetime.fromtimestamp(at_utc_s, self.zone):%H:%M:%S}"
