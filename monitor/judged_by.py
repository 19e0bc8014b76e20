"""What judged a lift: the program's version and the settings, named in every record."""

import hashlib
import sys
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from monitor import core
from monitor.core.summary import Summary
from monitor.settings.site import SiteSettings
from monitor.words.say import summary_dict


def program_version() -> str:
    """The version of this program, or that it was never installed."""
    try:
        return version("holdwatch")
    except PackageNotFoundError:
        return "not installed"


def settings_sha256(site: SiteSettings) -> str:
    """Names the site file's text, as 64 hex digits. Check: what ``sha256sum FILE`` says of a file in UTF-8 without a mark."""
    return hashlib.sha256(site.text.encode()).hexdigest()


def state_version(site: SiteSettings) -> str:
    """Names the very core and settings a kept state was made by: only they can go on from it."""
    digest = hashlib.sha256(sys.version.encode() + site.text.encode())
    for source in sorted(Path(core.__path__[0]).glob("*.py")):
        digest.update(source.read_bytes())
    return digest.hexdigest()


def record_of(summary: Summary, site: SiteSettings) -> dict[str, object]:
    """A lift's record as it is kept and published: the summary, where it was, and the settings that judged it."""
    return {"site": site.site, **summary_dict(summary), "site_file_sha256": settings_sha256(site)}
