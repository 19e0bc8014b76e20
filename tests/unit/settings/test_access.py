"""PINs and keys in the data folder."""

import stat
from pathlib import Path

import pytest

from monitor.settings.access import (
    FILE,
    KEY_FILE,
    PinError,
    Role,
    checked,
    join_token,
    new_signing_key,
    read_pins,
    set_pin,
    signing_key,
)


@pytest.mark.parametrize("pin", ["48291", "x" * 65, "111111", "123456", "987654", "abcdef", "48\n291", ""])
def test_pin_that_is_guessed_first_is_refused(pin: str) -> None:
    with pytest.raises(PinError):
        checked(pin)


def test_pin_of_six_is_taken() -> None:
    assert checked("482913") == "482913"


def test_pins_are_kept_hashed_and_private(tmp_path: Path) -> None:
    set_pin(tmp_path, Role.SUPERVISOR, "482913")
    set_pin(tmp_path, Role.LANDING, "770012")
    text = (tmp_path / FILE).read_text()
    assert "482913" not in text
    assert stat.S_IMODE((tmp_path / FILE).stat().st_mode) == 0o600
    assert set(read_pins(tmp_path)) == {Role.SUPERVISOR, Role.LANDING}
    set_pin(tmp_path, Role.LANDING, None)
    assert set(read_pins(tmp_path)) == {Role.SUPERVISOR}


@pytest.mark.parametrize("text", ["{", "[]", '{"supervisor": 1}', '{"supervisor": "482913"}', '{"king": "scrypt$"}'])
def test_unreadable_pins_let_nobody_act(tmp_path: Path, text: str) -> None:
    (tmp_path / FILE).write_text(text)
    with pytest.raises(PinError, match=r"Nobody can act .* set the PINs again"):
        read_pins(tmp_path)


def test_key_is_made_once_and_kept_private(tmp_path: Path) -> None:
    key = signing_key(tmp_path)
    assert signing_key(tmp_path) == key
    assert stat.S_IMODE((tmp_path / KEY_FILE).stat().st_mode) == 0o600
    assert new_signing_key(tmp_path) != key


def test_damaged_key_is_made_anew(tmp_path: Path) -> None:
    (tmp_path / KEY_FILE).write_text("no key")
    assert len(signing_key(tmp_path)) == 32


def test_join_token_follows_the_key_and_hides_it() -> None:
    assert join_token(bytes(32)) == join_token(bytes(32))
    assert join_token(bytes(32)) != join_token(bytes([1]) * 32)
    assert len(join_token(bytes(32))) == 32
