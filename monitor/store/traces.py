"""The trace of a closed lift: everything that came in and what was called, one Parquet file per lift.

One row per message, in the order they were taken, and one per change of call between them. Columns: ``kind``
(``reading``, ``late``, ``doubled``, ``retained``, ``unreadable``, ``judged``), ``now_s`` (engine seconds), ``utc_s``
(when taken), then the numbers of the message under their own names (``load_kg``), per circuit as ``A.vacuum_kpa``,
``A.pump``, per gauge as ``A.gauges.1``, then ``call``, ``release``, ``phase``, ``margin_kg`` as judged at that moment,
``seal_test`` (which, and how far), and ``extra``: the JSON of whatever a message carried besides, so that nothing that
was sent is lost.
"""

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

import msgspec

from monitor.store.database import put_in_place

CHUNK_ROWS: Final = 5_000
"""Rows held in memory at a time."""

TRACE_VERSION: Final = "1"

NUMBERS: Final = (
    "time",
    "seq",
    "load_kg",
    "tilt_deg",
    "rotation_deg",
    "height_m",
    "ambient_kpa",
    "temperature_c",
    "battery_v",
    "wind_m_s",
)
TEXTS: Final = ("boot", "release_valve")
FLAGS: Final = ("lifter_alarm",)
CIRCUIT_NUMBERS: Final = ("vacuum_kpa", "pressure_abs_kpa")
JUDGED_TEXTS: Final = ("call", "release", "phase", "seal_test")
JUDGED_NUMBERS: Final = ("margin_kg",)

EXACT_N: Final = 2**53
"""Whole numbers beyond this are not exact in a column of floats."""

MESSAGES: Final = frozenset({"reading", "retained", "unreadable", "late", "doubled"})
"""Journal kinds whose payload is the bytes a lifter sent; ``judged`` is what the engine made of them."""


@dataclass(frozen=True, slots=True)
class TraceRow:
    """One journal row that belongs in a trace."""

    kind: str
    now_s: float
    payload: bytes


@dataclass(frozen=True, slots=True)
class TraceFile:
    """A trace that is whole and on the disk; ``path`` is relative to the data folder."""

    path: str
    sha256: str
    rows_n: int
    bytes_n: int


@dataclass(slots=True)
class _Judged:
    """What was last called, carried from row to row."""

    values: dict[str, Any] = field(default_factory=dict)
    utc_minus_now_s: float | None = None


def trace_path(lift: str) -> str:
    """Where a lift's trace stands, relative to the data folder. Any lift id makes one plain file name."""
    return f"traces/{quote(lift, safe='')}.parquet"


def write_trace(data: Path, lift: str, rows: Iterable[TraceRow], circuits: Mapping[str, Iterable[str]]) -> TraceFile:
    """Write the trace of one lift; it has its name only when it is complete.

    Args:
        data: The data folder.
        lift: The lift's id.
        rows: In the order they were taken.
        circuits: The circuits to give columns to, each with its gauges; others go to ``extra``.

    Raises:
        OSError: The file cannot be written.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    path = data / trace_path(lift)
    path.parent.mkdir(mode=0o700, exist_ok=True)
    partial = path.with_name(path.name + ".partial")
    schema = pa.schema(_columns(circuits, pa), metadata={"lift": lift, "holdwatch_trace": TRACE_VERSION})
    rows_n = 0
    judged = _Judged()
    source = iter(rows)
    try:
        with partial.open("wb") as file:
            partial.chmod(0o600)
            with pq.ParquetWriter(file, schema, compression="zstd") as writer:
                while chunk := [_flat(row, circuits, judged) for row in islice(source, CHUNK_ROWS)]:
                    writer.write_table(pa.Table.from_pylist(chunk, schema=schema))
                    rows_n += len(chunk)
        digest = _sha256(partial)
        bytes_n = partial.stat().st_size
        put_in_place(partial, path)
    finally:
        partial.unlink(missing_ok=True)
    return TraceFile(trace_path(lift), digest, rows_n, bytes_n)


def read_trace(path: Path, only: tuple[str, ...] | None = None) -> dict[str, list[Any]]:
    """A trace as columns, each a list in row order, None where a row has no such value.

    Args:
        path: Its file.
        only: The columns wanted, as far as there are such; all without it.

    Raises:
        OSError: It cannot be read, or is no Parquet file.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        columns: dict[str, list[Any]] = pq.read_table(path, columns=only and list(only), partitioning=None).to_pydict()
    except pa.ArrowInvalid as error:
        raise OSError(f"{path.name} is no trace: {error}") from error
    return columns


