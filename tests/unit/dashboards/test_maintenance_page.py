"""The maintenance page: every line of the list leads to its evidence, of this site and of one collected from elsewhere."""

import re
from dataclasses import replace
from urllib.parse import parse_qs, urlsplit

import pytest

from dashboards.pages import maintenance
from dashboards.pages.written import written
from monitor.care import Care
from monitor.core.maintenance import Figure, Item
from monitor.core.messages import Text
from tests.unit.dashboards.test_fleet_page import site


def shown(figure: Figure, *, is_own: bool) -> str:
    """The page of a lifter whose list has one line about this."""
    evidence = Text("care.not_sealed", {"circuit": "A", "at_utc_s": 1_764_000_000.0})
    item = Item(1.0, "dock-6", "A", figure, evidence, ("A1", "A2"), "dock-6-7")
    caring = site("north", {"dock-6": []})
    care = Care(caring.cares["dock-6"].trends, [item])
    return written(maintenance.layout(replace(caring, cares={"dock-6": care}, is_own=is_own), {}))


@pytest.mark.parametrize("is_own", [True, False])
@pytest.mark.parametrize("figure", Figure)
def test_every_line_leads_to_its_evidence(figure: Figure, is_own: bool) -> None:
    page = shown(figure, is_own=is_own)
    [line] = re.findall(r'<ol class="care-list"><li>(.*?)</li></ol>', page)
    evidence, *more = re.findall(r'<a href="(.*?)">', line.replace("&amp;", "&"))
    assert more == (["/lifts?id=dock-6-7"] if is_own else [])
    if figure is Figure.EXAMINATION:
        assert evidence == "/help/settings"
        return
    parts = urlsplit(evidence)
    asked = {name: value for name, [value] in parse_qs(parts.query).items()}
    assert asked.pop("site", None) == (None if is_own else "north")
    assert asked.pop("figure", figure.value) == figure.value
    assert (parts.path, asked) == ("/maintenance", {"lifter": "dock-6", "circuit": "A"})
    assert f'id="{parts.fragment}"' in page


def test_line_is_one_sentence_and_its_pads() -> None:
    assert "did not pass its last seal test, on 2025-11-24. Pads A1, A2." in shown(Figure.SEAL_TEST, is_own=True)
