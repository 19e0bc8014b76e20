"""Years of lifts of one lifter with the truth behind them: records as the engine would have closed them.

No reading is simulated: a record's figures are drawn from what is true of each circuit on that day (leak at the
reference conditions, wear, steps, services), of the weather and of the panel. Records and truth are apart, so whoever
judges the records can be judged by the truth.
"""

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from monitor.core.config import LifterConfig
from monitor.settings.site import SiteSettings

Floats = NDArray[np.float64]

DAY_S: Final = 86_400.0
SLOT_S: Final = 600  # one lift at most in ten minutes
FROM_HOUR: Final = 7
SLOTS_A_DAY_N: Final = 60
RECORD_VERSION: Final = 1
REFERENCE_KPA: Final = 60.0
REFERENCE_AMBIENT_KPA: Final = 101.325
REFERENCE_C: Final = 20.0


@dataclass(frozen=True, slots=True)
class Stretch:
    """A circuit between two changes: the leak at the reference conditions where it begins, and its wear."""

    from_utc_s: float
    leak_kpa_per_min: float
    slope_kpa_per_min_per_day: float
    began: str  # "start", "step", "wear" or "service"

    def leak_at(self, utc_s: float) -> float:
        """Leak at a time inside this stretch."""
        return self.leak_kpa_per_min + self.slope_kpa_per_min_per_day * (utc_s - self.from_utc_s) / DAY_S

    def reaches_utc_s(self, limit_kpa_per_min: float) -> float | None:
        """When the limit is reached if nothing changes; None for never."""
        if self.slope_kpa_per_min_per_day <= 0.0:
            return None
        return self.from_utc_s + DAY_S * (limit_kpa_per_min - self.leak_kpa_per_min) / self.slope_kpa_per_min_per_day


@dataclass(frozen=True, slots=True)
class CircuitTruth:
    """What is true of one circuit."""

    id: str
    stretches: tuple[Stretch, ...]
    scatter_ratio: float  # from lift to lift, of the leak
    noise_kpa_per_min: float  # of the measurement
    temperature_per_k: float  # the leak grows by exp of this per kelvin, beside the flow law
    wet_ratio: float
    orifice_share: float  # the rest seeps
    pump_wear_per_day: float
    gauge_drift_kpa_per_day: float

    def stretch_at(self, utc_s: float) -> Stretch:
        """The stretch a time lies in."""
        return next(one for one in reversed(self.stretches) if one.from_utc_s <= utc_s or one is self.stretches[0])


@dataclass(frozen=True, slots=True)
class Wishes:
    """How a history is to be; the defaults draw everything. Used by tests that need one thing at a time."""

    leak_kpa_per_min: tuple[float, float] = (0.04, 0.12)
    reaches_limit_days: tuple[float, float] = (150.0, 1200.0)
    healthy_share: float = 0.3
    steps_per_year: float = 0.6
    wear_changes_per_year: float = 0.4
    services: bool = True
    odd_share: float = 0.02  # lifts on a rough or dirty panel
    thin_share: float = 0.02  # lifts whose leak was never known
    scatter_ratio: tuple[float, float] = (0.08, 0.16)
    noise_kpa_per_min: float = 0.008
    step_scatters: tuple[float, float] = (2.0, 6.0)


@dataclass(slots=True)
class History:
    """The lifts, what the crew noted, and the truth."""

    lifter: LifterConfig
    site: SiteSettings
    circuits: tuple[CircuitTruth, ...]
    notes: list[dict[str, Any]] = field(default_factory=list)
    lifts: dict[str, Any] = field(default_factory=dict)  # columns, shape (n,)

    def records(self) -> Iterator[dict[str, Any]]:
        """Every lift's record, oldest first."""
        for n in range(len(self.lifts["opened_utc_s"])):
            yield _record(self, n)

    def truth(self) -> dict[str, Any]:
        """What is true, as JSON."""
        return {
            "site": self.site.site,
            "lifter": self.lifter.id,
            "limit_kpa_per_min": self.lifter.service_leak_kpa_per_min,
            "circuits": {
                one.id: {key: value for key, value in asdict(one).items() if key != "id"} for one in self.circuits
            },
            "services": [{"utc_s": note["utc_s"], **note["params"]} for note in self.notes],
        }


