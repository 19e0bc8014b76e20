"""Vacuum lost suddenly: within two seconds, or since the reading before of a circuit heard less often, at whatever hour."""

import pytest

from monitor.core import lifter
from tests.unit.core.test_lifter_readings import bare, hear, tell

FROM_S = 5000.0


@pytest.mark.parametrize(
    ("said", "told_s", "lost_kpa"),
    [
        pytest.param([(0.0, 64.0), (0.5, 63.0), (1.0, 62.0)], 1.0, 2.0, id="the highest of the last two seconds"),
        pytest.param([(0.0, 64.0), (0.5, 63.0), (1.0, 62.0)], 2.3, 1.0, id="the first is older by now"),
        pytest.param([(0.0, 64.0), (2.5, 61.0)], 2.5, 3.0, id="since the reading before"),
        pytest.param([(0.0, 64.0), (3.0, 61.0)], 3.0, 3.0, id="just as long before as it may be silent"),
        pytest.param([(0.0, 64.0), (3.1, 61.0)], 3.1, 0.0, id="after a silence nothing is known of it"),
        pytest.param([(0.0, 66.0), (0.5, 64.0), (1.5, 62.0)], 3.0, 2.0, id="the one before, not the one before that"),
        pytest.param([(0.0, 64.0), (2.5, 61.0)], 4.6, 0.0, id="over two seconds ago"),
        pytest.param([(0.0, 0.2)], 2.1, 0.0, id="an open circuit has nothing to lose"),
    ],
)
def test_vacuum_lost_is_told_for_two_seconds(said: list[tuple[float, float]], told_s: float, lost_kpa: float) -> None:
    state = lifter.begin(bare())
    for at_s, kpa in said:
        hear(state, FROM_S + at_s, vacuum_kpa={"A": kpa, "B": 64.0})
    assert tell(state, FROM_S + told_s).circuits["A"].lost_kpa == pytest.approx(lost_kpa)
