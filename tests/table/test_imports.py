"""Imports point inward, and the engine starts without what only pages, records and the broker need."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
HEAVY = ("dash", "flask", "plotly", "pandas", "pyarrow", "sqlalchemy", "paho", "iotcore", "uvicorn", "scipy")


def test_import_contracts_are_kept() -> None:
    command = [str(Path(sys.executable).parent / "lint-imports"), "--no-cache"]
    checked = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120, check=False)
    assert checked.returncode == 0, checked.stdout + checked.stderr


@pytest.mark.parametrize("module", ["monitor.core.engine", "monitor.words.say", "monitor.wire.reading_json"])
def test_engine_loads_nothing_heavy(module: str) -> None:
    script = f"import sys, {module}; print(*(name for name in {HEAVY!r} if name in sys.modules))"
    loaded = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, timeout=60, check=True
    )
    assert loaded.stdout.split() == []


def test_core_loads_no_clock_no_socket_and_no_thread() -> None:
    names = (
        "asyncio",
        "socket",
        "sqlite3",
        "logging",
        "msgspec",
        "tomllib",
        "monitor.clock",
        "monitor.words",
        "monitor.wire",
    )
    script = f"import sys, monitor.core.engine; print(*(name for name in {names!r} if name in sys.modules))"
    loaded = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, timeout=60, check=True
    )
    assert loaded.stdout.split() == []
