"""Trends for the pages: read once, followed once, asked by whoever opens a page. One thread at a time works them out."""

import logging
import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from monitor.clock import utc_s

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from monitor.care import Care, Carer
    from monitor.core.config import LifterConfig
    from monitor.store.records import Reader

log = logging.getLogger(__name__)

WARM_EVERY_S: Final = 20.0


@dataclass(frozen=True, slots=True)
class Caring:
    """The lifters of a site as their site file has them, each with its trends and list."""

    time_zone: str
    configs: "Mapping[str, LifterConfig]"
    cares: "Mapping[str, Care]"
    now_utc_s: float


class Desk:
    """Made once for a server; ``caring`` may be called from any thread."""

    def __init__(self, open_store: "Callable[[], Reader]") -> None:
        self._open_store = open_store
        self._lock = threading.Lock()
        self._reader: Reader | None = None
        self._carer: Carer | None = None

    def keep_warm(self) -> None:
        """Follow new lifts now and then in a thread of its own, so that whoever opens the page finds it done."""
        threading.Thread(target=self._keep_warm, name="trends", daemon=True).start()

    def _keep_warm(self) -> None:
        pause = threading.Event()
        while not pause.wait(WARM_EVERY_S):
            try:
                self.caring()
            except Exception as error:  # noqa: BLE001 - whoever opens the page is told; this thread tries again
                log.debug("trends: %s", error)

    def caring(self) -> Caring | None:
        """All lifters now; None when no engine has worked on this store yet.

        Raises:
            StoreError: The store cannot be read.
        """
        from monitor.care import Carer  # with the store itself, loaded at the first need
        from monitor.settings.site import read_site

        with self._lock:
            if self._reader is None or self._carer is None:
                self._reader = self._open_store()
                self._carer = Carer(self._reader)
            text = self._reader.settings_in_force()
            if text is None:
                return None
            site = read_site(text, name="the site file kept in the data folder")
            now_utc_s = utc_s()
            cares = {
                name: self._carer.care(config, site.time_zone, now_utc_s) for name, config in site.core.lifters.items()
            }
            return Caring(site.time_zone, site.core.lifters, cares, now_utc_s)
