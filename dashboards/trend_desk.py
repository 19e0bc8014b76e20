"""Trends for the pages: read once, followed once, asked by whoever opens a page. One thread at a time works them out."""

import logging
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from monitor.clock import utc_s

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from monitor.care import Care
    from monitor.core.config import LifterConfig
    from monitor.store.records import Reader

log = logging.getLogger(__name__)

WARM_FIRST_S: Final = 3.0  # once the live pages are up
WARM_EVERY_S: Final = 20.0


@dataclass(frozen=True, slots=True)
class Caring:
    """The lifters of a site as their site file has them, each with its trends and list."""

    site: str
    time_zone: str
    configs: "Mapping[str, LifterConfig]"
    cares: "Mapping[str, Care]"
    now_utc_s: float
    is_own: bool = True  # else collected from another site: its lifts are not in this site's store


class Desk:
    """Made once for a server; every method may be called from any thread."""

    def __init__(self, open_store: "Callable[[], Reader]", data: Path) -> None:
        """``open_store`` opens the site's own store; ``data`` is its folder, under which a fleet may be kept."""
        self._open_store = open_store
        self._data = data
        self._lock = threading.Lock()
        self._own: _Store | None = None
        self._others: dict[tuple[str, int], _Store] = {}

    def keep_warm(self) -> None:
        """Follow new lifts now and then in a thread of its own, so that whoever opens the page finds it done."""
        threading.Thread(target=self._keep_warm, name="trends", daemon=True).start()

    def _keep_warm(self) -> None:
        pause = threading.Event()
        wait_s = WARM_FIRST_S
        while not pause.wait(wait_s):
            wait_s = WARM_EVERY_S
            try:
                self.caring()
            except Exception as error:  # noqa: BLE001 - whoever opens the page is told; this thread tries again
                log.debug("trends: %s", error)

    def caring(self) -> Caring | None:
        """All lifters of the site now; None when no engine has worked on this store yet.

        Raises:
            StoreError: The store cannot be read.
        """
        with self._lock:
            if self._own is None:
                self._own = _Store(self._open_store())
            return self._own.caring()

    def of(self, site: str) -> Caring | None:
        """The lifters of one site, ``""`` for the site's own.

        Raises:
            StoreError: A store cannot be read.
        """
        return next((one for one in self.fleet() if one.site == site), None) if site else self.caring()

    def fleet(self) -> list[Caring]:
        """The site's own lifters and those of the sites collected under its folder.

        Raises:
            StoreError: A store cannot be read.
        """
        from monitor.fleet import folders
        from monitor.store.database import IN_FOLDER
        from monitor.store.records import open_reader

        own = self.caring()
        found = [] if own is None else [own]
        with self._lock:
            there = {(str(folder), folder.stat().st_ino): folder for folder in folders(self._data)}
            for gone in set(self._others) - set(there):
                self._others.pop(gone).reader.close()
            for key, folder in there.items():
                if key not in self._others:
                    self._others[key] = _Store(open_reader(folder, IN_FOLDER))
                caring = self._others[key].caring(is_own=False)
                if caring is not None and (own is None or caring.site != own.site):
                    found.append(caring)
        return found


class _Store:
    """One store with what was followed in it."""

    def __init__(self, reader: "Reader") -> None:
        from monitor.care import Carer  # with the store itself, loaded at the first need

        self.reader = reader
        self._carer = Carer(reader)

    def caring(self, *, is_own: bool = True) -> Caring | None:
        from monitor.settings.site import read_site

        text = self.reader.settings_in_force()
        if text is None:
            return None
        site = read_site(text, name="the site file kept in the data folder")
        now_utc_s = utc_s()
        cares = {
            name: self._carer.care(config, site.time_zone, now_utc_s) for name, config in site.core.lifters.items()
        }
        return Caring(site.site, site.time_zone, site.core.lifters, cares, now_utc_s, is_own)
