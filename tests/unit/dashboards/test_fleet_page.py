"""The fleet page: every lifter of every site, those that need attention first whatever site they are of."""

import re
from dataclasses import replace

from dashboards.pages import fleet
from dashboards.pages.written import written
from dashboards.trend_desk import Caring
from monitor.care import Care
from monitor.core.lifter_trends import follow
from monitor.core.maintenance import Figure, Item
from monitor.core.messages import Text
from tests.trend_histories import UNTIL_UTC_S, columns, demo_site, history

LIFTS = columns(history(1, 30, 0.2))


def site(name: str, urgencies: dict[str, list[float]]) -> Caring:
    """A site whose lifters have findings of these urgencies."""
    [config] = demo_site().core.lifters.values()
    configs = {lifter: replace(config, id=lifter, name=lifter) for lifter in urgencies}
    cares = {
        lifter: Care(
            follow(configs[lifter], LIFTS, (), UNTIL_UTC_S), [item(lifter, urgency) for urgency in sorted(all_of)]
        )
        for lifter, all_of in urgencies.items()
    }
    return Caring(name, "UTC", configs, cares, UNTIL_UTC_S, is_own=False)


def item(lifter: str, urgency: float) -> Item:
    said = Text("care.battery_low", {"battery_v": 20.0 + urgency, "limit_v": 30.0})
    return Item(urgency, lifter, None, Figure.BATTERY, said)


def lines(*sites: Caring) -> list[list[str]]:
    page = written(fleet.layout(sites))
    rows = [re.findall(r"<td>(.*?)</td>", row) for row in re.findall(r"<tr>(.*?)</tr>", page)]
    return [[re.sub(r"<.*?>", "", cell) for cell in row] for row in rows if row]


def test_most_urgent_lifter_of_all_sites_stands_first() -> None:
    north = site("north", {"n-calm": [], "n-second": [2.0, 7.0]})
    south = site("south", {"s-third": [3.0], "s-first": [0.5, 1.0, 9.0]})
    for given in ((north, south), (south, north)):
        shown = lines(*given)
        assert [row[:2] for row in shown] == [
            ["south", "s-first"], ["north", "n-second"], ["south", "s-third"], ["north", "n-calm"],
        ]  # fmt: skip
        assert ["20.5 V" in shown[0][2], "22.0 V" in shown[1][2], "23.0 V" in shown[2][2]] == [True] * 3
        assert [row[3] for row in shown] == ["2", "1", "–", "–"]
        assert "That is no inspection" in shown[3][2]


def test_equally_urgent_lifters_stand_by_site_and_name() -> None:
    north, south = site("north", {"b": [1.0], "a": [1.0]}), site("south", {"a": [1.0]})
    assert [row[:2] for row in lines(south, north)] == [["north", "a"], ["north", "b"], ["south", "a"]]
