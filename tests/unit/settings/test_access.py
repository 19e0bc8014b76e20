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
    hashed,
    join_token,
    matches,
    new_signing_key,
    read_pins,
    set_pin,
    signing_key,
)

# RFC 7914, section 12, third test vector: scrypt("pleaseletmein", "SodiumChloride", N=16384, r=8, p=1, 64 bytes).
# PBKDF2's first 32 of the 64 bytes are what 32 asked for gives.
RFC_7914 = "scrypt$16384$8$1$U29kaXVtQ2hsb3JpZGU=$cCO9yzr9c0hGHAbNgf046/2o+7qQT44+qbVD9lRdofI="


def test_hash_is_the_standards() -> None:
    assert matches("pleaseletmein", RFC_7914)
    assert not matches("pleaseletmeout", RFC_7914)


def test_two_hashes_of_one_pin_differ_and_both_match() -> None:
    one, other = hashed("482913"), hashed("482913")
    assert one != other
    assert matches("482913", one)
    assert matches("482913", other)
    assert not matches("482914", one)


@pytest.mark.parametrize("kept", ["", "scrypt$1$2", "scrypt$x$8$1$AA==$AA==", "md5$1$8$1$AA==$AA=="])
def test_what_is_no_hash_matches_nothing(kept: str) -> None:
    assert not matches("482913", kept)


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