def make(
    site: SiteSettings,
    *,
    lifter_id: str | None = None,
    lifts_n: int = 20_000,
    years: float = 5.0,
    until_utc_s: float,
    seed: int = 0,
    wishes: Wishes | None = None,
) -> History:
    """Draw a history.

    Args:
        site: The site file whose lifter it is.
        lifter_id: Which lifter; by default the first.
        lifts_n: How many lifts.
        years: Over how many years, ended by ``until_utc_s``.
        until_utc_s: When it ends.
        seed: The same seed gives the same history, value for value.
        wishes: What is drawn and how.

    Raises:
        ValueError: More lifts than working days have room for, or an unknown lifter.
    """
    wishes = wishes or Wishes()
    if lifter_id is not None and lifter_id not in site.core.lifters:
        raise ValueError(f"lifter {lifter_id} is not in the site file; it has {', '.join(site.core.lifters)}")
    lifter = site.core.lifters[lifter_id or next(iter(site.core.lifters))]
    when_rng, weather_rng, *circuit_rngs = np.random.default_rng(seed).spawn(2 + len(lifter.circuits))
    opened = _openings(lifts_n, years, until_utc_s, when_rng)
    weather = _weather(opened, lifter, weather_rng)
    history = History(lifter, site, ())
    history.lifts = {"opened_utc_s": opened, **weather}
    truths = []
    for name, rng in zip(lifter.circuits, circuit_rngs, strict=True):
        truth = _truth(name, lifter, opened, wishes, rng, history.notes)
        truths.append(truth)
        history.lifts[name] = _figures(truth, lifter, history.lifts, wishes, rng)
    history.circuits = tuple(truths)
    _battery(history, weather_rng)
    for day in np.arange(opened[0] + 330 * DAY_S, opened[-1], 350 * DAY_S):
        history.notes.append(_note(lifter.id, float(day), "inspection", "periodic inspection"))
    history.notes.sort(key=lambda note: float(note["utc_s"]))
    return history


