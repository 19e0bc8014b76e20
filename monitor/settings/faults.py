"""What is wrong in a site file: where, what was found, what is allowed, what to do."""

import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Final

from monitor.settings.table import Key

LONGEST_FOUND: Final = 60

_SLIPS: Final = {  # factor from what people write instead, likeliest first; the plain ones are a slipped point
    "kPa": (0.1, 100.0, 10.0, 0.01, 0.001),  # mbar; bar or a ratio; Pa
    "s": (60.0, 0.001, 0.1, 10.0),  # minutes; milliseconds
    "kg": (1000.0, 0.001, 0.1, 10.0),  # tonnes; grams
    "ratio": (0.01, 0.1, 10.0),  # per cent
    "mm": (1000.0, 10.0, 0.1),  # metres; centimetres
    "cm2": (0.01, 10_000.0, 0.1, 10.0),  # mm2; m2
    "V": (0.001, 0.1, 10.0),  # mV
    "GB": (0.001, 0.1, 10.0, 1000.0),  # MB; TB
}


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong: ``where`` names lifter, circuit and key, ``says`` what was found and is allowed."""

    where: str
    says: str
    hint: str = ""

    def __str__(self) -> str:
        """One line without the file's name."""
        return " ".join(filter(None, (f"{self.where} {self.says}".strip(), self.hint)))


class SiteError(ValueError):
    """A site file that cannot be used. ``str()`` lists every fault found, one a line."""

    def __init__(self, name: str, faults: Sequence[Fault]) -> None:
        """Take the file's name and all its faults."""
        self.name = name
        self.faults = tuple(faults)
        lines = [f"{name}: {fault}" for fault in faults]
        super().__init__("\n".join([*lines, "Nothing was started. `/help/settings` explains each key."]))


def found_text(found: object) -> str:
    """A value as it would stand in the file, on one line and shortened."""
    if isinstance(found, bool):
        return "true" if found else "false"
    if isinstance(found, str):
        text = json.dumps(found, ensure_ascii=not found.isprintable())
    elif isinstance(found, dict):
        text = "a table"
    elif isinstance(found, list | tuple):
        text = "a list"
    elif isinstance(found, int) and found.bit_length() > 64:
        text = f"a whole number of {found.bit_length()} bits"
    else:
        text = str(found)
    return text if len(text) <= LONGEST_FOUND else text[:LONGEST_FOUND] + " ..."


def number_text(value: float) -> str:
    """A limit of a range: whole numbers without a point."""
    return str(int(value)) if float(value).is_integer() else repr(value)


def allowed_text(key: Key) -> str:
    """What may stand behind a key, to follow "it must"."""
    if key.words:
        return "be " + " or ".join(found_text(word) for word in key.words)
    if key.low is None or key.high is None:
        return f"be {'an' if key.kind == 'id' else 'a'} {key.kind}" if key.kind != "true or false" else f"be {key.kind}"
    unit = f" ({key.unit})" if key.unit and key.unit != "ratio" else ""
    return f"lie in {number_text(key.low)} to {number_text(key.high)}{unit}"


def did_you_mean(text: str | None) -> str:
    """The hint for a guess, or nothing."""
    return f"Did you mean {text}?" if text else ""


def nearest(found: str, known: Iterable[str]) -> str | None:
    """The known word most like the one found, if any is like it; a beginning counts as like it."""
    by_fold = {word.casefold(): word for word in known}
    fold = found.casefold()
    begun = [word for word in by_fold if len(fold) > 1 and word.startswith(fold)]
    close = begun if len(begun) == 1 else get_close_matches(fold, by_fold, n=1, cutoff=0.6)
    return by_fold[close[0]] if close else None


def slipped(found: float, key: Key) -> str | None:
    """The number probably meant by one outside its range: sign, decimal point or unit slipped.

    Check: 520.0 for a circuit's ``warning_kpa`` (5 to 95 kPa) gives "52.0"; 4 for ``time_to_land_s`` gives "240".
    """
    if not math.isfinite(found) or key.low is None or key.high is None:
        return None
    for factor in (1.0, *_SLIPS.get(key.unit.partition(" ")[0], (0.1, 10.0))):
        for sign in (1.0, -1.0):
            value = float(f"{found * factor * sign:.6g}")
            if value != found and value != 0.0 and key.low <= value <= key.high:
                return number_text(value) if isinstance(found, int) else repr(value)
    return None
