"""A real PostgreSQL server for the store's contract: one per test session, one fresh database per test."""

import os
import shutil
import subprocess
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path
from tempfile import mkdtemp

import psycopg
import pytest


def _bin(name: str) -> str:
    places = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"), reverse=True)
    found = shutil.which(name) or (str(places[0]) if places else None)
    if found is None:
        pytest.fail(f"{name} is missing: these tests start a real PostgreSQL (Debian package postgresql)")
    return found


def _as_owner(*command: str) -> None:
    """PostgreSQL refuses to run as root."""
    become = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
    subprocess.run([*become, *command], check=True, cwd="/", stdout=subprocess.DEVNULL, timeout=60)


@pytest.fixture(scope="session")
def postgres_host() -> Iterator[str]:
    """The folder of the socket of a running server."""
    folder = Path(mkdtemp(prefix="hw-pg-"))  # a short path: sockets have a length limit
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres")
    data = folder / "data"
    _as_owner(
        _bin("initdb"), "-D", str(data), "-U", "holdwatch", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync"
    )
    options = f"-k {folder} -c listen_addresses=''"
    _as_owner(_bin("pg_ctl"), "-D", str(data), "-l", str(folder / "log"), "-o", options, "-w", "start")
    try:
        yield str(folder)
    finally:
        _as_owner(_bin("pg_ctl"), "-D", str(data), "-m", "immediate", "-w", "stop")
        shutil.rmtree(folder)


@pytest.fixture(scope="session")
def new_database(postgres_host: str) -> Callable[[], str]:
    """Makes an empty database, returns its URL."""

    def make() -> str:
        name = f"t{uuid.uuid4().hex}"
        with psycopg.connect(host=postgres_host, user="holdwatch", dbname="postgres", autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}")
        return f"postgresql://holdwatch@/{name}?host={postgres_host}"

    return make
