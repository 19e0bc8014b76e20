"""Who looks: the language and units of one viewer.

In this order: what was chosen on this device (a cookie); the site file's language where it names another than English;
what the browser asks for; English. Units: chosen on this device, else the site file's.
"""

from collections.abc import Mapping
from functools import lru_cache
from typing import Any, Final

from babel import Locale, UnknownLocaleError
from werkzeug.datastructures import LanguageAccept
from werkzeug.http import parse_accept_header, parse_cookie

from dashboards.words import Voice, zone_of
from monitor.words.languages import SOURCE, Speaker, languages
from monitor.words.quantities import SYSTEMS

LANGUAGE_COOKIE: Final = "holdwatch_language"
UNITS_COOKIE: Final = "holdwatch_units"


def speaker_of(cookie: str, accept_language: str, site: Mapping[str, Any]) -> Speaker:
    """How to speak to who sent these two headers.

    Args:
        cookie: The request's ``Cookie``, or ``""``.
        accept_language: Its ``Accept-Language``, or ``""``.
        site: The engine's greeting: ``language`` and ``units``.
    """
    return _speaker(cookie, accept_language, site.get("language", SOURCE), site.get("units", "metric"))


def voice_of(cookie: str, accept_language: str, site: Mapping[str, Any]) -> Voice:
    """The same, with the site's time of day: UTC before the engine said which."""
    return Voice(speaker_of(cookie, accept_language, site), zone_of(site))


@lru_cache(maxsize=256)
def _speaker(cookie: str, accept_language: str, site_language: str, site_units: str) -> Speaker:
    chosen = parse_cookie(cookie)
    asked = _asked(accept_language)
    site = site_language if site_language != SOURCE else None
    wanted = (chosen.get(LANGUAGE_COOKIE), site, *(locale.language for locale in asked), SOURCE)
    language = next(name for name in wanted if name in languages())
    units = chosen.get(UNITS_COOKIE, site_units)
    return Speaker(
        language=language,
        units=units if units in SYSTEMS else "metric",
        locale=_numbers_of(language, asked),
    )


def _numbers_of(language: str, asked: list[Locale]) -> str:
    """The language itself, unless the country asked for writes numbers in another way, as Mexico does in Spanish."""
    plain = Locale.parse(language)
    theirs = next((locale for locale in asked if locale.language == language), plain)
    return language if theirs.number_symbols == plain.number_symbols else str(theirs)


def _asked(accept_language: str) -> list[Locale]:
    """The locales a browser asks for, best first; what is no locale is left out."""
    found = []
    for tag, quality in sorted(parse_accept_header(accept_language, LanguageAccept), key=lambda one: -one[1]):
        try:
            if quality > 0:
                found.append(Locale.parse(tag, sep="-"))
        except (ValueError, UnknownLocaleError):
            continue
    return found


def next_of(now: str, every: tuple[str, ...]) -> str:
    """The choice a switch leads to."""
    return every[(every.index(now) + 1) % len(every)]
