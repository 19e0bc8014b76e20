"""Short secrets kept as hashes."""

import pytest

from monitor.hashing import hashed, matches

# RFC 7914, section 12, third test vector: scrypt("pleaseletmein", "SodiumChloride", N=16384, r=8, p=1, 64 bytes).
# PBKDF2's first 32 of the 64 bytes are what 32 asked for gives.
RFC_7914 = "scrypt$U29kaXVtQ2hsb3JpZGU=$cCO9yzr9c0hGHAbNgf046/2o+7qQT44+qbVD9lRdofI="


def test_hash_is_the_standards() -> None:
    assert matches(b"pleaseletmein", RFC_7914)
    assert not matches(b"pleaseletmeout", RFC_7914)


def test_two_hashes_of_one_pin_differ_and_both_match() -> None:
    one, other = hashed(b"482913"), hashed(b"482913")
    assert one != other
    assert matches(b"482913", one)
    assert matches(b"482913", other)
    assert not matches(b"482914", one)


@pytest.mark.parametrize("kept", ["", "scrypt$1$2", "scrypt$x$y", RFC_7914.replace("scrypt", "md5")])
def test_what_is_no_hash_matches_nothing(kept: str) -> None:
    assert not matches(b"482913", kept)
