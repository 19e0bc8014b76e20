"""How long a sign-in lasts, by a clock the test moves: a shift, no longer, whatever is done to clocks and processes."""

import asyncio
import time
from pathlib import Path
from typing import Any

import pytest

from dashboards import access, signed_out
from dashboards.access import SESSION, SHIFT_S, Access
from monitor.clock import boot_id
from monitor.settings.access import Role, set_pin

PIN = "482913"
BEGAN_S = 5_000.0
FROM_AFAR = {"client": ("10.0.0.9", 1), "server": ("10.0.0.1", 80), "headers": []}


class Pages:
    """The doorkeeper of a site, started again as often as wanted; one phone's sign-in beside it."""

    def __init__(self, data: Path) -> None:
        self.data = data
        self.now_s = BEGAN_S
        self.start()
        self.cookie = asyncio.run(self.door.sign_in(FROM_AFAR, "AB", "operator", PIN))[0].partition(";")[0]

    def start(self) -> None:
        self.door = Access(self.data, monotonic=lambda: self.now_s)

    @property
    def scope(self) -> dict[str, Any]:
        return FROM_AFAR | {"headers": [(b"cookie", self.cookie.encode())]}

    def is_in(self) -> bool:
        return self.door.signed_in(self.scope) is not None

    def sign_out(self) -> None:
        assert f"{SESSION}=; Max-Age=0" in asyncio.run(self.door.sign_out(self.scope))


@pytest.fixture
def pages(tmp_path: Path) -> Pages:
    set_pin(tmp_path, Role.OPERATOR, PIN)
    return Pages(tmp_path)


def test_sign_in_ends_after_twelve_hours_to_the_second(pages: Pages) -> None:
    assert SHIFT_S == 12 * 3600
    pages.now_s = BEGAN_S + 12 * 3600 - 1
    assert pages.is_in()
    pages.now_s = BEGAN_S + 12 * 3600
    assert not pages.is_in()


@pytest.mark.parametrize("by_s", [-86_400, -11 * 3600, 13 * 3600, -1_764_000_000])
def test_system_clock_that_is_set_neither_extends_nor_ends_a_sign_in(
    pages: Pages, by_s: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = time.time
    monkeypatch.setattr(time, "time", lambda: real() + by_s)
    assert pages.is_in()
    pages.now_s = BEGAN_S + SHIFT_S
    assert not pages.is_in()


def test_pages_started_again_know_who_is_signed_in_and_who_signed_out(pages: Pages) -> None:
    pages.start()
    assert pages.is_in()
    pages.sign_out()
    assert not pages.is_in()
    pages.start()
    assert not pages.is_in()


def test_machine_started_again_ends_every_sign_in(pages: Pages, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its clock begins anew, so how long a sign-in has lasted is not known."""
    for module in (access, signed_out):
        monkeypatch.setattr(module, "boot_id", lambda: "another start")
    pages.now_s = 10.0
    pages.start()
    assert not pages.is_in()


@pytest.mark.parametrize("kept", ["", "{", "[]", '{"boot": "b", "until_s": []}'])
def test_list_that_cannot_be_read_ends_every_sign_in_so_far_and_no_later_one(pages: Pages, kept: str) -> None:
    (pages.data / signed_out.FILE).write_text(kept.replace('"b"', f'"{boot_id()}"'))
    pages.now_s += 60.0
    pages.start()
    assert not pages.is_in()
    pages.now_s += 1.0
    pages.cookie = asyncio.run(pages.door.sign_in(FROM_AFAR, "AB", "operator", PIN))[0].partition(";")[0]
    assert pages.is_in()


def test_list_keeps_no_sign_in_that_is_over_anyway(pages: Pages) -> None:
    pages.sign_out()
    first = (pages.data / signed_out.FILE).read_text()
    pages.now_s = BEGAN_S + SHIFT_S + 1.0
    pages.cookie = asyncio.run(pages.door.sign_in(FROM_AFAR, "AB", "operator", PIN))[0].partition(";")[0]
    pages.sign_out()
    assert len((pages.data / signed_out.FILE).read_text()) <= len(first) + 4
    assert (pages.data / signed_out.FILE).stat().st_mode & 0o077 == 0


def test_sign_out_that_cannot_be_written_ends_it_for_these_pages(
    pages: Pages, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(signed_out, "write_private", full)
    pages.sign_out()
    assert not pages.is_in()
    assert "a sign-out is not on the disk" in caplog.text


def test_cookie_of_an_older_version_is_none(pages: Pages) -> None:
    signer = pages.door._signer(SESSION)
    pages.cookie = f"{SESSION}={signer.dumps({'id': 'a', 'who': 'AB', 'role': 'operator', 'pin': 'x'})}"
    assert not pages.is_in()
