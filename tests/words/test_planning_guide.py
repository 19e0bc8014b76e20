"""The guide to planning names every option of the command, and its examples run."""

import argparse
import re
import shlex
from pathlib import Path

import pytest

from monitor.cli.main import main, parser
from tests.brokers import ROOT

GUIDE = (ROOT / "dashboards" / "help" / "planning.md").read_text()
EXAMPLES = [line for line in GUIDE.splitlines() if line.startswith("holdwatch plan")]


def options() -> set[str]:
    [commands] = [action for action in parser()._actions if isinstance(action, argparse._SubParsersAction)]
    plan = commands.choices["plan"]
    return {option for action in plan._actions for option in action.option_strings} - {"-h", "--help"}


def test_guide_names_every_option_and_no_other() -> None:
    assert set(re.findall(r"`(--[a-z-]+)`", GUIDE)) == options()


@pytest.mark.parametrize("line", EXAMPLES)
def test_example_runs(line: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(ROOT)
    assert main(shlex.split(line)[1:]) == 0
    assert "outside_limits" in capsys.readouterr().out or "--json" not in line


def test_guide_is_among_the_guides() -> None:
    assert len(EXAMPLES) == 2
    assert "[planning a lift](dashboards/help/planning.md)" in (Path(ROOT) / "README.md").read_text()
