"""A site file read, checked and with its defaults resolved."""

import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo, available_timezones

from monitor.core.config import CoreConfig
from monitor.core.sources import Source
from monitor.settings.addresses import check_broker_url, check_store_url, is_loopback, split_listen
from monitor.settings.check import Findings, InForce, read_section, table, tables
from monitor.settings.faults import Fault, SiteError, did_you_mean, found_text, nearest
from monitor.settings.lifters import read_lifters
from monitor.settings.sources import read_sources
from monitor.settings.table import Section

__all__ = ["BrokerSettings", "PagesSettings", "SiteError", "SiteSettings", "load_site", "read_site"]

MAX_BYTES: Final = 1_048_576


@dataclass(frozen=True, slots=True)
class BrokerSettings:
    """Where readings come from. ``url`` is None when the embedded broker serves."""

    url: str | None
    embedded: bool
    listen: str
    ca_file: str
    protocol: str


@dataclass(frozen=True, slots=True)
class PagesSettings:
    """Where the pages are served, and what a new viewer gets."""

    listen: str
    tls_cert: str
    tls_key: str
    join_link: bool
    units: str
    language: str


@dataclass(frozen=True, slots=True)
class SiteSettings:
    """Everything one site file says, checked. ``text`` is its source, ``notes`` what is allowed yet worth knowing."""

    site: str
    root: str
    time_zone: str
    data_budget_gb: float
    trace_keep_days: int
    store_url: str
    broker: BrokerSettings
    pages: PagesSettings
    core: CoreConfig
    text: str
    notes: tuple[str, ...] = ()
    in_force: tuple[InForce, ...] = ()
    sources: tuple[Source, ...] = ()


def load_site(path: Path) -> SiteSettings:
    """Read and check a site file; files it names are looked for beside it.

    Raises:
        SiteError: It cannot be opened, is no TOML in UTF-8, or does not fit; all faults at once.
    """
    try:
        if path.stat().st_size > MAX_BYTES:
            raise SiteError(str(path), [Fault("", f"is larger than {MAX_BYTES} bytes; is it a site file?")])
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        says = f"cannot be read: {error.strerror or error}."
        raise SiteError(str(path), [Fault("", says, "Name a site file; configs/ holds examples.")]) from error
    except UnicodeDecodeError as error:
        line_n = error.object[: error.start].count(b"\n") + 1
        raise SiteError(str(path), [Fault(f"line {line_n}", "is not UTF-8.", "Save it as UTF-8.")]) from error
    return read_site(text, name=str(path), folder=path.parent)


def read_site(text: str, *, name: str, folder: Path | None = None) -> SiteSettings:
    """Check the text of a site file.

    Args:
        text: TOML.
        name: What errors call the file.
        folder: Where files named in it are looked for; None leaves them unlooked.

    Raises:
        SiteError: It is no TOML or does not fit; ``str()`` lists every fault, one a line.

    Check: a circuit's ``warning_kpa = 520.0`` is refused with "Did you mean 52.0?".
    """
    try:
        found = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise SiteError(name, [Fault("", f"is not TOML: {error}.", _line_named(str(error), text))]) from error
    findings = Findings()
    site = read_section(Section.SITE, found, "", findings, {})
    _check_site(site, findings)
    broker = read_section(Section.BROKER, _table(found, "broker", findings), "broker", findings, {})
    _check_broker(broker, folder, findings)
    pages = read_section(Section.PAGES, _table(found, "pages", findings), "pages", findings, {})
    _check_pages(pages, folder, findings)
    lifters, ids = read_lifters(found.get("lifter", []), site, findings)
    if found.get("lifter", []) == []:
        findings.fault("lifter", "is missing; there must be at least one [[lifter]].")
    tandems = _read_tandems(found.get("tandem", []), ids, findings)
    own_topic = f"{site.get('root')}/{site.get('site')}/LIFTER/readings"
    sources = read_sources(found.get("source", []), lifters, own_topic, findings)
    if findings.faults:
        raise SiteError(name, findings.faults)
    return SiteSettings(
        **{
            name: site[name] for name in ("site", "root", "time_zone", "data_budget_gb", "trace_keep_days", "store_url")
        },
        broker=BrokerSettings(**broker),
        pages=PagesSettings(**pages),
        core=CoreConfig(site["site"], {lifter.id: lifter for lifter in lifters}, tandems),
        text=text,
        notes=tuple(findings.notes),
        in_force=tuple(findings.in_force),
        sources=sources,
    )


