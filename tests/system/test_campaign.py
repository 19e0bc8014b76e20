"""Faults done to the real processes: nothing answered or recorded is lost, nothing better is said than is known."""

from pathlib import Path
from typing import Any

import pytest

from tests.campaign.__main__ import is_good, row
from tests.campaign.faults import FAULTS

pytestmark = pytest.mark.system

IN_EVERY_RUN = (
    "engine killed",
    "disk full",
    "write half done",
    "trace half written",
    "clock stepped by an hour",
    "line cut, frozen, slow, narrow",
    "page left in the dark",
)


def _marks(name: str) -> list[pytest.MarkDecorator]:
    return [pytest.mark.browser] if name.startswith("page") else []


CASES = [
    *(pytest.param(name, FAULTS[name][1], id=name, marks=_marks(name)) for name in IN_EVERY_RUN),
    *(
        pytest.param(name, many_n, id=f"{name}, many", marks=[pytest.mark.long, *_marks(name)])
        for name, (_, _, many_n) in FAULTS.items()
    ),
]


@pytest.mark.parametrize(("name", "times"), CASES)
def test_fault_is_survived_and_nothing_is_lost(name: str, times: int, tmp_path: Path, record_property: Any) -> None:
    outcome = FAULTS[name][0](tmp_path, times, 1)
    print(f"\n{row(name, outcome)} {outcome.note}")
    record_property("outcome", vars(outcome))
    assert outcome.tried_n >= times
    assert is_good(outcome), outcome
