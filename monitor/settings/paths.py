"""Where a value stands in a message, as a site file writes it, taken apart."""

import re
from collections.abc import Sequence
from typing import Final

from monitor.core.sources import BinaryField, Pick, Step

BINARY_TYPES: Final = {
    "u8": ("B", 1), "i8": ("b", 1), "u16": ("H", 2), "i16": ("h", 2), "u32": ("I", 4), "i32": ("i", 4),
    "u64": ("Q", 8), "i64": ("q", 8), "f32": ("f", 4), "f64": ("d", 8), "u24": ("u24", 3), "i24": ("i24", 3),
    "u32sw": ("sI", 4), "i32sw": ("si", 4), "f32sw": ("sf", 4),
}  # fmt: skip
MOST_BYTES: Final = 4096

_KEY: Final = r'(?:[^\s."\[\]=]+(?: +[^\s."\[\]=]+)*|"[^"]*")'
_STEP: Final = re.compile(
    rf"\[(?P<place>-?[0-9]{{1,6}})\]|\[(?P<by>{_KEY})=(?P<value>[^\[\]]*)\]|(?P<dot>\.)?(?P<key>{_KEY})"
)


def split_path(text: str) -> tuple[Step, ...]:
    """Take a path into JSON apart.

    Raises:
        ValueError: It is no path; the message says where it goes wrong.

    Check: ``data.list[name=vac 1]."odd.key"[-1]`` gives data, list, the pick of name vac 1, odd.key, -1.
    """
    steps: list[Step] = []
    position = 0
    while position < len(text):
        step = _STEP.match(text, position)
        # Between two keys there is a dot; before the first and before a bracket there is none.
        if step is None or (step["key"] is not None and bool(step["dot"]) is (position == 0)):
            raise ValueError(f"it is no path from {text[position:]!r} on")
        if step["place"] is not None:
            steps.append(int(step["place"]))
        elif step["by"] is not None:
            steps.append(Pick(_bare(step["by"]), _bare(step["value"])))
        else:
            steps.append(_bare(step["key"]))
        position = step.end()
    return tuple(steps)


def split_fields(texts: Sequence[str]) -> tuple[tuple[BinaryField, ...], int]:
    """Lay the fields of a binary payload out one after the other.

    Returns:
        The fields, and the size of the whole payload in bytes.

    Raises:
        ValueError: A field is not "TYPE NAME" or "skip BYTES", or a name comes twice.

    Check: "u16 count", "skip 1", "i16 a" puts a at byte 3 of 5.
    """
    fields: list[BinaryField] = []
    start = 0
    for text in texts:
        kind, _, name = text.partition(" ")
        if kind == "skip" and re.fullmatch("[0-9]{1,4}", name):
            start += int(name)
        elif kind in BINARY_TYPES and re.fullmatch("[A-Za-z0-9_-]{1,64}", name):
            if any(field.name == name for field in fields):
                raise ValueError(f"it names {name} twice")
            code, size = BINARY_TYPES[kind]
            fields.append(BinaryField(name, code, start))
            start += size
        else:
            raise ValueError(
                f'"{text}" is no field; write a type ({", ".join(BINARY_TYPES)}) and a name, or skip and bytes'
            )
        if start > MOST_BYTES:
            raise ValueError(f"it is longer than {MOST_BYTES} bytes")
    return tuple(fields), start


def _bare(text: str) -> str:
    return text[1:-1] if len(text) > 1 and text[0] == text[-1] == '"' else text
