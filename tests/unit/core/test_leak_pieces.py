"""A run of the leak benchmark taken in pieces ends as one run would, and no piece is run twice."""

import sys

import pytest

from tests.benchmarks import leak


def drawn(cell, chance, n):
    """Stands for lifts: what is drawn shows whether a piece keeps its own seeds."""
    return [(cell.noise_kpa, float(chance.random())) for _ in range(n)]


def told(cell, rows):
    yield f"{cell} n {len(rows)} {sorted(float(row[1]) for row in rows)}"


@pytest.fixture
def benchmark(monkeypatch, capsys):
    monkeypatch.setattr(leak, "PARTS", {"coverage": leak.Part("Drawn", drawn, told, 2, 1)})

    def run(*given):
        monkeypatch.setattr(sys, "argv", ["leak", "--lifts", "8", *map(str, given)])
        leak.main()
        return [line for line in capsys.readouterr().out.splitlines() if " n " in line]

    return run


def test_a_run_in_two_turns_tells_the_same_as_one(benchmark, tmp_path):
    whole = benchmark()
    kept = tmp_path / "kept.jsonl"
    benchmark("--kept", kept)
    lines = kept.read_text().splitlines()
    kept.write_text("\n".join(lines[:7]) + "\n" + lines[7][:20])  # stopped while it wrote
    assert benchmark("--kept", kept, "--minutes", 0) != whole
    assert benchmark("--kept", kept) == whole
    assert len(whole) == 5


def test_what_is_kept_is_not_run_again(benchmark, tmp_path):
    kept = tmp_path / "kept.jsonl"
    whole = benchmark("--kept", kept)
    written = kept.read_bytes()
    assert benchmark("--kept", kept) == whole
    assert kept.read_bytes() == written


def test_pieces_of_another_estimator_are_left_aside(benchmark, tmp_path):
    kept = tmp_path / "kept.jsonl"
    whole = benchmark("--kept", kept)
    kept.write_text(kept.read_text().replace(leak.version(), "another"))
    assert benchmark("--kept", kept, "--minutes", 0) == []
    assert benchmark("--kept", kept) == whole


CODE = '''"""What it does."""

MOST = 3
"""So many."""


def least(x):
    """The least.

    Check: 1 for 1.
    """
    return "not said of it", x  # code
'''


@pytest.mark.parametrize(
    ("was", "now", "same"),
    [
        ("What it does.", "What it is.", True),
        ('"""So many."""\n', '"""So many\n\nand no more."""\n', True),
        ("    Check: 1 for 1.\n", "", True),
        ("MOST = 3", "MOST = 4", False),
        ("not said of it", "not said", False),
        ("(x):", "(y):", False),
    ],
)
def test_what_is_said_of_code_may_change_without_counting_anew(was, now, same):
    changed = CODE.replace(was, now)
    assert changed != CODE
    assert (leak.digest([changed]) == leak.digest([CODE])) is same
