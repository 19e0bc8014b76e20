"""What the store lets go of, and when."""

from dataclasses import dataclass
from typing import Final

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from monitor.store import tables as t

JOURNAL_KEPT_S: Final = 3600.0
"""The journal keeps at least its last hour."""

CHUNK_N: Final = 5_000
"""Rows taken away at a time, so that an alarm never waits for a large deletion."""


def prune_journal(connection: Connection, keep_since_s: float) -> bool:
    """Take away journal rows that neither a restart, nor a trace to be written, nor the last hour needs.

    ``keep_since_s`` is engine time: the opening of the oldest lift in progress. Returns whether there may be more.
    """
    c = t.journal.c
    newest_s = connection.scalar(sa.select(sa.func.max(c.now_s)))
    oldest_id = connection.scalar(sa.select(sa.func.min(c.id)))
    restart_id = connection.scalar(sa.select(sa.func.min(t.snapshots.c.journal_id)))
    if newest_s is None or oldest_id is None or restart_id is None:
        return False
    no_trace = t.lifts.c.id.not_in(sa.select(t.traces.c.lift))
    untraced_s = connection.scalar(sa.select(sa.func.min(t.lifts.c.opened_now_s)).where(no_trace))
    kept_s = min(newest_s - JOURNAL_KEPT_S, keep_since_s, newest_s if untraced_s is None else untraced_s)
    first_kept_id = connection.scalar(sa.select(sa.func.min(c.id)).where(c.now_s >= kept_s))
    end_id = min(first_kept_id, restart_id + 1, oldest_id + CHUNK_N)
    connection.execute(sa.delete(t.journal).where(c.id < end_id))
    return bool(end_id == oldest_id + CHUNK_N)


TRACES_AT_ONCE_N: Final = 50


@dataclass(frozen=True, slots=True)
class Keeping:
    """How much of the traces is kept: records and alarms are kept always."""

    budget_bytes: float = float("inf")
    trace_keep_s: float = float("inf")


def drop_traces(connection: Connection, keeping: Keeping, *, now_utc_s: float, database_bytes: int) -> list[str]:
    """Let go of traces that are too old or over the budget, the oldest first, a few at a time.

    The database counts towards the budget. Returns the files to take away once this is committed; their lifts' records
    stay, and say why there is no trace.
    """
    c = t.traces.c
    kept = c.path.is_not(None)
    traces_bytes = int(connection.scalar(sa.select(sa.func.sum(c.bytes_n)).where(kept)) or 0)
    over = database_bytes + traces_bytes - keeping.budget_bytes
    oldest = (
        sa.select(c.lift, c.path, c.bytes_n, t.lifts.c.closed_utc_ms)
        .join(t.lifts, t.lifts.c.id == c.lift)
        .where(kept)
        .order_by(t.lifts.c.closed_utc_ms)
        .limit(TRACES_AT_ONCE_N)
    )
    files = []
    for row in list(connection.execute(oldest)):
        if row.closed_utc_ms / 1000.0 < now_utc_s - keeping.trace_keep_s:
            why = "let go after the time traces are kept"
        elif over > 0:
            why = "let go to keep to the disk budget"
        else:
            break
        over -= row.bytes_n
        files.append(row.path)
        connection.execute(sa.update(t.traces).where(c.lift == row.lift).values(path=None, bytes_n=0, error=why))
    return files
