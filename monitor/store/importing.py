"""Closed records put into a store in bulk, each chained after the one before on its site, in one transaction a batch."""

from collections.abc import Iterable, Iterator, Mapping
from itertools import islice
from pathlib import Path
from typing import Any, Final

import msgspec
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from monitor.clock import utc_s
from monitor.store import tables as t
from monitor.store.chain import FIRST_HASH, link
from monitor.store.database import engine_for, prepare
from monitor.store.errors import StoreError, in_words
from monitor.store.lock import FolderLock

BATCH_N: Final = 2_000


def import_lifts(
    data: Path,
    records: Iterable[Mapping[str, Any]],
    actions: Iterable[Mapping[str, Any]] = (),
    *,
    no_trace: str,
    settings: tuple[str, str, str, str],
    url: str | None = None,
) -> int:
    """Put closed records and actions into a store no engine works on.

    Args:
        data: The data folder; made if it is not there.
        records: As ``close_lift`` takes them, oldest first. One whose id is there already changes nothing.
        actions: As ``action`` takes them.
        no_trace: Why these lifts have no trace.
        settings: SHA-256, text, name and program of the site file that judged them.
        url: The database, where it is not in the folder.

    Returns:
        How many records were put in.

    Raises:
        StoreError: The store cannot be used or written to.
    """
    try:
        data.mkdir(mode=0o700, parents=True, exist_ok=True)
        lock = FolderLock(data)
    except OSError as error:
        raise StoreError(f"{data}: cannot be used: {error.strerror}. Name another folder with --data.") from error
    engine = engine_for(data, url, read_only=False)
    try:
        prepare(engine, data)
        put_n = 0
        for batch in _batches(records):
            with engine.begin() as connection:
                put_n += _put(connection, batch, no_trace)
        with engine.begin() as connection:
            _put_actions(connection, actions)
            _put_settings(connection, settings)
    except (OSError, sa.exc.SQLAlchemyError) as error:
        raise StoreError(f"{data}: could not be written: {in_words(error)}") from error
    finally:
        engine.dispose()
        lock.release()
    return put_n


def _batches(records: Iterable[Mapping[str, Any]]) -> Iterator[list[Mapping[str, Any]]]:
    source = iter(records)
    while batch := list(islice(source, BATCH_N)):
        yield batch


def _put(connection: Connection, batch: list[Mapping[str, Any]], no_trace: str) -> int:
    ids = [record["id"] for record in batch]
    known = set(connection.scalars(sa.select(t.lifts.c.id).where(t.lifts.c.id.in_(ids))))
    n = connection.scalar(sa.select(sa.func.max(t.lifts.c.n))) or 0
    last: dict[str, str] = {}
    lifts, traces = [], []
    for record in batch:
        lift, site = record["id"], record["site"]
        if lift in known:
            continue
        known.add(lift)
        if site not in last:
            newest = sa.select(t.lifts.c.hash).where(t.lifts.c.site == site).order_by(t.lifts.c.n.desc()).limit(1)
            last[site] = connection.scalar(newest) or FIRST_HASH
        text = msgspec.json.encode(record).decode()
        n += 1
        row = {
            "n": n,
            "id": lift,
            "site": site,
            "lifter": record["lifter"],
            "opened_utc_ms": round(record["opened"] * 1000),
            "closed_utc_ms": round(record["closed"] * 1000),
            "opened_now_s": record["opened"],
            "closed_now_s": record["closed"],
            "schema": record["version"],
            "record": text,
            "prev_hash": last[site],
            "hash": link(last[site], lift, text),
        }
        last[site] = row["hash"]
        lifts.append(row)
        traces.append({"lift": lift, "path": None, "sha256": None, "rows_n": 0, "bytes_n": 0, "error": no_trace})
    if lifts:
        connection.execute(sa.insert(t.lifts), lifts)
        connection.execute(sa.insert(t.traces), traces)
    return len(lifts)


def _put_actions(connection: Connection, actions: Iterable[Mapping[str, Any]]) -> None:
    rows = [
        {name: str(act[name]) for name in ("id", "lifter", "kind", "who", "role")}
        | {"utc_ms": round(act["utc_s"] * 1000), "body": msgspec.json.encode(act).decode(), "journal_id": 0}
        for act in actions
    ]
    known = set(connection.scalars(sa.select(t.actions.c.id)))
    rows = [row for row in rows if row["id"] not in known]
    if rows:
        connection.execute(sa.insert(t.actions), rows)


def _put_settings(connection: Connection, settings: tuple[str, str, str, str]) -> None:
    sha256, text, name, program = settings
    if connection.scalar(sa.select(t.settings.c.sha256).where(t.settings.c.sha256 == sha256)) is None:
        connection.execute(sa.insert(t.settings), {"sha256": sha256, "text": text})
    used = {"utc_ms": round(utc_s() * 1000), "sha256": sha256, "name": name, "program": program}
    connection.execute(sa.insert(t.settings_used), used)
