"""Keeps ``monitor/words/CODE.po`` in the order of the English: ``python -m tests.translations [CODE]``.

Every key gets its entry; what is new, or whose English changed, is left empty for a translator, with the old words in a
comment. A new CODE begins a new file. Nothing else has to be changed for a new language.
"""

import sys
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po

from monitor.languages import SOURCE, languages
from monitor.words.english import TEMPLATES
from monitor.words.plural import Plural

WORDS = Path(__file__).parents[1] / "monitor" / "words"


def update(language: str) -> list[str]:
    """Write the file again; return the keys without words."""
    path = WORDS / f"{language}.po"
    old = {}
    if path.exists():
        with path.open("rb") as file:
            old = {message.context: message for message in read_po(file, locale=language) if message.id}
    new = Catalog(
        locale=language, header_comment="# Words of Holdwatch. See tests/translations.py.", fuzzy=False, charset="utf-8"
    )
    missing = []
    for key, source in TEMPLATES.items():
        if source == "":
            continue
        id_ = (source.one, source.other) if isinstance(source, Plural) else source
        before = old.get(key)
        keeps = before is not None and before.id == id_ and all(_forms(before.string))
        if not keeps:
            missing.append(key)
        was = [f"was: {' / '.join(_forms(before.string))}"] if before is not None and not keeps else []
        nothing = ("",) * new.num_plurals if isinstance(source, Plural) else ""
        new.add(id_, before.string if keeps and before else nothing, context=key, user_comments=was)
    with path.open("wb") as file:
        write_po(file, new, width=0, omit_header=False, sort_output=False)
    # The header's dates would differ with every run and in every branch.
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    dated = (
        '"POT-Creation-Date',
        '"PO-Revision-Date',
        '"Generated-By',
        '"Project-Id',
        '"Report-',
        '"Last-Tr',
        '"Language-Team',
    )
    path.write_text("".join(line for line in lines if not line.startswith(dated)), encoding="utf-8")
    return missing


def _forms(string: object) -> tuple[str, ...]:
    return (string,) if isinstance(string, str) else tuple(string)  # type: ignore[arg-type]


if __name__ == "__main__":
    for code in sys.argv[1:] or [name for name in languages() if name != SOURCE]:
        wanting = update(code)
        print(f"{code}: {len(wanting)} without words", *wanting, sep="\n  ")
