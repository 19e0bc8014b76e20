"""The tables of the store, the same on SQLite and PostgreSQL.

Times are UTC epoch milliseconds (``..._utc_ms``) or engine seconds (``now_s``), never naive datetimes. What is rich and
versioned (records, actions) is JSON text, kept byte for byte as it was written, because records are hashed.
"""

from typing import Final

import sqlalchemy as sa

SCHEMA_VERSION: Final = 1

metadata = sa.MetaData()

meta = sa.Table(
    "meta",
    metadata,
    sa.Column("key", sa.Text, primary_key=True),
    sa.Column("value", sa.Text, nullable=False),
)

# Append only, in the order the engine took things; a missing id is a row dropped while the disk did not follow.
journal = sa.Table(
    "journal",
    metadata,
    sa.Column("id", sa.BigInteger().with_variant(sa.Integer, "sqlite"), primary_key=True, autoincrement=False),
    sa.Column("now_s", sa.Double, nullable=False, index=True),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("lifter", sa.Text, nullable=False),
    sa.Column("payload", sa.LargeBinary, nullable=False),
)

# The engine's state after the journal row ``journal_id``; ``version`` says which program and settings can read it, and
# ``keep_since_s`` from where on the journal would have to be replayed to come to the same state without it.
snapshots = sa.Table(
    "snapshots",
    metadata,
    sa.Column("journal_id", sa.BigInteger().with_variant(sa.Integer, "sqlite"), primary_key=True, autoincrement=False),
    sa.Column("now_s", sa.Double, nullable=False),
    sa.Column("utc_minus_now_s", sa.Double, nullable=False),
    sa.Column("keep_since_s", sa.Double, nullable=False),
    sa.Column("version", sa.Text, nullable=False),
    sa.Column("blob", sa.LargeBinary, nullable=False),
)

# ``journal_id`` is where the engine took the action; null means on disk but not known to be taken yet.
actions = sa.Table(
    "actions",
    metadata,
    sa.Column("id", sa.Text, primary_key=True),
    sa.Column("utc_ms", sa.BigInteger, nullable=False, index=True),
    sa.Column("lifter", sa.Text, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("who", sa.Text, nullable=False),
    sa.Column("role", sa.Text, nullable=False),
    sa.Column("body", sa.Text, nullable=False),
    sa.Column("journal_id", sa.BigInteger, nullable=True),
)

# Moves of alarms. The key makes writing a move again, when a journal is replayed after a crash, change nothing.
alarms = sa.Table(
    "alarms",
    metadata,
    sa.Column("raising", sa.Text, primary_key=True),
    sa.Column("moved", sa.Text, primary_key=True),
    sa.Column("at_s", sa.Double, primary_key=True),
    sa.Column("utc_ms", sa.BigInteger, nullable=False, index=True),
    sa.Column("lifter", sa.Text, nullable=False),
    sa.Column("key", sa.Text, nullable=False),
    sa.Column("about", sa.Text, nullable=False),
    sa.Column("state", sa.Text, nullable=False),
    sa.Column("who", sa.Text, nullable=False),
)

# Closed lifts in the order they were closed. Nothing lets go of a record: one that is null was taken away by somebody.
lifts = sa.Table(
    "lifts",
    metadata,
    sa.Column("n", sa.BigInteger().with_variant(sa.Integer, "sqlite"), primary_key=True, autoincrement=False),
    sa.Column("id", sa.Text, nullable=False, unique=True),
    sa.Column("site", sa.Text, nullable=False),
    sa.Column("lifter", sa.Text, nullable=False),
    sa.Column("opened_utc_ms", sa.BigInteger, nullable=False),
    sa.Column("closed_utc_ms", sa.BigInteger, nullable=False),
    sa.Column("opened_now_s", sa.Double, nullable=False),
    sa.Column("closed_now_s", sa.Double, nullable=False),
    sa.Column("schema", sa.Integer, nullable=False),
    sa.Column("record", sa.Text, nullable=True),
    sa.Column("prev_hash", sa.Text, nullable=False),
    sa.Column("hash", sa.Text, nullable=False),
    sa.Index("lifts_by_lifter", "lifter", "opened_utc_ms"),
    sa.Index("lifts_by_time", "opened_utc_ms"),
)

# One Parquet file per closed lift, or why there is none.
traces = sa.Table(
    "traces",
    metadata,
    sa.Column("lift", sa.Text, primary_key=True),
    sa.Column("path", sa.Text, nullable=True),
    sa.Column("sha256", sa.Text, nullable=True),
    sa.Column("rows_n", sa.BigInteger, nullable=False),
    sa.Column("bytes_n", sa.BigInteger, nullable=False),
    sa.Column("error", sa.Text, nullable=True),
)

# Every site file text that was ever in force, each text once, and every time it came into force.
settings = sa.Table(
    "settings",
    metadata,
    sa.Column("sha256", sa.Text, primary_key=True),
    sa.Column("text", sa.Text, nullable=False),
)
settings_used = sa.Table(
    "settings_used",
    metadata,
    sa.Column("utc_ms", sa.BigInteger, primary_key=True, autoincrement=False),
    sa.Column("sha256", sa.Text, nullable=False),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("program", sa.Text, nullable=False),
)
