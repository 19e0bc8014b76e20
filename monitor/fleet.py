"""Several sites in one place: each site's newest backup as a data folder of its own under ``fleet/``.

Sites send backups as files, by whatever way there is, in any order and as often as they like: of each site the backup
with the most lifts stays, and only one that goes on the chain of records there is takes its place.
"""

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from monitor.store.backup import restore
from monitor.store.database import IN_FOLDER
from monitor.store.errors import StoreError
from monitor.store.records import open_reader

FLEET: Final = "fleet"


@dataclass(frozen=True, slots=True)
class Collected:
    """What came of one backup: ``new_n`` lifts of a site that were not here yet; 0 when it is older than what there is."""

    site: str
    lifts_n: int
    new_n: int


def folders(data: Path) -> list[Path]:
    """The data folders of the sites collected so far, by name."""
    return sorted(path for path in (data / FLEET).glob("*") if (path / "holdwatch.db").is_file())


def kept_in(data: Path) -> str:
    """Where the records of collected sites are, in words, for who asks the folder above them; nothing where there are none."""
    return "".join(f" A site's records are kept in {folder}." for folder in folders(data))


def collect(data: Path, backup: Path) -> Collected:
    """Take in a site's backup.

    Args:
        data: The data folder under which the fleet is kept.
        backup: What ``backup`` wrote on the site.

    Raises:
        StoreError: It is no whole backup, names no site, has records that were changed, or does not go on the chain
            of what was collected of that site before. Nothing was changed.
    """
    fleet = data / FLEET
    try:
        fleet.mkdir(mode=0o700, parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".collect-", dir=fleet) as folder:
            fresh = Path(folder) / "data"
            restore(backup, fresh, IN_FOLDER)
            chain = _chain(fresh)
            if not chain:
                raise StoreError(f"{backup}: holds no lift, so it names no site. Nothing was changed.")
            site = chain[-1][0]
            kept = fleet / site
            before = _chain(kept) if kept.exists() else []
            if chain[: len(before)] == before:
                if kept.exists():
                    kept.rename(Path(folder) / "old")
                fresh.rename(kept)
            elif before[: len(chain)] != chain:
                raise StoreError(
                    f"{backup}: its records do not go on those of site {site} collected before: one of the two was "
                    f"changed, or two sites have one name. Nothing was changed. Look at both with verify."
                )
            return Collected(site, len(chain), max(0, len(chain) - len(before)))
    except OSError as error:
        raise StoreError(f"{fleet}: {error.strerror or error}. Nothing was changed.") from error


def _chain(data: Path) -> list[tuple[str, str]]:
    """Site and hash of each closed lift, in order, once the records were found unchanged."""
    reader = open_reader(data, IN_FOLDER)
    try:
        misfit = reader.verify()
        if misfit is not None and not misfit.reason.startswith("trace"):
            raise StoreError(f"{data}: lift {misfit.lift} does not fit ({misfit.reason}). Nothing was changed.")
        return reader.hashes()
    finally:
        reader.close()
