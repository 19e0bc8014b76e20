"""The alarms page: what stands now, and what supervisor and maintenance may do with it; every act names what was seen."""

from typing import Any

import pytest

from tests.brokers import wait_for
from tests.page.conftest import Site
from tests.page.in_page import OVERFLOWS
from tests.page.serving import PHONE
from tests.page.statuses import alarm, status

pytestmark = pytest.mark.browser

CREEPING = {"key": "circuits_disagree", "raising": "dock-6/B/circuits_disagree/17"}


def opened(site: Site, *alarms: dict[str, Any], role: str = "supervisor") -> None:
    site.engine.say(status("look", alarms=list(alarms)))
    said = f"localStorage.setItem('holdwatch.who', JSON.stringify({{who: 'EF', role: '{role}'}}))"
    site.page.add_init_script(said)
    wait_for(lambda: _told(site) == [_flags(one) for one in alarms], 10, "the pages have heard of the alarms")
    site.page.goto(site.served.url + "/alarms")


def _told(site: Site) -> list[tuple[Any, ...]]:
    (lifter,) = site.page.request.get(site.served.url + "/api/status").json()["lifters"]
    return [_flags(one) for one in lifter["alarms"]]


def _flags(one: dict[str, Any]) -> tuple[Any, ...]:
    return one["raising"], one["state"], one["shelved"], one["out_of_service"]


def test_alarm_is_shelved_for_some_minutes_and_a_reason(site: Site) -> None:
    opened(site, alarm(**CREEPING))
    site.page.get_by_text("Set it aside").click()
    site.page.get_by_label("Reason").fill("gauge B is being changed")
    site.page.get_by_label("Minutes on the shelf").select_option("30")
    site.page.get_by_role("button", name="Shelve").click()
    params = {"raising": CREEPING["raising"], "duration_s": 1800, "reason": "gauge B is being changed"}
    assert site.act() == {"kind": "shelve", "lifter": "dock-6", "who": "EF", "role": "supervisor", "params": params}
    site.page.wait_for_event("load")  # shown anew


def test_alarm_is_taken_out_of_service_with_a_reason(site: Site) -> None:
    opened(site, alarm(**CREEPING), role="maintenance")
    site.page.get_by_text("Set it aside").click()
    site.page.get_by_label("Reason").fill("cell is at the workshop")
    site.page.get_by_role("button", name="Out of service").click()
    params = {"alarm": "circuits_disagree", "about": "B", "reason": "cell is at the workshop"}
    assert site.act()["params"] == params
    site.page.wait_for_event("load")


def test_nothing_is_set_aside_without_a_reason(site: Site) -> None:
    opened(site, alarm(**CREEPING))
    site.page.get_by_text("Set it aside").click()
    site.page.get_by_role("button", name="Shelve").click()
    assert site.page.evaluate("() => document.querySelector('textarea').validity.valueMissing")
    assert site.engine.actions == []


@pytest.mark.parametrize(
    ("changed", "button", "params"),
    [
        ({}, "Acknowledge", {"raising": CREEPING["raising"]}),
        ({"state": "latched_acknowledged"}, "Reset", {"raising": CREEPING["raising"]}),
        ({"shelved": True, "set_aside_by": "EF"}, "Take it off the shelf", {"raising": CREEPING["raising"]}),
        ({"out_of_service": True}, "Back in service", {"alarm": "circuits_disagree", "about": "B"}),
    ],
)
def test_what_can_be_done_now_is_one_tap(
    site: Site, changed: dict[str, Any], button: str, params: dict[str, str]
) -> None:
    opened(site, alarm(**CREEPING, **changed))
    site.page.get_by_role("button", name=button).click()
    assert site.act()["params"] == params
    site.page.wait_for_event("load")


def test_what_calls_for_landing_can_not_be_set_aside(site: Site) -> None:
    opened(site, alarm())
    assert "It calls for landing: it can't be set aside." in site.text("main")
    assert site.page.get_by_text("Set it aside").count() == 0


def test_no_alarm_and_no_engine_are_said(site: Site) -> None:
    opened(site)
    assert "No alarm stands, and none is set aside." in site.text("main")
    site.engine.pause()
    try:
        site.page.wait_for_timeout(2600)
        site.page.reload()
        assert "what stands now is not known" in site.text("main")
    finally:
        site.engine.resume()


def test_page_fits_a_phone(site: Site) -> None:
    site.page.set_viewport_size({"width": PHONE[0], "height": PHONE[1]})
    opened(site, alarm(**CREEPING), alarm("latched_unacknowledged"))
    site.page.get_by_text("Set it aside").click()
    assert site.page.evaluate(OVERFLOWS) == []
