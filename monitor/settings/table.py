"""The table of every key a site file may have; reading, checking, defaults and the help page follow from it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from monitor.core.config import SURFACE_FRICTION, Basis, LoadMeasures, Surface, Suspension
from monitor.core.sources import Encoding, Format, Reads, TimeUnit
from monitor.core.units import standard_ambient_kpa
from monitor.languages import SOURCE, languages


class Section(StrEnum):
    """A kind of table in a site file, written as its heading is."""

    SITE = ""
    BROKER = "[broker]"
    PAGES = "[pages]"
    LIFTER = "[[lifter]]"
    CIRCUIT = "[lifter.circuits.ID]"
    PAD = "[lifter.pads.ID]"
    LAYOUT = "[lifter.layouts.NAME]"
    TANDEM = "[[tandem]]"
    SOURCE = "[[source]]"
    VALUE = "[[source.value]]"


class Kind(StrEnum):
    """What may stand behind a key."""

    NUMBER = "number"
    WHOLE = "whole number"
    FLAG = "true or false"
    TEXT = "text"
    WORD = "one of the words"
    ID = "id"
    IDS = "list of ids"
    TEXTS = "list of texts"
    TEXT_TABLE = "table of texts"
    DATE = "date"
    TABLE = "table"
    TABLES = "list of tables"
    NAMED_TABLES = "tables by id"


@dataclass(frozen=True, slots=True)
class Key:
    """One key: where it stands, what may stand behind it, and what counts when it is left out.

    ``default`` is the value itself (None: nothing), or ``derive`` works it out from the section's earlier values (of a
    lifter also ``circuits_n``), and ``default_says`` tells in words how.
    """

    section: Section
    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    words: tuple[str, ...] = ()
    required: bool = False
    default: Any = None
    derive: Callable[[Mapping[str, Any]], Any] | None = None
    default_says: str = ""


def words_of(kind: type[StrEnum]) -> tuple[str, ...]:
    """The words of an enumeration, in its order."""
    return tuple(str(word) for word in kind)


def _load_on_kg(values: Mapping[str, Any]) -> float:
    # Half the plate value at most: a lift of the smallest lifter must still be noticed.
    return float(min(max(30.0, 3.0 * values["load_accuracy_kg"]), values["wll_kg"] / 2.0))


def _two_circuit_rule(values: Mapping[str, Any]) -> bool:
    # One circuit cannot meet the rule; EN 13155 5.2.2.8 then asks for the restraint instead.
    return values["basis"] == Basis.EN_13155 and not (values["secondary_restraint"] and values["circuits_n"] == 1)


_S, _B, _P, _L = Section.SITE, Section.BROKER, Section.PAGES, Section.LIFTER
_C, _D, _Y, _T = Section.CIRCUIT, Section.PAD, Section.LAYOUT, Section.TANDEM
_O, _V = Section.SOURCE, Section.VALUE
_VACUUM = "kPa below ambient"

# fmt: off
KEYS: Final[tuple[Key, ...]] = (
    Key(_S, "site", Kind.ID, "The site's id, the second level of every topic.", required=True),
    Key(_S, "root", Kind.TEXT, "First level of every topic; several levels may be given, parted by /.",
        default="holdwatch"),
    Key(_S, "time_zone", Kind.TEXT, "IANA name of the time zone that pages and prints show.", default="UTC"),
    Key(_S, "altitude_m", Kind.NUMBER, "Height of the site above sea level.", "m", -430.0, 5000.0, default=0.0),
    Key(_S, "ambient_kpa", Kind.NUMBER, "Ambient pressure that counts where none is measured.", "kPa", 50.0, 110.0,
        derive=lambda site: round(standard_ambient_kpa(site["altitude_m"]), 3),
        default_says="the standard atmosphere at altitude_m (ISO 2533)"),
    Key(_S, "ambient_at", Kind.WORD, "Where a reported ambient pressure is measured.", words=("lifter", "ground"),
        default="lifter"),
    Key(_S, "data_budget_gb", Kind.NUMBER,
        "Disk space for traces and records; the oldest traces go first, records never.", "GB", 0.1, 10_000.0,
        default=20.0),
    Key(_S, "trace_keep_days", Kind.WHOLE, "How long traces are kept.", "days", 1, 36_500, default=730),
    Key(_S, "store_url", Kind.TEXT, "PostgreSQL database that keeps the records instead of the data folder, without a "
        "password; HOLDWATCH_STORE_URL counts more, and PGPASSWORD gives the password.", default=""),
    Key(_S, "broker", Kind.TABLE, "The MQTT broker that readings come from."),
    Key(_S, "pages", Kind.TABLE, "The pages people look at."),
    Key(_S, "lifter", Kind.TABLES, "The lifters of the site, one table each.", required=True),
    Key(_S, "tandem", Kind.TABLES, "Lifters that carry one panel together, one table for each pair or group."),
    Key(_S, "source", Kind.TABLES, "Hardware that does not send Holdwatch's own readings, one table for each kind of "
        "message."),

    Key(_B, "url", Kind.TEXT, "Address of the broker, mqtt:// or mqtts://; its user and password come from "
        "HOLDWATCH_BROKER_USER and HOLDWATCH_BROKER_PASSWORD.", default_says="none; required unless embedded is true"),
    Key(_B, "embedded", Kind.FLAG, "Start the embedded broker and use it.", default=False),
    Key(_B, "listen", Kind.TEXT, "HOST:PORT of the embedded broker, beyond loopback only with passwords; port 0 means "
        "any free one.", default="127.0.0.1:1883"),
    Key(_B, "ca_file", Kind.TEXT, "Certificate of the authority that signed the broker's, for mqtts://.", default=""),
    Key(_B, "protocol", Kind.WORD, "MQTT version; falls back by itself and says so.", words=("5", "3.1.1"),
        default="5"),

    Key(_P, "listen", Kind.TEXT, "HOST:PORT of the pages; port 0 means any free one.", default="127.0.0.1:8050"),
    Key(_P, "tls_cert", Kind.TEXT, "Certificate file that makes the pages https.", default=""),
    Key(_P, "tls_key", Kind.TEXT, "Key file of tls_cert.", default=""),
    Key(_P, "join_link", Kind.FLAG, "Viewing needs the join link.", default=False),
    Key(_P, "units", Kind.WORD, "Units a new viewer gets.", words=("metric", "us"), default="metric"),
    Key(_P, "language", Kind.WORD, "Language a new viewer gets.", words=languages(), default=SOURCE),

    Key(_L, "id", Kind.ID, "The lifter's id, the third level of its topics.", required=True),
    Key(_L, "name", Kind.TEXT, "The name shown.", derive=lambda lifter: lifter["id"], default_says="the id"),
    Key(_L, "basis", Kind.WORD, "The standard whose design factor the holding is judged by.", words=words_of(Basis),
        required=True),
    Key(_L, "wll_kg", Kind.NUMBER, "The plate value, never exceeded whatever the vacuum says.", "kg", 1.0, 100_000.0,
        required=True),
    Key(_L, "surface", Kind.WORD, "Condition of the panel under the pads; friction 0.5 dry, 0.2 wet, 0.1 oily.",
        words=words_of(Surface), default="dry"),
    Key(_L, "friction", Kind.NUMBER, "Friction of pad on panel instead of the surface's; above the surface's only "
        "with friction_source.", "ratio", 0.05, 1.0, derive=lambda lifter: SURFACE_FRICTION[Surface(lifter["surface"])],
        default_says="from surface"),
    Key(_L, "friction_source", Kind.TEXT, "Where the value of friction comes from.", default=""),
    Key(_L, "tilt_allowance_deg", Kind.NUMBER, "Widens the intended tilts on both sides; en-13155 only.", "deg", 0.0,
        15.0, default=6.0),
    Key(_L, "secondary_restraint", Kind.FLAG, "A strap or clamp is fitted, so that one circuit is allowed.",
        default=False),
    Key(_L, "two_circuit_rule", Kind.FLAG, "Every circuit must hold with factor 2 with another one lost.",
        derive=_two_circuit_rule,
        default_says="true on en-13155, unless there is one circuit and secondary_restraint is true"),
    Key(_L, "dynamic_factor", Kind.NUMBER, "Multiplies the load in plans; a live load is never multiplied.", "ratio",
        1.0, 2.0, default=1.0),
    Key(_L, "load_measures", Kind.WORD, "What the load reading measures: the panel alone, with the lifter, all below "
        "the hook, or there is none.", words=words_of(LoadMeasures), default="net"),
    Key(_L, "tare_kg", Kind.NUMBER, "What the load reading shows with nothing attached, taken off it.", "kg", 0.0,
        100_000.0, default=0.0),
    Key(_L, "load_accuracy_kg", Kind.NUMBER, "How far the load reading may be off.", "kg", 0.0, 10_000.0, default=5.0),
    Key(_L, "load_on_kg", Kind.NUMBER, "A load above this means that a lift has begun.", "kg", 0.1, 100_000.0,
        derive=_load_on_kg, default_says="the larger of 30 and three times load_accuracy_kg, half of wll_kg at most"),
    Key(_L, "expected_interval_s", Kind.NUMBER, "Time between two readings.", "s", 0.02, 60.0,
        default_says="learned from the readings"),
    Key(_L, "time_to_land_s", Kind.NUMBER, "Time to land a load from anywhere on the site.", "s", 10.0, 7200.0,
        default=240.0),
    Key(_L, "losing_horizon_s", Kind.NUMBER, "A circuit is losing when it may reach a level sooner than this.", "s",
        10.0, 86_400.0, derive=lambda lifter: max(1200.0, 4.0 * lifter["time_to_land_s"]),
        default_says="the larger of 1200 and four times time_to_land_s"),
    Key(_L, "projection_horizon_s", Kind.NUMBER, "Times further away than this are not told.", "s", 60.0, 86_400.0,
        derive=lambda lifter: max(3600.0, lifter["losing_horizon_s"]),
        default_says="3600, or losing_horizon_s where that is larger"),
    Key(_L, "hoist_height_m", Kind.NUMBER, "Greatest height of a lift; bounds the hoist's share of a fall common to "
        "all circuits.", "m", 0.0, 1000.0, default=100.0),
    Key(_L, "hoist_speed_m_s", Kind.NUMBER, "Greatest speed of the hoist; bounds the same share at any moment.", "m/s",
        0.0, 5.0, default=1.5),
    Key(_L, "suspension", Kind.WORD, "How the pads hang: on a rigid frame, or on equalising beams: pads at one place "
        "along the width hang on one beam and share alike.", words=words_of(Suspension), default="rigid"),
    Key(_L, "overhang_limit_mm", Kind.NUMBER, "A panel that reaches further beyond its pads is named in the plan.",
        "mm", 0.0, 10_000.0, default=600.0),
    Key(_L, "thin_panel_factor", Kind.NUMBER, "Multiplies the worst pad's share of panels that bend.", "ratio", 1.0,
        3.0, default=1.0),
    Key(_L, "seal_test_s", Kind.NUMBER, "Seal test before the pick, pump off, on the real panel.", "s", 10.0, 900.0,
        default=60.0),
    Key(_L, "seal_shift_test_s", Kind.NUMBER, "Seal test at the start of a shift, on a clean plate.", "s", 10.0,
        3600.0, default=240.0),
    Key(_L, "seal_shift_loss_ratio", Kind.NUMBER, "Share of the vacuum that may be lost in the shift test.", "ratio",
        0.01, 1.0, default=0.25),
    Key(_L, "battery_low_v", Kind.NUMBER, "Battery voltage under pump load that counts as low.", "V", 1.0, 1000.0,
        default_says="none; battery alarms are off and said so"),
    Key(_L, "wind_limit_m_s", Kind.NUMBER, "Wind limit of the crane's chart or the site.", "m/s", 1.0, 50.0,
        default_says="none; without it there is no wind verdict"),
    Key(_L, "wind_at", Kind.TEXT, "Where the wind is measured, shown beside the number.", default="ground"),
    Key(_L, "wind_is_gust", Kind.FLAG, "The wind reading is the gust, not the mean.", default=True),
    Key(_L, "shape_factor", Kind.NUMBER, "Drag coefficient cw of the panel for wind.", "ratio", 0.4, 3.0, default=2.0),
    Key(_L, "service_leak_kpa_per_min", Kind.NUMBER, "A circuit that leaks more on its lifts is due for service.",
        "kPa/min", 0.01, 10.0, default=0.5),
    Key(_L, "examination_due", Kind.DATE, "Date of the next thorough examination; a plan after it is outside its "
        "limits.", default=""),
    Key(_L, "inspection_days", Kind.WHOLE, "Days between two periodic inspections; ASME B30.20 has a year for normal "
        "service, less for heavy and severe.", "days", 1, 3650, default=365),
    Key(_L, "inspection_lifts", Kind.WHOLE, "Lifts after which a periodic inspection is due before its date; service "
        "class 0 of ASME BTH-1 ends at 20000 load cycles.", "", 10, 10_000_000, default=20_000),
    Key(_L, "circuits", Kind.NAMED_TABLES, "The vacuum circuits, at least one.", required=True),
    Key(_L, "pads", Kind.NAMED_TABLES, "The pads; without them no holding is worked out, and the page says why."),
    Key(_L, "layouts", Kind.NAMED_TABLES, "Named choices of pads in use; without one all pads are."),

    Key(_C, "warning_kpa", Kind.NUMBER, "End of the working range: the lifter's own warning level.", _VACUUM, 5.0,
        95.0, required=True),
    Key(_C, "working_kpa", Kind.NUMBER, "Normal level, at least warning_kpa.", _VACUUM, 5.0, 98.0,
        derive=lambda circuit: min(circuit["warning_kpa"] + 10.0, 98.0), default_says="warning_kpa + 10, 98 at most"),
    Key(_C, "volume_l", Kind.NUMBER, "Sealed volume of the circuit: reservoir, hoses and pads.", "L", 0.1, 1000.0,
        default_says="none"),
    Key(_C, "pump_start_kpa", Kind.NUMBER, "Level at which the pump starts by itself.", _VACUUM, 5.0, 98.0,
        default_says="none"),
    Key(_C, "pump_stop_kpa", Kind.NUMBER, "Level at which the pump stops by itself.", _VACUUM, 5.0, 98.0,
        default_says="none"),

    Key(_D, "circuit", Kind.ID, "The circuit the pad belongs to.", required=True),
    Key(_D, "x_mm", Kind.NUMBER, "Place along the panel's width, rotation 0.", "mm", -10_000.0, 10_000.0,
        required=True),
    Key(_D, "y_mm", Kind.NUMBER, "Place up the panel when upright, rotation 0.", "mm", -10_000.0, 10_000.0,
        required=True),
    Key(_D, "area_cm2", Kind.NUMBER, "Effective sealed area.", "cm2", 1.0, 50_000.0, required=True),
    Key(_D, "wll_kg", Kind.NUMBER, "Plate value of this pad; 0 where none is marked.", "kg", 0.0, 100_000.0,
        default=0.0),

    Key(_Y, "pads", Kind.IDS, "The pads in use.", required=True),

    Key(_T, "lifters", Kind.IDS, "The lifters on one panel: the worse call shows on both.", required=True),

    Key(_O, "topic", Kind.TEXT, "MQTT topic of the messages: + and # as in MQTT, {lifter} and {circuit} for a level "
        "that names one.", required=True),
    Key(_O, "format", Kind.WORD, "How the payload is written; senml and sparkplug are read without values too.",
        words=words_of(Format), required=True),
    Key(_O, "lifter", Kind.ID, "The lifter, where the topic has no {lifter}.", default_says="none"),
    Key(_O, "names", Kind.TEXT_TABLE, "What stands in the topic for a lifter or circuit, and the id it means.",
        default_says="the ids themselves"),
    Key(_O, "time_at", Kind.TEXT, "Where the device's time stands, written as at is; without it the arrival counts.",
        default=""),
    Key(_O, "time_unit", Kind.WORD, "Since 1970 in seconds, milli-, micro- or nanoseconds, or RFC 3339 text.",
        words=words_of(TimeUnit), default="s"),
    Key(_O, "time_zone", Kind.TEXT, "IANA name of the zone of a text time that says none.", default=""),
    Key(_O, "time_format", Kind.TEXT, "How a text time is written where it is not RFC 3339, in the letters of strptime: "
        "%d.%m.%Y %H:%M:%S.", default=""),
    Key(_O, "seq_at", Kind.TEXT, "Where a number stands that rises by one with each message.", default=""),
    Key(_O, "boot_at", Kind.TEXT, "Where a text stands that changes when the device restarts.", default=""),
    Key(_O, "where", Kind.TEXT_TABLE, "What must stand at a place (written as at is) for a message to count, such as the "
        'number of a device: { "meta.device" = "0004A3" }.', default_says="every message counts"),
    Key(_O, "inside_at", Kind.TEXT, "Where the payload stands as text in a json message around it, as radio gateways send; "
        "time_at, seq_at, boot_at and where are then places in what is around it.", default=""),
    Key(_O, "each_at", Kind.TEXT, 'Where in json a list stands whose entries are messages of their own, "." for the whole.',
        default_says="none"),
    Key(_O, "columns", Kind.TEXTS, "The names of the columns of csv in order, where no line of a message tells them; at may "
        "then be a name.", default=()),
    Key(_O, "header_lines", Kind.WHOLE, "Lines at the beginning of every csv message that are passed over.", "", 0, 100,
        default=0),
    Key(_O, "pattern", Kind.TEXT, "The regular expression (Python's) of text, found anywhere in it; (?P<name>...) names a "
        "place.", default=""),
    Key(_O, "separator", Kind.WORD, "What parts the columns of csv.", words=(",", ";", "\t", " "), default=","),
    Key(_O, "decimal", Kind.WORD, "The decimal mark of numbers written as text.", words=(".", ","), default="."),
    Key(_O, "fields", Kind.TEXTS, 'The fields of binary in order, type and name: "u16 count", "i16 vacuum_a", '
        '"skip 2"; types are u8, i8, u16, i16, u24, i24, u32, i32, u64, i64, f32, f64, and u32sw, i32sw, f32sw '
        "where the two 16-bit words stand the wrong way round.", default=()),
    Key(_O, "byte_order", Kind.WORD, "Which byte of a binary number comes first, the big or the little end.",
        words=("big", "little"), default="big"),
    Key(_O, "encoding", Kind.WORD, "What a binary payload is wrapped in.", words=words_of(Encoding), default="bytes"),
    Key(_O, "ask_rebirth", Kind.FLAG, "Sparkplug: a device that was missed may be asked to tell everything again, the "
        "only message ever sent to one.", default=False),
    Key(_O, "value", Kind.TABLES, "The values a message holds, one table each."),

    Key(_V, "to", Kind.TEXT, "The field of a reading it becomes: load_kg, circuits.A.vacuum_kpa, "
        "circuits.{circuit}.gauges.1 and so on.", required=True),
    Key(_V, "at", Kind.TEXT, "Where it stands: a path in json (data.sensors[0].value, list[name=vac 1].value), a column "
        "of csv by its number (1 is the first) or name, the name of a binary field or of a place in pattern, a SenML "
        "record or a Sparkplug metric.", default=""),
    Key(_V, "unit", Kind.TEXT, "The unit it is sent in, where the message does not say.", default_says="the field's own"),
    Key(_V, "reads", Kind.WORD, "What a pressure counts from: vacuum is positive below ambient, gauge negative below "
        "ambient, absolute positive from zero.", words=words_of(Reads), default="vacuum"),
    Key(_V, "scale", Kind.NUMBER, "The number sent is multiplied by this.", "", -1e9, 1e9, default=1.0),
    Key(_V, "offset", Kind.NUMBER, "Then this is added, in unit.", "", -1e9, 1e9, default=0.0),
    Key(_V, "raw_low", Kind.NUMBER, "The number sent at the low end of the range, for example 4 of 4 to 20 mA.", "",
        -1e9, 1e9, default_says="none"),
    Key(_V, "raw_high", Kind.NUMBER, "The number sent at the high end.", "", -1e9, 1e9, default_says="none"),
    Key(_V, "low", Kind.NUMBER, "What raw_low means, in unit.", "", -1e9, 1e9, default_says="none"),
    Key(_V, "high", Kind.NUMBER, "What raw_high means, in unit.", "", -1e9, 1e9, default_says="none"),
    Key(_V, "fault_below", Kind.NUMBER, "A number sent below this is a broken loop, not a value.", "", -1e9, 1e9,
        default_says="3.6 where raw_low is 4 and raw_high 20, else none"),
    Key(_V, "fault_above", Kind.NUMBER, "A number sent above this is a broken loop, not a value.", "", -1e9, 1e9,
        default_says="21 where raw_low is 4 and raw_high 20, else none"),
    Key(_V, "bit", Kind.WHOLE, "Of a whole number only this bit counts, 0 for the last.", "", 0, 63,
        default_says="none"),
    Key(_V, "words", Kind.TEXT_TABLE, "What is sent for a pump, valve or alarm, and the word it means.",
        default_says="the words themselves, and true, false, 1 and 0 for a pump that runs and an alarm"),
)
# fmt: on


def keys_of(section: Section) -> dict[str, Key]:
    """The keys of one section, by name, in the table's order."""
    return {key.name: key for key in KEYS if key.section is section}
