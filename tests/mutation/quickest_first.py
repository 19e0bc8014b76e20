"""A pytest plugin for the tests of one mutant: the quickest first, so that most mutants die within a moment.

How long each test takes is what mutmut measured on the tree as it is, before the first mutant.
"""

import pytest
from mutmut.state import state


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    taken_s = state().duration_by_test
    items.sort(key=lambda item: taken_s.get(item.nodeid, 0.0))