def trace_sha256(path: Path) -> str:
    return _sha256(path)


def circuits_of(record: Mapping[str, Any], rows: Iterable[TraceRow]) -> dict[str, tuple[str, ...]]:
    """The circuits of a lift's record, each with the gauges its first few messages name."""
    found: dict[str, dict[str, None]] = {circuit: {} for circuit in record.get("circuits", {})}
    for row in rows:
        said = _json(row.payload) if row.kind in MESSAGES else None
        for name, gauges in found.items():
            for gauge in islice(
                _mapping(_mapping(_mapping(_mapping(said).get("circuits")).get(name)).get("gauges")), 8
            ):
                gauges[gauge] = None
    return {name: tuple(gauges) for name, gauges in found.items()}


def _columns(circuits: Mapping[str, Iterable[str]], pa: Any) -> Iterator[tuple[str, Any]]:
    yield from (("kind", pa.dictionary(pa.int8(), pa.string())), ("now_s", pa.float64()), ("utc_s", pa.float64()))
    yield from ((name, pa.float64()) for name in NUMBERS)
    yield from ((name, pa.string()) for name in TEXTS)
    yield from ((name, pa.bool_()) for name in FLAGS)
    for circuit, gauges in circuits.items():
        yield from ((f"{circuit}.{name}", pa.float64()) for name in CIRCUIT_NUMBERS)
        yield f"{circuit}.pump", pa.string()
        yield from ((f"{circuit}.gauges.{gauge}", pa.float64()) for gauge in gauges)
    yield from ((name, pa.string()) for name in JUDGED_TEXTS)
    yield from ((name, pa.float64()) for name in JUDGED_NUMBERS)
    yield "extra", pa.string()


def _flat(row: TraceRow, circuits: Mapping[str, Iterable[str]], judged: _Judged) -> dict[str, Any]:
    said = _json(row.payload)
    if row.kind == "judged":
        told = _mapping(said)
        judged.values = {name: told.get(name) for name in (*JUDGED_TEXTS, *JUDGED_NUMBERS)}
        judged.utc_minus_now_s = told["utc_minus_now_s"]
        out: dict[str, Any] = {}
    else:
        out = _message(said, circuits) if isinstance(said, dict) else {"extra": row.payload.decode(errors="replace")}
    out |= judged.values
    out |= {"kind": row.kind, "now_s": row.now_s}
    if judged.utc_minus_now_s is not None:
        out["utc_s"] = row.now_s + judged.utc_minus_now_s
    return out


def _message(said: dict[str, Any], circuits: Mapping[str, Iterable[str]]) -> dict[str, Any]:
    """One message in columns; what does not fit its column stays, as it came, in ``extra``."""
    out: dict[str, Any] = {}
    rest = dict(said)

    def take(holder: dict[str, Any], name: str, column: str, fits: type | tuple[type, ...]) -> None:
        value = holder.get(name)
        if not isinstance(value, fits) or (isinstance(value, bool) and fits is not bool):
            return
        if isinstance(value, int) and abs(value) > EXACT_N:
            return
        out[column] = value
        del holder[name]

    for name in NUMBERS:
        take(rest, name, name, (int, float))
    for name in TEXTS:
        take(rest, name, name, str)
    for name in FLAGS:
        take(rest, name, name, bool)
    if isinstance(rest.get("circuits"), dict):
        left = {}
        for circuit, content in rest.pop("circuits").items():
            if circuit in circuits and isinstance(content, dict):
                holder = dict(content)
                for name in CIRCUIT_NUMBERS:
                    take(holder, name, f"{circuit}.{name}", (int, float))
                take(holder, "pump", f"{circuit}.pump", str)
                if isinstance(holder.get("gauges"), dict):
                    holder["gauges"] = dict(holder["gauges"])
                    for gauge in circuits[circuit]:
                        take(holder["gauges"], gauge, f"{circuit}.gauges.{gauge}", (int, float))
                    if not holder["gauges"]:
                        del holder["gauges"]
                if holder:
                    left[circuit] = holder
            else:
                left[circuit] = content
        if left:
            rest["circuits"] = left
    if rest:
        out["extra"] = msgspec.json.encode(rest).decode()
    return out


def _json(payload: bytes) -> Any:
    try:
        return msgspec.json.decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None


def _mapping(value: object) -> Mapping[str, Any]:
    return value if isinstance(value, dict) else {}


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