def _line_named(error: str, text: str) -> str:
    line_n = re.search(r"at line ([0-9]+)", error)
    return f"The line reads: {text.splitlines()[int(line_n[1]) - 1].strip()[:80]}" if line_n else ""


def _table(found: Mapping[str, Any], name: str, findings: Findings) -> Mapping[str, Any]:
    return table(found.get(name, {}), name, f"[{name}]", findings)


def _check_site(site: dict[str, Any], findings: Findings) -> None:
    root = site.get("root")
    if root is not None and (not all(root.split("/")) or set(root) & set("+#") or root[0] == "$"):
        says = f"is {found_text(root)}; it must be topic levels parted by /, none empty, without +, # and a leading $."
        findings.fault("root", says)
    zone = site.get("time_zone")
    if zone is not None and not _is_time_zone(zone):
        says = f"is {found_text(zone)}; it must be the IANA name of a time zone, for example Europe/Madrid."
        findings.fault("time_zone", says, did_you_mean(nearest(zone, available_timezones())))
    if site.get("store_url"):
        _checked(check_store_url, site["store_url"], "store_url", findings)


def _is_time_zone(name: str) -> bool:
    try:
        return bool(ZoneInfo(name))
    except (KeyError, ValueError, OSError):  # unknown; no name at all; a folder of the time zone files
        return False


def _check_broker(broker: dict[str, Any], folder: Path | None, findings: Findings) -> None:
    url, embedded = broker.get("url"), broker.get("embedded", False)
    if url is not None:
        _checked(check_broker_url, url, "broker, url", findings)
    elif "url" in broker and not embedded:
        findings.fault("broker, url", "is missing; it must be mqtt://HOST:PORT or mqtts://HOST:PORT, or embedded true.")
    if url is not None and embedded:
        findings.note("broker", "embedded is true: url is not used")
    if _checked(split_listen, broker.get("listen"), "broker, listen", findings) and embedded:
        host = split_listen(broker["listen"])[0]
        if not is_loopback(host):
            findings.note("broker", f"listen is {host}, beyond this machine: the embedded broker needs passwords")
    _look_for(broker, "ca_file", "broker", folder, findings)
    if broker.get("ca_file") and not (url or "").startswith("mqtts:"):
        findings.note("broker", "ca_file is used with an mqtts:// url only")


def _check_pages(pages: dict[str, Any], folder: Path | None, findings: Findings) -> None:
    _checked(split_listen, pages.get("listen"), "pages, listen", findings)
    for name, other in (("tls_cert", "tls_key"), ("tls_key", "tls_cert")):
        if pages.get(name) and pages.get(other) == "":
            findings.fault(f"pages, {other}", f"is missing; {name} is given, and https needs both.")
        _look_for(pages, name, "pages", folder, findings)


def _checked(check: Callable[[str], object], text: str | None, where: str, findings: Findings) -> bool:
    if text is None:
        return False
    try:
        check(text)
    except ValueError as error:
        plain = text.partition("?")[0]
        shown = found_text(f"...{plain[plain.rindex('@') :]}" if "@" in plain else plain)  # never a password
        findings.fault(where, f"is {shown}; {error}.")
        return False
    return True


def _look_for(values: dict[str, Any], name: str, where: str, folder: Path | None, findings: Findings) -> None:
    if folder is None or not values.get(name):
        return
    path = folder / values[name]
    values[name] = str(path)
    if not path.is_file():
        findings.fault(f"{where}, {name}", f"is {path}; there is no such file.")


def _read_tandems(found: object, ids: Sequence[str], findings: Findings) -> tuple[tuple[str, ...], ...]:
    tandems: list[tuple[str, ...]] = []
    used: set[str] = set()
    for place, tandem_table in enumerate(tables(found, "tandem", "[[tandem]]", findings), start=1):
        where = f"tandem number {place}"
        lifters = read_section(Section.TANDEM, tandem_table, where, findings, {}).get("lifters")
        if lifters is None:
            continue
        if len(set(lifters)) < 2:
            findings.fault(f"{where}, lifters", "names fewer than two lifters; a tandem is two or more.")
        for lifter in lifters:
            if lifter not in ids:
                says = f"names {found_text(lifter)}; it must name lifters of this file: {', '.join(ids) or 'none'}."
                findings.fault(f"{where}, lifters", says, did_you_mean(nearest(lifter, ids)))
        twice = sorted(used & set(lifters) | {lifter for lifter in lifters if lifters.count(lifter) > 1})
        if twice:
            findings.fault(
                f"{where}, lifters", f"names {', '.join(twice)} a second time; a lifter is in one tandem only."
            )
        used |= set(lifters)
        tandems.append(lifters)
    return tuple(tandems)
