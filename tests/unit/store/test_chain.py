"""The chain against a hash made by another program, and what it notices."""

import hashlib
import shutil
import subprocess

import pytest

from monitor.store.chain import FIRST_HASH, Link, first_misfit, link


def test_link_is_plain_sha256_of_three_ended_texts() -> None:
    """FIPS 180-4 through another implementation where there is one (coreutils), else through the standard library."""
    text = FIRST_HASH.encode() + b"\0dock-6/1\0" + '{"words":"µ"}'.encode() + b"\0"
    if shutil.which("sha256sum"):
        said = subprocess.run(["sha256sum"], input=text, capture_output=True, check=True).stdout.decode()[:64]
    else:
        said = hashlib.sha256(text).hexdigest()
    assert link(FIRST_HASH, "dock-6/1", '{"words":"µ"}') == said


def chain(*records: str) -> list[Link]:
    made, prev = [], FIRST_HASH
    for n, record in enumerate(records):
        made.append(Link(str(n), "s", record, prev, link(prev, str(n), record)))
        prev = made[-1].hash
    return made


def test_untouched_chain_fits() -> None:
    assert first_misfit(chain("a", "b", "c")) is None
    assert first_misfit([]) is None


@pytest.mark.parametrize("taken", [0, 1])
def test_record_taken_out_is_noticed_at_the_next(taken: int) -> None:
    links = chain("a", "b", "c")
    del links[taken]
    found = first_misfit(links)
    assert found is not None
    assert found.lift == str(taken + 1)


def test_swapped_records_are_noticed() -> None:
    one, two, three = chain("a", "b", "c")
    assert first_misfit([one, three, two]).lift == "2"


def test_a_text_moved_across_the_border_of_two_parts_is_another_link() -> None:
    assert link(FIRST_HASH, "ab", "c") != link(FIRST_HASH, "a", "bc")
