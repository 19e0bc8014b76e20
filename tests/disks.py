"""Real small disks for the tests, and how to fill them."""

import contextlib
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path


@contextlib.contextmanager
def small_disk(folder: Path, *, size: str) -> Iterator[Path]:
    """A disk of its own at ``folder``; needs root, as ``.ci/run`` has."""
    folder.mkdir(parents=True, exist_ok=True)
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(folder)], check=True)
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def fill(disk: Path) -> None:
    """Leave not one byte free."""
    with (disk / "filler").open("wb", buffering=0) as file, contextlib.suppress(OSError):
        while True:
            file.write(b"\0" * min(65536, max(1, shutil.disk_usage(disk).free)))
