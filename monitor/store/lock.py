"""One engine per data folder: a lock the operating system drops by itself when the process ends."""

import contextlib
import os
import sys
from pathlib import Path
from typing import IO

from monitor.store.errors import NotOursError


class FolderLock:
    """Holds ``engine.lock`` in a data folder until ``release``.

    Raises:
        NotOursError: Another engine holds it; the text names the folder and that process.
    """

    def __init__(self, data: Path) -> None:
        path = data / "engine.lock"
        self._file: IO[str] = open(os.open(path, os.O_RDWR | os.O_CREAT, 0o600), "r+", encoding="ascii")  # noqa: SIM115, PTH123
        try:
            _take(self._file)
        except OSError:
            holder = self._file.read().strip() or "unknown"
            self._file.close()
            raise NotOursError(
                f"{data}: another Holdwatch engine (process {holder}) is using this data folder. "
                "Nothing was started. Stop that one, or name another folder with --data."
            ) from None
        with contextlib.suppress(OSError):  # on a full disk: the lock holds without the number too
            self._file.truncate(0)
            self._file.write(str(os.getpid()))
            self._file.flush()

    def release(self) -> None:
        self._file.close()


if sys.platform == "win32":
    import msvcrt

    def _take(file: IO[str]) -> None:
        file.seek(1024)  # beyond the text, which a second engine must still be able to read
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        file.seek(0)
else:
    import fcntl

    def _take(file: IO[str]) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
