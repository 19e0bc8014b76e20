"""Checks everything: ``python -m tests [--long] [PYTEST ARGUMENT...]``.

Format, lint, types, import contracts, then the tests with two workers. Every check runs, even after one failed; the
exit code is 0 only when all passed. ``--long`` adds the tests marked ``long`` (full counts, minutes instead of seconds).
"""

import argparse
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).parent.parent
BIN = Path(sys.executable).parent
NO_TESTS = 5  # pytest's exit code


def checks(long: bool, pytest_arguments: Sequence[str]) -> dict[str, list[str]]:
    """The command of each check, in the order they are run."""
    python = sys.executable
    # Test files of different folders may have one name; each file stays with one worker, for its module's fixtures.
    pytest = [
        python,
        "-m",
        "pytest",
        "-q",
        "--import-mode=importlib",
        "-n",
        "2",
        "--dist",
        "loadfile",
        *pytest_arguments,
    ]
    counts = "" if long else " and not long"
    return {
        "format": [python, "-m", "ruff", "format", "--check", "--quiet", "."],
        "lint": [python, "-m", "ruff", "check", "--quiet", "."],
        "types": [python, "-m", "mypy"],
        "imports": [str(BIN / "lint-imports")],
        # By themselves: while a browser is open its driver's event loop runs, and no other can be started beside it.
        "browser tests": [*pytest, "-m", f"browser{counts}"],
        "tests": [*pytest, "-m", f"not browser{counts}"],
        "mutants of what changed": [python, "-m", "tests.mutation", "--changed"],  # told, never failed for
    }


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests", description=__doc__)
    parser.add_argument("--long", action="store_true", help="also the tests marked long")
    given, pytest_arguments = parser.parse_known_args()
    failed: list[str] = []
    for name, command in checks(given.long, pytest_arguments).items():
        print(f"== {name}", flush=True)
        began_s = time.monotonic()
        code = subprocess.run(command, cwd=ROOT, check=False).returncode
        if code == NO_TESTS and pytest_arguments:
            code = 0  # none of those named is of this kind
        took = f"{time.monotonic() - began_s:.0f} s"
        print(f"== {name}: {'passed' if code == 0 else f'FAILED (exit code {code})'}, {took}", flush=True)
        if code:
            failed.append(name)
    print(f"== failed: {', '.join(failed)}" if failed else "== all passed", flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
