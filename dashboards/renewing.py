"""A renewed certificate counts for every new connection, and no page is cut off."""

import asyncio
import logging
import ssl
from pathlib import Path
from typing import Final

LOOK_EVERY_S: Final = 5.0

log = logging.getLogger(__name__)


async def renewed(context: ssl.SSLContext, certificate: Path, key: Path) -> None:
    """Load certificate and key into ``context`` again whenever their files changed. Goes on for ever.

    A pair that cannot be loaded (half of it renewed, say) is said, the old one goes on, and the next look tries again.
    """
    loaded = told = _stamp(certificate, key)
    while True:
        await asyncio.sleep(LOOK_EVERY_S)
        found = _stamp(certificate, key)
        if found == loaded:
            continue
        try:
            # Tried on a context of its own first: one that takes the certificate but not the key would serve neither.
            ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key)
            context.load_cert_chain(certificate, key)
        except (OSError, ssl.SSLError) as error:
            if found != told:
                log.warning("the new certificate in %s cannot be used (%s); the old one goes on", certificate, error)
                told = found
            continue
        log.warning("a new certificate counts from now on: %s", certificate)
        loaded = told = found


def _stamp(*paths: Path) -> tuple[tuple[int, int], ...]:
    stats = [path.stat() if path.exists() else None for path in paths]
    return tuple((0, 0) if stat is None else (stat.st_mtime_ns, stat.st_ino) for stat in stats)
