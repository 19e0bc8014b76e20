"""What the guide says of an upgrade in mid-lift and the way back, done with the real program."""

import signal
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from monitor.store import tables as t
from monitor.store.database import database_path
from tests.brokers import Broker, wait_for
from tests.system.program import Program, get

pytestmark = pytest.mark.system


def carried(program: Program, lift: str | None = None) -> dict[str, Any]:
    """The lift in the air, as the program shows it (the one named, if one is)."""
    status_url = program.until_ready()["ground"] + "api/status"
    found: list[dict[str, Any]] = []

    def is_carried() -> bool:
        one = (get(status_url) or {"lifters": [{"phase": None}]})["lifters"][0]
        if one["phase"] == "carrying" and lift in (None, one["lift"]["id"]):
            found.append(one["lift"])
        return bool(found)

    wait_for(is_carried, 30, "the load in the air")
    return found[-1]


def done(*arguments: str | Path, code: int = 0) -> str:
    """Run a command to its end; what it said on standard error."""
    with Program(*arguments) as program:
        assert program.process.wait(60) == code, program.said()
        return program.said()


def test_lift_goes_on_through_an_upgrade_and_the_way_back(broker: Broker, site: Path, tmp_path: Path) -> None:
    data, before, anew = tmp_path / "data", tmp_path / "before.tar", tmp_path / "anew"
    run = ("run", "--site", site, "--data")
    with Program("simulate", "in-the-air", "--site", site, "--broker", broker.url):
        with Program(*run, data) as old:
            lift = carried(old)
            done("backup", "--data", data, "--out", before)  # while it runs
            assert old.end(signal.SIGTERM)[0] == 0
        with Program(*run, data) as new:
            assert carried(new, lift["id"])["since"] == lift["since"]
            assert new.end(signal.SIGTERM)[0] == 0

        # A new version may change the store: the old one then refuses it, in words, and changes nothing.
        with sa.create_engine(f"sqlite:///{database_path(data)}").begin() as connection:
            connection.execute(sa.update(t.meta).where(t.meta.c.key == "schema").values(value="99"))
        said = done(*run, data, code=1)
        assert "written by a newer Holdwatch (schema version 99" in said

        done("restore", before, "--data", anew)
        with Program(*run, anew) as old:
            assert carried(old, lift["id"])["since"] == lift["since"]
            assert old.end(signal.SIGTERM)[0] == 0
