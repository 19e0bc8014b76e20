"""The engine as it was when it ended: the last state kept, and the journal after it through the same steps.

A state that cannot be read again (broken, of another program version or other settings) is passed over for an older
one, and at last for the journal alone. What is missing is named as a gap; nothing is believed until it is heard again.
"""

import hmac
import logging
import os
import pickle
import secrets
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from monitor.actions import action_of
from monitor.core import engine
from monitor.core.engine import SiteState
from monitor.core.events import ActionCame, ActionKind, AlarmMoved, Effect, LiftClosed
from monitor.drive import Drive
from monitor.journalled import RESUMED, event_of
from monitor.settings.site import SiteSettings
from monitor.store.records import JournalRow, Reader, Snapshot

log = logging.getLogger(__name__)

KEY_FILE: Final = "state.key"
KEY_BYTES: Final = 32
SEAL_BYTES: Final = 32

WARM_UP_S: Final = 600.0
"""Without a state the journal is replayed from so long before the oldest lift in progress, and before the end."""

JOURNAL_MAX_N: Final = 20_000
"""At most so many rows are replayed without a state: about as many seconds as thousands of rows."""

SERVICE_ACTS_MAX_N: Final = 10_000

Keep = Callable[[AlarmMoved | LiftClosed, SiteState], None]


@dataclass(frozen=True, slots=True)
class Restored:
    """Where the engine goes on from. ``down_since_s`` is None on the first start of all."""

    drive: Drive
    down_since_s: float | None


class Sealer:
    """Pickles states and knows its own again. Unpickling runs code: nobody else's bytes are ever unpickled.

    Where the key cannot be kept in the data folder, the states of this run cannot be read by the next.
    """

    def __init__(self, data: Path) -> None:
        path = data / KEY_FILE
        try:
            self._key = path.read_bytes() if path.exists() else b""
            if len(self._key) != KEY_BYTES:
                self._key = secrets.token_bytes(KEY_BYTES)
                path.unlink(missing_ok=True)
                with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:  # noqa: PTH123 - a mode
                    file.write(self._key)
        except OSError as error:
            log.error("the key of the states cannot be kept in %s: %s", path, error.strerror)  # noqa: TRY400 - in words
            self._key = secrets.token_bytes(KEY_BYTES)

    def seal(self, state: SiteState) -> bytes:
        pickled = pickle.dumps(state, pickle.HIGHEST_PROTOCOL)
        return hmac.digest(self._key, pickled, "sha256") + pickled

    def open(self, blob: bytes) -> SiteState:
        """The state in ``blob``.

        Raises:
            ValueError: It is not as this program sealed it.
        """
        seal, pickled = blob[:SEAL_BYTES], blob[SEAL_BYTES:]
        if not hmac.compare_digest(seal, hmac.digest(self._key, pickled, "sha256")):
            raise ValueError("the seal does not fit")
        state = pickle.loads(pickled)  # noqa: S301 - sealed by this folder's own key
        if not isinstance(state, SiteState):
            raise TypeError(f"a {type(state).__name__} is no state")
        return state


def restore(
    reader: Reader, site: SiteSettings, sealer: Sealer, *, utc_s: float, state_version: str, version: str, keep: Keep
) -> Restored:
    """Bring the engine back from the store.

    Args:
        reader: The store.
        site: The settings in force now.
        sealer: What sealed the states.
        utc_s: UTC now, for engine time to go on over the time between.
        state_version: Which states can be gone on from.
        version: The program's, for the records of lifts to come.
        keep: Takes alarm moves and closed lifts of the last moments, which may not have reached the disk.

    Raises:
        StoreError: The store cannot be read.
    """
    snapshots = reader.snapshots()
    state, snapshot = _last_state(snapshots, sealer, state_version)
    if state is not None and snapshot is not None:
        drive = Drive(state, snapshot.now_s)
        rows: Iterable[JournalRow] = reader.journal(after_id=snapshot.journal_id)
        last_id: int | None = snapshot.journal_id
    else:
        drive, rows, last_id = _from_journal(reader, site, snapshots, version)
    known = bool(snapshots)
    for row in rows:
        known = True
        _take(drive, row, last_id, keep if state is not None else _only_lifts(keep))
        last_id = row.id
    if state is None:  # a click on a page from before must never name a raising yet to come
        _count_raisings(drive.state, reader.last_raisings())
    if not known:
        return fresh(site, utc_s, version)
    drive.state.version = version
    down_since_s = max([drive.now_s, *(one.now_s for one in snapshots)])
    # Engine time goes on by the UTC time that has passed, and never back, whatever was done to the clock meanwhile.
    drive.now_s = max(down_since_s, utc_s - drive.state.utc_minus_now_s)
    return Restored(drive, down_since_s)


