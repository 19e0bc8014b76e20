"""Seeded histories as the trends see them: through records and the store's own reading of them."""

from collections.abc import Sequence
from pathlib import Path

import msgspec

from monitor.core.lifter_trends import LiftColumns, Service
from monitor.settings.site import SiteSettings, load_site
from monitor.store.conditions import Lifts, services
from simulator.history import History, Wishes, make

SITE_FILE = Path(__file__).parents[1] / "configs" / "demo.toml"
UNTIL_UTC_S = 1_764_000_000.0


def demo_site() -> SiteSettings:
    return load_site(SITE_FILE)


def history(seed: int, lifts_n: int, years: float, wishes: Wishes | None = None) -> History:
    return make(demo_site(), lifts_n=lifts_n, years=years, until_utc_s=UNTIL_UTC_S, seed=seed, wishes=wishes)


def columns(made: History) -> LiftColumns:
    lifts = Lifts()
    lifts.add((n, msgspec.json.encode(record).decode()) for n, record in enumerate(made.records(), 1))
    return lifts.columns()


def first(lifts: LiftColumns, n: int) -> LiftColumns:
    """The lifts as they stood after the first n."""
    circuits = {
        name: type(one)(**{key: getattr(one, key)[:n] for key in type(one).__dataclass_fields__})
        for name, one in lifts.circuits.items()
    }
    return LiftColumns(
        lifts.ids[:n],
        lifts.utc_s[:n],
        lifts.duration_s[:n],
        lifts.temperature_c[:n],
        lifts.ambient_kpa[:n],
        lifts.surface[:n],
        lifts.battery_v[:n],
        circuits,
    )


def notes_until(made: History, utc_s: float) -> Sequence[Service]:
    return [one for one in services(made.notes) if one.utc_s < utc_s]
