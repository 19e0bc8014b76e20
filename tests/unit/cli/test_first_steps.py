"""What README.md promises about the first two commands, and the lock files they install from."""

import re
import tomllib

import pytest

from tests.brokers import ROOT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
PIN = re.compile(r"^([a-z0-9-]+)==([^ ;\\]+)", re.MULTILINE)


def pins(path: str) -> set[tuple[str, str]]:
    return set(PIN.findall((ROOT / path).read_text()))


def name_of(requirement: str) -> str:
    return re.split(r"[\[<>=!~ ;]", requirement, maxsplit=1)[0].lower().replace("_", "-")


@pytest.mark.parametrize("path", ["requirements.lock", "tests/requirements.lock"])
def test_lock_names_no_host_and_no_path_and_hashes_everything(path: str) -> None:
    text = (ROOT / path).read_text()
    assert "://" not in text
    assert re.search(r"(^|\s)(--(index|extra|find)|file:|/)", text) is None
    blocks = text.split("\n")
    pinned_n = sum("==" in line for line in blocks)
    assert pinned_n == len(re.findall(r"==.*\\\n    --hash=sha256:[0-9a-f]{64}", text))


def test_locks_hold_every_dependency_and_what_builds_the_project() -> None:
    locked = {name for name, _ in pins("requirements.lock")}
    assert {name_of(requirement) for requirement in PROJECT["dependencies"]} <= locked
    assert "setuptools" in locked  # --no-build-isolation builds with what is installed
    locked_for_tests = {name for name, _ in pins("tests/requirements.lock")}
    extra = PROJECT["optional-dependencies"]["dev"]
    assert {name_of(requirement) for requirement in extra} <= locked_for_tests


def test_tests_run_on_the_versions_that_are_delivered() -> None:
    assert pins("requirements.lock") <= pins("tests/requirements.lock")


def test_readme_gives_one_line_to_run_and_one_to_test() -> None:
    lines = [line for line in (ROOT / "README.md").read_text().splitlines() if line.startswith("python3 -m venv")]
    run, test = lines
    assert run.endswith(".venv/bin/holdwatch demo")
    assert test.endswith(".venv/bin/python -m tests")
    assert "--require-hashes -r requirements.lock" in run
    assert "--require-hashes -r tests/requirements.lock" in test
