"""What a long run has done so far, beside the file it is to write: a run that was cut off goes on where it was.

The first line says what the work was done by. Another run goes on only if the same would do it now.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, BinaryIO, Final, Self

import msgspec

ENDING: Final = ".part"


class Unfinished:
    """The lines of a file to be written, a line of JSON a lift, in the order they were done."""

    def __init__(self, out: Path, done_by: Mapping[str, str]) -> None:
        """Go on with what an earlier run left beside ``out``, or begin.

        Args:
            out: The file to be written once all is done.
            done_by: What does the work, by name; work done by anything else is begun again.

        Raises:
            OSError: The file beside ``out`` cannot be read or written.
        """
        self._out, self._path = out, out.with_name(out.name + ENDING)
        self.done: set[str] = set()
        self.differs: list[str] = []
        """What of ``done_by`` is not known to have been the same in an earlier run: nothing of it was taken over."""
        first = msgspec.json.encode({"done_by": dict(done_by)}) + b"\n"
        self._first_length = len(first)
        if self._path.exists():
            self._take_over(dict(done_by))
        if not self.done:
            self._path.write_bytes(first)
        self._file: BinaryIO = self._path.open("ab")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def add(self, lift: str, line: bytes) -> None:
        """One lift is done; ``line`` ends with a line feed."""
        self._file.write(line)
        self._file.flush()
        self.done.add(lift)

    def finish(self) -> int:
        """Write the lines in the order of their lifts, read one at a time; returns how many there are."""
        self._file.close()
        places: list[tuple[str, int, int]] = []
        draft = self._out.with_name(self._out.name + ".draft")
        with self._path.open("rb") as file, draft.open("wb") as target:
            at = self._first_length
            file.seek(at)
            for line in file:
                places.append((_read(line)["lift"], at, len(line)))
                at += len(line)
            for _, begins, length in sorted(places):
                file.seek(begins)
                target.write(file.read(length))
        draft.replace(self._out)
        self._path.unlink()
        return len(places)

    def _take_over(self, done_by: dict[str, str]) -> None:
        """What an earlier run did; a last line that was cut off is taken away."""
        with self._path.open("r+b") as file:
            first = file.readline()
            if not first.endswith(b"\n"):
                return  # cut off before anything was done
            before = _read(first).get("done_by")
            if before != done_by:
                before = before if isinstance(before, dict) else {}
                self.differs = [name for name in done_by if before.get(name) != done_by[name]]
                return
            whole_n = len(first)
            for line in file:
                if line.endswith(b"\n"):
                    self.done.add(_read(line)["lift"])
                    whole_n += len(line)
            file.truncate(whole_n)


def _read(line: bytes) -> dict[str, Any]:
    try:
        return msgspec.json.decode(line, type=dict[str, Any])
    except (msgspec.DecodeError, UnicodeDecodeError):
        return {}
