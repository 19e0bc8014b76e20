"""The languages there are. English stands in the code; every other one is one file beside this, ``CODE.po`` (gettext).

Each entry names its key as context (``msgctxt``) and repeats the English it was made from (``msgid``): where the English
changes, the old translation no longer counts, English is shown, and a test says so.
"""

import gettext
import io
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Final

from monitor.languages import SOURCE, languages
from monitor.words.english import TEMPLATES
from monitor.words.plural import Plural, Template

__all__ = ["ENGLISH", "SOURCE", "Speaker", "is_translated", "languages", "own_name", "template"]


@dataclass(frozen=True, slots=True)
class Speaker:
    """How one viewer is spoken to.

    Attributes:
        language: One of ``languages()``.
        units: ``metric`` or ``us``.
        locale: Whose decimal mark counts, such as ``es_MX``; a locale of that language.
    """

    language: str = SOURCE
    units: str = "metric"
    locale: str = SOURCE


ENGLISH: Final = Speaker()
"""What the interface's ``words`` are said in, byte for byte."""


@cache
def own_name(language: str) -> str:
    """What a language calls itself. Check: "es" is "Español"."""
    from babel import Locale  # loaded only where pages are shown

    name = Locale.parse(language).get_display_name(language) or language
    return name[:1].upper() + name[1:]


def template(key: str, language: str, count: float | None = None) -> str:
    """The template of a key in a language; of a plural, the form for ``count``.

    Raises:
        KeyError: There is no such key.
    """
    source = TEMPLATES[key]
    if isinstance(source, Plural):
        if language == SOURCE:
            return source.one if count == 1 else source.other
        whole = 0 if count is None else round(count)
        return catalogue(language).npgettext(key, source.one, source.other, whole)
    return source if language == SOURCE else catalogue(language).pgettext(key, source)


def is_translated(key: str, language: str) -> bool:
    """Whether a language has its own words for a key, made from the English of today."""
    source: Template = TEMPLATES[key]
    if language == SOURCE or source == "":
        return True
    msgid = source.one if isinstance(source, Plural) else source
    found = _entries(language).get((key, msgid))
    return found is not None and all(found)


@cache
def catalogue(language: str) -> gettext.GNUTranslations:
    """One language's file, read once.

    Raises:
        FileNotFoundError: There is no such language.
        babel.messages.pofile.PoFileError: The file can't be read.
    """
    from babel.messages.mofile import write_mo

    compiled = io.BytesIO()
    write_mo(compiled, _read(language))
    compiled.seek(0)
    return gettext.GNUTranslations(compiled)


def _read(language: str):  # type: ignore[no-untyped-def]
    from babel.messages.pofile import read_po

    with files("monitor.words").joinpath(f"{language}.po").open("rb") as file:
        return read_po(file, locale=language, abort_invalid=True)


@cache
def _entries(language: str) -> Mapping[tuple[str, str], tuple[str, ...]]:
    """Key and English to the translated forms."""
    found = {}
    for message in _read(language):
        if message.id:
            msgid = message.id if isinstance(message.id, str) else message.id[0]
            forms = (message.string,) if isinstance(message.string, str) else tuple(message.string)
            found[message.context or "", msgid] = forms
    return found
