"""What the engine tells, as bytes: compact JSON in UTF-8, keys in the order given, every number finite."""

import json
from collections.abc import Mapping
from typing import Final

_ENCODER: Final = json.JSONEncoder(allow_nan=False, ensure_ascii=False, separators=(",", ":"))


def encode_status(status: Mapping[str, object]) -> bytes:
    """One status, alarm change or lift record for the broker.

    Raises:
        ValueError: A number is not finite, or a text cannot be written in UTF-8.
        TypeError: A value is none of JSON's.

    Check: ``{"a": 1.0, "b": None}`` gives ``{"a":1.0,"b":null}``.
    """
    return encode_json(status)


def encode_json(value: object) -> bytes:
    """Compact JSON of any value of JSON's; errors as ``encode_status``."""
    return _ENCODER.encode(value).encode()