def fresh(site: SiteSettings, utc_s: float, version: str) -> Restored:
    """An engine nobody has run before: its time begins as UTC."""
    return Restored(Drive(engine.begin(site.core, version=version), utc_s), None)


def _last_state(
    snapshots: list[Snapshot], sealer: Sealer, state_version: str
) -> tuple[SiteState | None, Snapshot | None]:
    for snapshot in snapshots:
        if snapshot.version != state_version:
            log.warning("the state kept at %.1f is of another version or other settings", snapshot.now_s)
            continue
        try:
            return sealer.open(snapshot.blob), snapshot
        except Exception:  # unpickling raises whatever it likes; the journal is still there
            log.exception("the state kept at %.1f cannot be read", snapshot.now_s)
    return None, None


def _from_journal(
    reader: Reader, site: SiteSettings, snapshots: list[Snapshot], version: str
) -> tuple[Drive, Iterable[JournalRow], int | None]:
    """A fresh engine, and the rows that bring it to where the last one was."""
    state = engine.begin(site.core, version=version)
    newest = reader.newest_row()
    if newest is None:
        return Drive(state, 0.0), (), None
    since_s = min([newest.now_s, *(one.keep_since_s for one in snapshots[:1])]) - WARM_UP_S
    # The same alarms are raised again under the same numbers, so that acknowledges in the journal still name them.
    _count_raisings(state, reader.last_raisings(since_s))
    _take_out_of_service(state, reader, since_s)
    rows = reader.journal(after_id=max(newest.id - JOURNAL_MAX_N, 0), since_s=since_s)
    return Drive(state, since_s), rows, None


def _take_out_of_service(state: SiteState, reader: Reader, now_s: float) -> None:
    """Alarms stay out of service however long ago that was said; the engine refuses again what it refused then."""
    for said in reader.actions(kinds=(ActionKind.OUT_OF_SERVICE, ActionKind.IN_SERVICE), limit=SERVICE_ACTS_MAX_N):
        action = action_of(said)
        if action is not None:
            engine.step(state, ActionCame(action), now_s)


def _count_raisings(state: SiteState, last: dict[str, int]) -> None:
    for lifter, raisings_n in last.items():
        if lifter in state.lifters:
            board = state.lifters[lifter].board
            board.raisings_n = max(board.raisings_n, raisings_n)


def _take(drive: Drive, row: JournalRow, last_id: int | None, keep: Keep) -> None:
    """Step one row again. A row that cannot be stepped was none for the engine before either."""
    try:
        if last_id is None or row.kind == RESUMED:  # nothing ticked between
            drive.now_s = row.now_s
        elif row.id != last_id + 1:  # rows were dropped here while the disk did not follow
            log.warning("the journal has a hole of %d rows before %.1f", row.id - last_id - 1, row.now_s)
            _keep_all(drive.resume(row.now_s), drive, keep)
        for _, effects in drive.advance(row.now_s):
            _keep_all(effects, drive, keep)
        event = event_of(row.kind, row.lifter, row.payload)
        if event is not None:
            _keep_all(drive.take(event), drive, keep)
    except Exception:  # whatever one row does must not keep the others, and the lift in progress, from coming back
        log.exception(
            "a row of the journal could not be taken again: %s of %s at %.1f", row.kind, row.lifter, row.now_s
        )


def _keep_all(effects: Iterable[Effect], drive: Drive, keep: Keep) -> None:
    for effect in effects:
        if isinstance(effect, AlarmMoved | LiftClosed):
            keep(effect, drive.state)


def _only_lifts(keep: Keep) -> Keep:
    """Without a state the alarms that are raised again have been written before; a closed lift may not have been."""

    def kept(effect: AlarmMoved | LiftClosed, state: SiteState) -> None:
        if isinstance(effect, LiftClosed):
            keep(effect, state)

    return kept
