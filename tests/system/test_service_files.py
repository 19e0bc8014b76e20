"""The files for a site's machine: units checked by systemd itself, the container file by a linter, commands by our parser."""

import json
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.cli.main import parser
from tests.brokers import ROOT
from tests.tools import need

pytestmark = pytest.mark.system
SERVICE = ROOT / "configs" / "service"
PROGRAM = "/opt/holdwatch/current/bin/holdwatch"


def verify(folder: Path, *units: Path) -> subprocess.CompletedProcess:
    """What systemd says of the units, with a program in place of ours, which is not installed there."""
    copies = []
    for unit in units:
        copy = folder / unit.name
        copy.write_text(unit.read_text().replace(PROGRAM, "/bin/true"))
        copies.append(str(copy))
    command = [need("systemd-analyze"), "verify", *copies]
    return subprocess.run(command, check=False, capture_output=True, text=True, timeout=60)


def test_systemd_finds_no_fault_in_the_units(tmp_path: Path) -> None:
    units = sorted([*SERVICE.glob("*.service"), *SERVICE.glob("*.timer")])
    assert [unit.name for unit in units] == ["holdwatch-backup.service", "holdwatch-backup.timer", "holdwatch.service"]
    done = verify(tmp_path, *units)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_systemd_does_find_faults(tmp_path: Path) -> None:
    spoiled = tmp_path / "spoiled"
    spoiled.mkdir()
    unit = spoiled / "holdwatch.service"
    unit.write_text((SERVICE / "holdwatch.service").read_text().replace("Restart=always", "Restart=for ever"))
    assert "restart specifier" in verify(tmp_path, unit).stderr


def test_units_give_the_program_commands_it_has() -> None:
    for name in ("holdwatch.service", "holdwatch-backup.service"):
        found = re.findall(rf"{PROGRAM} ([^\n']*)", (SERVICE / name).read_text())
        assert len(found) == 1
        assert parser().parse_args(shlex.split(found[0].replace("$(", "").replace(")", "").partition(" -u")[0])).act


def test_container_file_passes_the_linter_and_ends_in_a_command_the_program_has() -> None:
    linter = Path(sys.executable).parent / "hadolint"
    if not linter.exists():
        pytest.skip("hadolint has no wheel for this machine")
    done = subprocess.run([linter, SERVICE / "Containerfile"], check=False, capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stdout) == (0, "")
    command = re.search(r"^CMD (\[\"run.*\])$", (SERVICE / "Containerfile").read_text(), re.MULTILINE)
    assert command is not None
    assert parser().parse_args(json.loads(command[1])).act
