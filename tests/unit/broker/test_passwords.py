"""Passwords of the embedded broker's clients: hashes alone, counted at once, and clear words."""

import base64
import hashlib
import json
from pathlib import Path

import pytest

from monitor.passwords import PasswordError, Passwords, remove_password, set_password

SECRET = "a long pässword"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "broker-passwords.json"


def test_password_fits_and_others_do_not(path: Path) -> None:
    set_password(path, "dock-6", SECRET)
    passwords = Passwords(path)
    assert passwords.any()
    assert passwords.fits("dock-6", SECRET.encode())
    assert not passwords.fits("dock-6", b"another one")
    assert not passwords.fits("dock-6", b"")
    assert not passwords.fits("dock-7", SECRET.encode())


def test_hash_is_scrypt_as_the_library_makes_it_and_the_file_is_this_users_alone(path: Path) -> None:
    set_password(path, "dock-6", SECRET)
    assert SECRET not in path.read_text()
    assert path.stat().st_mode & 0o777 == 0o600
    _, salt, kept = json.loads(path.read_text())["dock-6"].split("$")
    expected = hashlib.scrypt(SECRET.encode(), salt=base64.b64decode(salt), n=16384, r=8, p=1, dklen=32)  # RFC 7914
    assert base64.b64decode(kept) == expected


def test_two_clients_with_one_password_have_different_hashes(path: Path) -> None:
    set_password(path, "dock-6", SECRET)
    set_password(path, "dock-7", SECRET)
    hashes = json.loads(path.read_text())
    assert hashes["dock-6"] != hashes["dock-7"]


def test_change_counts_at_once(path: Path) -> None:
    passwords = Passwords(path)
    assert not passwords.any()
    set_password(path, "dock-6", SECRET)
    assert passwords.fits("dock-6", SECRET.encode())
    set_password(path, "dock-6", "quite another")
    assert not passwords.fits("dock-6", SECRET.encode())
    assert remove_password(path, "dock-6")
    assert not passwords.any()
    assert not remove_password(path, "dock-6")


@pytest.mark.parametrize(
    ("name", "password"), [("", SECRET), ("a b", SECRET), ("x" * 65, SECRET), ("a", "short"), ("a", "x" * 201)]
)
def test_name_or_password_that_will_not_do_is_told(path: Path, name: str, password: str) -> None:
    with pytest.raises(PasswordError, match=r"must"):
        set_password(path, name, password)
    assert not path.exists()


@pytest.mark.parametrize("content", ["{", "[]", '{"dock-6": "secret"}', '{"dock-6": 4}', '{"dock-6": "scrypt$x$y"}'])
def test_file_of_another_kind_lets_nobody_in_and_is_not_written_over(path: Path, content: str) -> None:
    path.write_text(content)
    with pytest.raises(PasswordError, match=r"set all passwords anew"):
        Passwords(path).any()
    with pytest.raises(PasswordError, match=r"set all passwords anew"):
        set_password(path, "dock-6", SECRET)
    assert path.read_text() == content
    assert list(path.parent.iterdir()) == [path]
