"""The lifters of a site file: their tables read, and what must fit together inside one lifter checked."""

from collections import Counter
from collections.abc import Mapping
from typing import Any, Final

from monitor.core.config import (
    SURFACE_FRICTION,
    Basis,
    CircuitConfig,
    LifterConfig,
    LoadMeasures,
    PadConfig,
    Surface,
    Suspension,
)
from monitor.core.factors import Move
from monitor.core.warning_level import at_warning_level
from monitor.settings.check import Findings, named_tables, read_section, tables
from monitor.settings.faults import did_you_mean, found_text, nearest, number_text
from monitor.settings.table import Section

MAX_CIRCUITS: Final = 32
"""As many as one reading may carry."""

_Values = dict[str, Any]
_Named = dict[str, _Values]


def read_lifters(found: object, site: Mapping[str, Any], findings: Findings) -> tuple[list[LifterConfig], list[str]]:
    """Read every ``[[lifter]]``.

    Returns:
        The lifters without fault, and the ids of all, faulty ones too, for those who refer to them.
    """
    lifters: list[LifterConfig] = []
    ids: list[str] = []
    for place, lifter_table in enumerate(tables(found, "lifter", "[[lifter]]", findings), start=1):
        said_id = lifter_table.get("id")
        where = f"lifter {said_id if isinstance(said_id, str) and said_id.isprintable() else f'number {place}'}"
        before_n = len(findings.faults)
        circuits_given = lifter_table.get("circuits", {})
        outer = {"circuits_n": len(circuits_given) if isinstance(circuits_given, dict) else 0}
        values = read_section(Section.LIFTER, lifter_table, where, findings, outer)
        if values.get("id") in ids:
            findings.fault(
                f"lifter number {place}, id", f'is "{values["id"]}" again; every lifter needs an id of its own.'
            )
        elif "id" in values:
            ids.append(values["id"])
        if circuits_given == {}:
            findings.fault(f"{where}, circuits", "is missing; there must be at least one [lifter.circuits.ID].")
        parts = {
            name: _read_named(lifter_table, name, section, where, findings)
            for name, section in (("circuits", Section.CIRCUIT), ("pads", Section.PAD), ("layouts", Section.LAYOUT))
        }
        _check_lifter(values, where, findings)
        _check_circuits(parts["circuits"], values, site, where, findings)
        _check_pads(parts["pads"], parts["circuits"], where, findings)
        _check_layouts(parts["layouts"], parts["pads"], parts["circuits"], where, findings)
        if len(findings.faults) == before_n and {"altitude_m", "ambient_kpa", "ambient_at"} <= site.keys():
            lifters.append(_config(values, parts, site))
            _note_plate_not_carried(lifters[-1], where, findings)
    return lifters, ids


def _read_named(lifter_table: Mapping[str, Any], name: str, section: Section, where: str, findings: Findings) -> _Named:
    heading = str(section)
    return {
        inner_id: read_section(section, inner, f"{where}, {name.removesuffix('s')} {inner_id}", findings, {})
        for inner_id, inner in named_tables(lifter_table.get(name, {}), f"{where}, {name}", heading, findings).items()
    }


def _config(values: _Values, parts: Mapping[str, _Named], site: Mapping[str, Any]) -> LifterConfig:
    return LifterConfig(
        **{
            **values,
            "basis": Basis(values["basis"]),
            "surface": Surface(values["surface"]),
            "load_measures": LoadMeasures(values["load_measures"]),
            "suspension": Suspension(values["suspension"]),
        },
        circuits={name: CircuitConfig(id=name, **circuit) for name, circuit in parts["circuits"].items()},
        pads={
            name: PadConfig(id=name, **{**pad, "wll_kg": pad["wll_kg"] or None}) for name, pad in parts["pads"].items()
        },
        layouts={name: layout["pads"] for name, layout in parts["layouts"].items()},
        altitude_m=site["altitude_m"],
        ambient_kpa=site["ambient_kpa"],
        ambient_at=site["ambient_at"],
    )


def _check_lifter(values: _Values, where: str, findings: Findings) -> None:
    friction, surface, source = values.get("friction"), values.get("surface"), values.get("friction_source")
    if friction is not None and surface is not None and source == "" and friction != SURFACE_FRICTION[Surface(surface)]:
        usual = SURFACE_FRICTION[Surface(surface)]
        if friction > usual:
            says = f"is {friction}, above the {usual} of a {surface} surface, and friction_source is empty."
            findings.fault(f"{where}, friction", says, "Give the source of the value, or leave friction out.")
        else:
            findings.note(where, f"friction is {friction} without a friction_source")
    _at_least(values, "losing_horizon_s", 2.0, "time_to_land_s", where, findings)
    _at_least(values, "projection_horizon_s", 1.0, "losing_horizon_s", where, findings)
    if values.get("load_on_kg", 0.0) >= values.get("wll_kg", float("inf")):
        says = f"is {values['load_on_kg']}; it must be under wll_kg ({values['wll_kg']}), or no lift would be noticed."
        findings.fault(f"{where}, load_on_kg", says)
    measures = values.get("load_measures")
    if measures in ("with_lifter", "hook") and values.get("tare_kg") == 0.0:
        findings.note(where, f'load_measures is "{measures}" and tare_kg is 0: the lifter counts as load')
    if measures == "none":
        findings.note(where, "no load cell: picking up and landing are told by named actions")
    if values.get("basis") == Basis.EN_13155 and values.get("two_circuit_rule") is False:
        findings.note(where, "two_circuit_rule is off on en-13155: a lost circuit is told, not judged")
    if "battery_low_v" in values and values["battery_low_v"] is None:
        findings.note(where, "no battery_low_v: battery alarms are off")
    if "wind_limit_m_s" in values and values["wind_limit_m_s"] is None:
        findings.note(where, "no wind_limit_m_s: there is no wind verdict")


