"""Statuses as bytes: compact, in order, and never a number that is not one."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.readings import Pump
from monitor.wire.status_json import encode_status


def test_keys_keep_their_order_and_nothing_is_padded() -> None:
    assert encode_status({"version": 1, "b": None, "a": [1.5, "é"], "c": {"x": True}}) == (
        '{"version":1,"b":null,"a":[1.5,"é"],"c":{"x":true}}'.encode()
    )


def test_words_of_an_enumeration_are_written_as_words() -> None:
    assert encode_status({"pump": Pump.OFF}) == b'{"pump":"off"}'


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_number_that_is_not_finite_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="JSON compliant"):
        encode_status({"circuits": {"A": {"vacuum_kpa": value}}})


def test_text_that_is_not_unicode_is_refused() -> None:
    with pytest.raises(ValueError, match="surrogates"):
        encode_status({"name": "\ud800"})


def test_value_that_is_not_jsons_is_refused() -> None:
    with pytest.raises(TypeError):
        encode_status({"a": object()})


TEXT = st.text(st.characters(exclude_categories=["Cs"]))
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | TEXT,
    lambda inner: st.lists(inner) | st.dictionaries(TEXT, inner),
    max_leaves=10,
)


@settings(deadline=None)
@given(st.dictionaries(TEXT, VALUES))
def test_what_was_told_comes_back(status: dict[str, object]) -> None:
    told = encode_status(status)
    assert json.loads(told) == status
    assert list(json.loads(told)) == list(status)
    assert b"\n" not in told