def _openings(lifts_n: int, years: float, until_utc_s: float, rng: np.random.Generator) -> Floats:
    """Working days from Monday to Friday, two weeks off at the turn of the year, a slot for each lift."""
    last = datetime.fromtimestamp(until_utc_s, UTC).replace(hour=0, minute=0, second=0, microsecond=0)
    days = [last - timedelta(days=n) for n in range(1, max(2, round(years * 365.25)))]
    days = [day for day in reversed(days) if day.weekday() < 5 and not (day.month == 12 and day.day > 20)]
    room_n = len(days) * SLOTS_A_DAY_N
    if not 0 < lifts_n <= room_n:
        raise ValueError(f"{lifts_n} lifts in {years:g} years; there is room for 1 to {room_n}")
    slots = np.sort(rng.choice(room_n, lifts_n, replace=False))
    starts = np.array([day.timestamp() for day in days])
    seconds = FROM_HOUR * 3600 + slots % SLOTS_A_DAY_N * SLOT_S + rng.uniform(0, 60, lifts_n)
    return np.asarray(np.round(starts[slots // SLOTS_A_DAY_N] + seconds, 2), dtype=np.float64)


def _weather(opened: Floats, lifter: LifterConfig, rng: np.random.Generator) -> dict[str, Floats]:
    n = len(opened)
    day = ((opened - opened[0]) // DAY_S).astype(int)
    of_day = rng.normal(0.0, 1.0, (3, int(day[-1]) + 1))
    season = np.sin(2.0 * np.pi * (opened / (365.25 * DAY_S) - 0.3))
    hour = (opened % DAY_S) / 3600.0
    temperature_c = 11.0 + 9.0 * season + 3.5 * np.sin(np.pi * (hour - 8.0) / 12.0) + 2.5 * of_day[0][day]
    ambient_kpa = lifter.ambient_kpa + 0.8 * of_day[1][day]
    return {
        "temperature_c": np.round(temperature_c + rng.normal(0, 0.3, n), 1),
        "ambient_kpa": np.round(ambient_kpa, 2),
        "wet": of_day[2][day] > 1.2,
        "flight_s": np.round(rng.uniform(150, 420, n), 1),
        "sealing_s": np.round(rng.uniform(30, 90, n), 1),
        "kg": np.round(lifter.wll_kg * rng.uniform(0.3, 0.9, n), 1),
        "height_m": np.round(rng.uniform(3, 60, n), 1),
        "wind_m_s": np.round(rng.gamma(4.0, 0.9, n), 1),
    }


def _truth(
    name: str,
    lifter: LifterConfig,
    opened: Floats,
    wishes: Wishes,
    rng: np.random.Generator,
    notes: list[dict[str, Any]],
) -> CircuitTruth:
    """Wear, steps and services, drawn from the first lift to the last."""
    limit = lifter.service_leak_kpa_per_min
    scatter = float(rng.uniform(*wishes.scatter_ratio))
    end = float(opened[-1])

    def new() -> tuple[float, float]:
        leak = float(rng.uniform(*wishes.leak_kpa_per_min)) * limit / 0.5
        if rng.random() < wishes.healthy_share:
            return leak, 0.0
        return leak, (limit - leak) / float(rng.uniform(*wishes.reaches_limit_days))

    leak, slope = new()
    stretches = [Stretch(float(opened[0]), leak, slope, "start")]
    while True:
        here = stretches[-1]
        due = here.reaches_utc_s(limit * float(rng.uniform(0.85, 1.1))) if wishes.services else None
        step_s = here.from_utc_s + DAY_S * 365.25 * float(rng.exponential(1.0 / max(wishes.steps_per_year, 1e-9)))
        wear_s = here.from_utc_s + DAY_S * 365.25 * float(
            rng.exponential(1.0 / max(wishes.wear_changes_per_year, 1e-9))
        )
        next_s = min(step_s, wear_s, due if due is not None else float("inf"))
        if next_s >= end:
            break
        level = here.leak_at(next_s)
        if next_s == due:
            leak, slope = new()
            stretches.append(Stretch(next_s, leak, slope, "service"))
            notes.append(_note(lifter.id, next_s - 1800.0, f"circuit {name}", "seals and hoses renewed"))
        elif next_s == step_s:
            size = float(rng.uniform(*wishes.step_scatters)) * float(
                np.hypot(scatter * level, wishes.noise_kpa_per_min)
            )
            stretches.append(Stretch(next_s, level + size, here.slope_kpa_per_min_per_day, "step"))
        else:
            slope = here.slope_kpa_per_min_per_day * float(rng.lognormal(0.0, 0.5))
            stretches.append(Stretch(next_s, level, slope, "wear"))
    return CircuitTruth(
        id=name,
        stretches=tuple(stretches),
        scatter_ratio=scatter,
        noise_kpa_per_min=wishes.noise_kpa_per_min,
        temperature_per_k=float(rng.normal(0.006, 0.004)),
        wet_ratio=float(rng.lognormal(-0.1, 0.15)),
        orifice_share=float(rng.random()),
        pump_wear_per_day=float(rng.uniform(0.0, 0.0006)),
        gauge_drift_kpa_per_day=float(rng.normal(0.0, 0.0006)),
    )


def _figures(
    truth: CircuitTruth,
    lifter: LifterConfig,
    lifts: Mapping[str, Any],
    wishes: Wishes,
    rng: np.random.Generator,
) -> dict[str, Floats]:
    """What each lift measured of one circuit."""
    opened, n = lifts["opened_utc_s"], len(lifts["opened_utc_s"])
    config = lifter.circuits[truth.id]
    begins = np.array([one.from_utc_s for one in truth.stretches])
    of = np.maximum(np.searchsorted(begins, opened, side="right") - 1, 0)
    leak = np.array([one.leak_kpa_per_min for one in truth.stretches])[of]
    slope = np.array([one.slope_kpa_per_min_per_day for one in truth.stretches])[of]
    reference = leak + slope * (opened - begins[of]) / DAY_S
    at_kpa = config.working_kpa + rng.normal(1.0, 1.2, n)
    ratio = _flow_ratio(at_kpa, lifts["ambient_kpa"], lifts["temperature_c"], truth.orifice_share)
    ratio = ratio * np.exp(truth.temperature_per_k * (lifts["temperature_c"] - REFERENCE_C))
    ratio = np.where(lifts["wet"], ratio * truth.wet_ratio, ratio) * np.exp(rng.normal(0.0, truth.scatter_ratio, n))
    odd = rng.random(n) < wishes.odd_share
    ratio[odd] *= rng.uniform(1.5, 3.0, int(odd.sum()))
    steady = reference * ratio + rng.normal(0.0, truth.noise_kpa_per_min, n)
    steady[rng.random(n) < wishes.thin_share] = np.nan
    days = (opened - opened[0]) / DAY_S
    pump_worn = 1.0 + truth.pump_wear_per_day * _since_renewed(days, truth.pump_wear_per_day, 0.6)
    pump_down = 7.0 * pump_worn * np.exp(rng.normal(0.0, 0.05, n))
    drift = truth.gauge_drift_kpa_per_day * days
    lost = np.nan_to_num(steady, nan=0.1) * lifts["flight_s"] / 60.0
    return {
        "steady_leak_kpa_per_min": np.round(steady, 4),
        "steady_at_kpa": np.round(at_kpa, 2),
        "pump_down_s": np.round(pump_down, 2),
        "pump_on_s": np.round(pump_down * 1.7 + 2.5 * lost * pump_worn, 1),
        "open_kpa": np.round(0.2 + drift + rng.normal(0.0, 0.06, n), 1),
        "lowest_kpa": np.round(at_kpa - lost, 2),
    }


def _since_renewed(days: Floats, wear_per_day: float, most: float) -> Floats:
    """Days of wear: the pump is renewed when it is slower by ``most``."""
    if wear_per_day <= 0.0:
        return days
    return np.asarray(np.mod(days, most / wear_per_day), dtype=np.float64)


def _battery(history: History, rng: np.random.Generator) -> None:
    """Lowest voltage of each lift: it ages, is weaker in the cold, and is renewed when it is low."""
    opened = history.lifts["opened_utc_s"]
    days = (opened - opened[0]) / DAY_S
    low_v = history.lifter.battery_low_v or 23.0
    per_day = float(rng.uniform(0.0008, 0.003))
    lasts_days = 1.5 / per_day
    history.lifts["battery_low_v"] = np.round(
        low_v + 1.7 - per_day * np.mod(days, lasts_days) + 0.01 * (history.lifts["temperature_c"] - REFERENCE_C)
        + rng.normal(0.0, 0.1, len(days)), 2)  # fmt: skip
    for n in range(1, int(days[-1] / lasts_days) + 1):
        history.notes.append(_note(history.lifter.id, float(opened[0] + n * lasts_days * DAY_S), "battery", "renewed"))


def _flow_ratio(at_kpa: Floats, ambient_kpa: Floats, temperature_c: Floats, orifice_share: float) -> Floats:
    """Leak under these conditions over that at the reference: choked orifice (ISO 6358) and laminar seepage, mixed."""

    def orifice(at: Floats | float, ambient: Floats | float) -> Floats:
        ratio = (np.asarray(ambient) - at) / ambient
        return np.asarray(ambient * np.sqrt(1.0 - np.clip((ratio - 0.5) / 0.5, 0.0, 1.0) ** 2), dtype=np.float64)

    def laminar(at: Floats | float, ambient: Floats | float) -> Floats:
        return np.asarray(np.asarray(ambient) ** 2 - (np.asarray(ambient) - at) ** 2, dtype=np.float64)

    warm = np.sqrt((temperature_c + 273.15) / (REFERENCE_C + 273.15))
    choked = orifice(at_kpa, ambient_kpa) / orifice(REFERENCE_KPA, REFERENCE_AMBIENT_KPA) * warm
    seeps = laminar(at_kpa, ambient_kpa) / laminar(REFERENCE_KPA, REFERENCE_AMBIENT_KPA)
    return np.asarray(orifice_share * choked + (1.0 - orifice_share) * seeps, dtype=np.float64)


def _note(lifter: str, utc_s: float, about: str, note: str) -> dict[str, Any]:
    return {
        "id": f"history-{lifter}-{about.replace(' ', '-')}-{int(utc_s)}",
        "kind": "service_note",
        "lifter": lifter,
        "who": "maintenance",
        "role": "maintenance",
        "params": {"about": about, "note": note},
        "utc_s": utc_s,
    }


def _record(history: History, n: int) -> dict[str, Any]:
    """One lift as the engine keeps it."""
    lifts, lifter = history.lifts, history.lifter
    opened = float(lifts["opened_utc_s"][n])
    load_on = opened + float(lifts["sealing_s"][n])
    load_off = load_on + float(lifts["flight_s"][n])
    closed = load_off + 20.0
    duration_s = round(closed - opened, 1)
    kg, height_m = float(lifts["kg"][n]), float(lifts["height_m"][n])
    return {
        "site": history.site.site,
        "lifter_name": lifter.name or lifter.id,
        "time_zone": history.site.time_zone,
        "version": RECORD_VERSION,
        "id": f"{lifter.id}-{int(opened)}",
        "lifter": lifter.id,
        "opened": opened,
        "load_on": round(load_on, 2),
        "load_off": round(load_off, 2),
        "closed": round(closed, 2),
        "ended": "released",
        "duration_s": duration_s,
        "picks_n": 1,
        "load": {"largest_kg": kg, "planned_kg": None},
        "margin": {"lowest_kg": round(lifter.wll_kg - kg, 1), "at": round(load_on, 2), "governs": "plate"},
        "tilt": {"low_deg": 0.0, "high_deg": 90.0},
        "height_high_m": height_m,
        "wind_high_m_s": float(lifts["wind_m_s"][n]),
        "battery_low_v": float(lifts["battery_low_v"][n]),
        "temperature_c": float(lifts["temperature_c"][n]),
        "ambient_kpa": float(lifts["ambient_kpa"][n]),
        "circuits": {name: _circuit(lifts[name], n, lifter.circuits[name].warning_kpa, load_off, duration_s)
                     for name in lifter.circuits},
        "calls_s": {"holding": duration_s},
        "worst_call": "holding",
        "worst_call_reason": "reason.holding",
        "alarms": [],
        "actions": [],
        "seal_tests": [],
        "plan": None,
        "seen_s": duration_s,
        "gap_s": 0.0,
        "gaps_n": 0,
        "gaps": [],
        "counts": {"live": int(duration_s * 5), "doubled": 0, "late": 0, "retained": 0, "rejected": 0, "refused": 0, "lost": 0},
        "time_to_land_s": lifter.time_to_land_s,
        "landing_s": round(height_m * 2.0, 1),
        "settings": {
            "basis": lifter.basis.value,
            "wll_kg": lifter.wll_kg,
            "surface": "wet" if lifts["wet"][n] else lifter.surface.value,
            "friction": lifter.friction,
        },
        "judged_by": "simulate history",
    }  # fmt: skip


def _circuit(
    figures: Mapping[str, Floats], n: int, warning_kpa: float, load_off: float, duration_s: float
) -> dict[str, Any]:
    steady = float(figures["steady_leak_kpa_per_min"][n])
    known = steady == steady
    leak = steady if known else None
    return {
        "lowest_kpa": float(figures["lowest_kpa"][n]),
        "lowest_at": round(load_off, 2),
        "at_pick_kpa": float(figures["steady_at_kpa"][n]),
        "leak_kpa_per_min": leak,
        "worst_leak_kpa_per_min": leak,
        "states_s": {"holding": duration_s},
        "pump_on_s": float(figures["pump_on_s"][n]),
        "seen_s": duration_s,
        "steady_leak_kpa_per_min": leak,
        "steady_at_kpa": float(figures["steady_at_kpa"][n]) if known else None,
        "steady_s": round(duration_s * 0.6, 1) if known else 0.0,
        "pump_down_s": float(figures["pump_down_s"][n]),
        "duty_first_ratio": None,
        "duty_last_ratio": None,
        "open_kpa": float(figures["open_kpa"][n]),
        "gauges_apart_kpa": None,
        "late_n": 0,
        "late_lowest_kpa": None,
        "late_lowest_at": None,
        "warning_kpa": warning_kpa,
    }