def _at_least(values: _Values, name: str, factor: float, of: str, where: str, findings: Findings) -> None:
    if name in values and of in values and values[name] < factor * values[of]:
        least = of if factor == 1.0 else f"{number_text(factor)} times {of}"
        allowed = f"it must be at least {least} ({number_text(factor * values[of])}), or a loss would be told too late"
        findings.fault(f"{where}, {name}", f"is {number_text(values[name])}; {allowed}.")


def _check_circuits(circuits: _Named, lifter: _Values, site: Mapping[str, Any], where: str, findings: Findings) -> None:
    if len(circuits) > MAX_CIRCUITS:
        findings.fault(f"{where}, circuits", f"holds {len(circuits)}; there must be {MAX_CIRCUITS} at most.")
    if len(circuits) == 1 and lifter.get("secondary_restraint") is False:
        findings.note(where, "one circuit and no secondary_restraint: one leak loses the panel")
    ambient_kpa = site.get("ambient_kpa")
    for name, circuit in circuits.items():
        at = f"{where}, circuit {name}"
        warning, working = circuit.get("warning_kpa"), circuit.get("working_kpa")
        start, stop = circuit.get("pump_start_kpa"), circuit.get("pump_stop_kpa")
        if warning is not None and working is not None and working < warning:
            findings.fault(f"{at}, working_kpa", f"is {working}; it must be at least warning_kpa ({warning}).")
        if warning is not None and ambient_kpa is not None and warning >= ambient_kpa:
            says = f"is {warning}; it must be below the ambient pressure of the site ({ambient_kpa} kPa)."
            findings.fault(f"{at}, warning_kpa", says, "Look at altitude_m and ambient_kpa too.")
        if start is not None and stop is not None and start >= stop:
            findings.fault(f"{at}, pump_start_kpa", f"is {start}; it must be below pump_stop_kpa ({stop}).")
        if start is not None and warning is not None and start <= warning:
            findings.note(at, "the pump starts only at or below the warning level")


def _check_pads(pads: _Named, circuits: _Named, where: str, findings: Findings) -> None:
    if not pads:
        findings.note(where, "no pads: no holding is worked out")
        return
    places: dict[tuple[float, float], str] = {}
    for name, pad in pads.items():
        at = f"{where}, pad {name}"
        circuit = pad.get("circuit")
        if circuit is not None and circuit not in circuits:
            says = (
                f"is {found_text(circuit)}; it must be one of the lifter's circuits: {', '.join(circuits) or 'none'}."
            )
            findings.fault(f"{at}, circuit", says, did_you_mean(nearest(circuit, circuits)))
        if "x_mm" in pad and "y_mm" in pad:
            other = places.setdefault((pad["x_mm"], pad["y_mm"]), name)
            if other != name:
                findings.fault(f"{at}, x_mm and y_mm", f"are those of pad {other}; every pad needs a place of its own.")
    used = {pad.get("circuit") for pad in pads.values()}
    for circuit in circuits:
        if circuit not in used and None not in used:
            says = "has no pads though the lifter has some; give it its pads, or leave all pads out."
            findings.fault(f"{where}, circuit {circuit}", says)


def _check_layouts(layouts: _Named, pads: _Named, circuits: _Named, where: str, findings: Findings) -> None:
    for name, layout in layouts.items():
        at = f"{where}, layout {name}"
        chosen = layout.get("pads")
        if chosen is None:
            continue
        if not chosen:
            findings.fault(f"{at}, pads", "is an empty list; it must name the pads in use.")
        for pad, times_n in Counter[str](chosen).items():
            if times_n > 1:
                findings.fault(f"{at}, pads", f'names "{pad}" {times_n} times; once is enough.')
            if pad not in pads:
                says = f"names {found_text(pad)}; it must name pads of this lifter: {', '.join(pads) or 'none'}."
                findings.fault(f"{at}, pads", says, did_you_mean(nearest(pad, pads)))
        if len(circuits) > 1 and len({pads[pad].get("circuit") for pad in chosen if pad in pads}) == 1:
            findings.note(at, "all its pads are on one circuit")


def _note_plate_not_carried(lifter: LifterConfig, where: str, findings: Findings) -> None:
    """Say where the pads at their warning levels would not carry the plate value between flat and upright."""
    layouts = {where: tuple(lifter.pads)} | {f"{where}, layout {name}": pads for name, pads in lifter.layouts.items()}
    for at, pads in layouts.items():
        if not pads:
            continue
        tilts = {"upright": Move(90.0, 90.0), "between flat and upright": Move()}
        carried = {how: at_warning_level(lifter, pads, move) for how, move in tilts.items()}
        short = [
            f"{least.rated_kg:.0f} kg {how}{f' (at a tilt of {abs(least.tilt_deg):.0f}°)' if how != 'upright' else ''}"
            for how, least in carried.items()
            if least.rated_kg < lifter.wll_kg
        ]
        if short:
            says = f"at the warning level the pads carry {', '.join(short)}, under the plate's {lifter.wll_kg:g} kg"
            findings.note(at, f"{says}: there the computed figure counts")
