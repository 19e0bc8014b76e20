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
    """The version of this program; ``uninstalled`` for a copy that runs from where it was unpacked."""
    try:
        return version("holdwatch")
    except PackageNotFoundError:
        return "uninstalled"


def settings_sha256(site: SiteSettings) -> str:
    """Names the site file's text, as 64 hex digits. Check: what ``sha256sum FILE`` says of a file in UTF-8 without a mark."""
    return hashlib.sha256(site.text.encode()).hexdigest()


def core_sha256() -> str:
    """Names the very rules at work, whatever the version says: the hash of the core's sources, in hex."""
    digest = hashlib.sha256()
    for source in sorted(Path(core.__path__[0]).glob("*.py")):
        digest.update(source.read_bytes())
    return digest.hexdigest()


def state_version(site: SiteSettings) -> str:
    """Names the very core and settings a kept state was made by: only they can go on from it."""
    return hashlib.sha256((sys.version + site.text + core_sha256()).encode()).hexdigest()


def record_of(summary: Summary, site: SiteSettings) -> dict[str, object]:
    """A lift's record as it is kept and published: the summary, where it was, and the settings that judged it."""
    record = summary_dict(summary)
    lifter = site.core.lifters[summary.log.lifter]
    circuits = record["circuits"]
    if isinstance(circuits, dict):
        for name, circuit in circuits.items():
            circuit["warning_kpa"] = lifter.circuits[name].warning_kpa
    return {
        "site": site.site,
        "lifter_name": lifter.name or lifter.id,
        "time_zone": site.time_zone,
        **record,
        "site_file_sha256": settings_sha256(site),
    }
