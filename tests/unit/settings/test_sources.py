"""The sources of a site file: paths, layouts, units and signs taken apart; every slip told."""

import pytest

from monitor.core.readings import PLAUSIBLE
from monitor.core.sent_units import UNITS
from monitor.core.sources import BinaryField, Encoding, Format, Pick, Reads, Source, TimeUnit, ValueRule
from monitor.settings.paths import split_fields, split_path
from monitor.settings.site import SiteError, read_site
from tests.small_site import SMALL_SITE

VALUE = """
[[source.value]]
to = "circuits.A.vacuum_kpa"
"""


def read(text: str) -> tuple[Source, ...]:
    return read_site(SMALL_SITE + text, name="site.toml").sources


def faults(text: str) -> list[str]:
    with pytest.raises(SiteError) as caught:
        read(text)
    return [str(fault) for fault in caught.value.faults]


def one(of: str, more: str = "", value: str = VALUE) -> str:
    return f'[[source]]\ntopic = "plant/d6"\nlifter = "dock-6"\nformat = "{of}"\n{more}\n{value}'


def test_site_without_sources_has_none() -> None:
    assert read("") == ()


def test_source_is_read_whole() -> None:
    text = """
[[source]]
topic = "plant/{lifter}/vac/{circuit}"
format = "json"
names = {"VL 01" = "dock-6", left = "A"}
time_at = "ts"
time_unit = "ms"
seq_at = "n"
boot_at = "run"
[[source.value]]
to = "circuits.{circuit}.vacuum_kpa"
at = "data[name=vac].value"
unit = "mbar"
reads = "gauge"
[[source.value]]
to = "circuits.{circuit}.pump"
at = "pump"
words = {1 = "on", 0 = "off"}
"""
    assert read(text) == (
        Source(
            topic="plant/{lifter}/vac/{circuit}",
            format=Format.JSON,
            values=(
                ValueRule(
                    to=("circuits", "{circuit}", "vacuum_kpa"),
                    at=("data", Pick("name", "vac"), "value"),
                    unit="mbar",
                    reads=Reads.GAUGE,
                ),
                ValueRule(to=("circuits", "{circuit}", "pump"), at=("pump",), words={"1": "on", "0": "off"}),
            ),
            names={"VL 01": "dock-6", "left": "A"},
            time_at=("ts",),
            time_unit=TimeUnit.MS,
            seq_at=("n",),
            boot_at=("run",),
        ),
    )


def test_unit_left_out_is_the_fields_own() -> None:
    [made] = read(one("number", value='[[source.value]]\nto = "load_kg"'))
    assert made.values[0].unit == "kg"


def test_binary_layout() -> None:
    more = (
        'fields = ["u16 count", "skip 1", "i16 a", "skip 2"]\nbyte_order = "little"\nencoding = "hex"\nseq_at = "count"'
    )
    [made] = read(one("binary", more, VALUE + 'at = "a"'))
    assert made.fields == (BinaryField("count", "H", 0), BinaryField("a", "h", 3))
    assert made.size_bytes == 7
    assert made.byte_order == "<"
    assert made.encoding is Encoding.HEX
    assert made.seq_at == ("count",)


def test_columns_of_csv_are_counted_from_one() -> None:
    [made] = read(one("csv", 'separator = "\\t"\ntime_at = "1"', VALUE + 'at = "2"'))
    assert made.separator == "\t"
    assert made.time_at == (0,)
    assert made.values[0].at == (1,)


@pytest.mark.parametrize(("low", "high"), [(4, 20), (5530, 27648), (819, 4095), (4000, 20000)])
def test_counts_of_a_current_loop_have_its_fault_limits(low: int, high: int) -> None:
    loop = f"raw_low = {low}\nraw_high = {high}\nlow = 0\nhigh = 100"
    [rule] = read(one("number", value=VALUE + loop))[0].values
    assert (rule.fault_below, rule.fault_above) == pytest.approx((3.6 * high / 20, 21.0 * high / 20))


def test_current_loop_is_a_line_with_its_fault_limits() -> None:
    loop = "raw_low = 4\nraw_high = 20\nlow = 0\nhigh = -100\nreads = 'gauge'"
    [made] = read(one("number", value=VALUE + loop))
    [rule] = made.values
    assert (rule.scale * 4.0 + rule.offset, rule.scale * 20.0 + rule.offset) == (0.0, -100.0)
    assert (rule.fault_below, rule.fault_above) == (3.6, 21.0)


def test_fault_limits_given_count_before_the_usual_ones() -> None:
    loop = "raw_low = 4\nraw_high = 20\nlow = 0\nhigh = 100\nfault_below = 3.8"
    [rule] = read(one("number", value=VALUE + loop))[0].values
    assert (rule.fault_below, rule.fault_above) == (3.8, 21.0)


def test_raw_counts_have_no_fault_limits_of_their_own() -> None:
    counts = "raw_low = 0\nraw_high = 4095\nlow = 0\nhigh = 100"
    [rule] = read(one("number", value=VALUE + counts))[0].values
    assert rule.scale == pytest.approx(100 / 4095)
    assert (rule.fault_below, rule.fault_above) == (None, None)


@pytest.mark.parametrize("of", ["senml", "sparkplug"])
def test_open_formats_need_no_values(of: str) -> None:
    assert read(one(of, value=""))[0].values == ()


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("[[source]]", ["source number 1, topic is missing", "source number 1, format is missing"]),
        (one("jsn"), ['format is "jsn"; it must be "json" or', 'Did you mean "json"?']),
        (one("json", "tme_at = 'x'"), ["source number 1, tme_at is not a known key here. Did you mean time_at?"]),
        (one("number", value=""), ["source number 1, value is missing"]),
        (one("number").replace('lifter = "dock-6"', ""), ["lifter must be given when the topic has no {lifter}"]),
        (one("number").replace("plant/d6", "plant/{lifter}"), ["lifter must be given when the topic has no {lifter}"]),
        (
            one("number").replace('"dock-6"', '"dock-7"'),
            ['lifter is "dock-7"; it must be a lifter of this file: dock-6'],
        ),
        (one("number", "names = {left = 'A B'}"), ['names has "A B" for "left"; an id must be']),
        (one("number", "names = {left = 1}"), ["names is a table; it must be a table of texts"]),
        *(
            (one("number").replace("plant/d6", topic), ["source number 1, topic is"])
            for topic in ("", "a#", "a/#/b", "a/b+", "a/{lifter", "a/{pad}", "a/{circuit}/{circuit}")
        ),
        *(
            (one("number").replace("plant/d6", topic), ["it must not take in Holdwatch's own readings"])
            for topic in ("#", "holdwatch/#", "+/+/+/readings", "holdwatch/quayside/+/+")
        ),
        (one("json", value=VALUE + 'at = "a..b"'), ['value number 1, at is "a..b"; it is no path from']),
        (one("json", 'time_at = "["', VALUE + 'at = "a"'), ['source number 1, time_at is "["; it is no path']),
        (one("number", value=VALUE + 'at = "a"'), ["a plain number has no places: leave it out"]),
        (
            one("csv", 'columns = ["vac a"]', VALUE + 'at = "vac b"'),
            ["it must name one of columns: vac a. Did you mean vac a?"],
        ),
        (one("csv", value=VALUE + 'at = "0"'), ["it must be the number of a column, 1 for the first, or its name"]),
        (one("csv", value=VALUE), ["it must be the number of a column, 1 for the first, or its name"]),
        (one("text", value=VALUE + 'at = "a"'), ["pattern must be given for text", "a place in pattern: none"]),
        (
            one("text", "pattern = '('", VALUE + 'at = "a"'),
            ["it is no regular expression: missing )", "a place in pattern: none"],
        ),
        (
            one("text", "pattern = '(?P<b>x)'", VALUE + 'at = "a"'),
            ["it must name a place in pattern: b."],
        ),
        (one("number", "time_zone = 'UTC'"), ['time_zone is given for time_unit "s"; it is for "text"']),
        (
            one("number", "time_unit = 'text'\ntime_zone = 'Europe/Madird'"),
            ["it must be the IANA name of a time zone", "Did you mean Europe/Madrid?"],
        ),
        (one("number", "time_unit = 'text'\ntime_format = '%d'"), ["time_zone is missing; time_format has no %z"]),
        (one("number", "pattern = 'x'"), ["pattern must be given for text, and for text only"]),
        (one("number", "columns = ['x']"), ["columns is given for number; it is for csv only"]),
        (one("number", "header_lines = 1"), ["header_lines is given for number; it is for csv only"]),
        (one("csv", "each_at = 'x'", VALUE + 'at = "1"'), ["each_at is given for csv; it is for json only"]),
        (
            one("senml", "inside_at = 'x'", ""),
            ["inside_at is given for senml; it is for the formats that values are mapped"],
        ),
        (one("number", "where = {a = 'x'}"), ["source number 1, where is", "a plain number has no places"]),
        (one("json", value=VALUE + "at = 'a'\nbit = 64"), ["bit is 64; it must lie in 0 to 63"]),
        (one("csv"), ['value number 1, at is ""; it must be the number of a column, 1 for the first']),
        (one("csv", value=VALUE + 'at = "0"'), ["it must be the number of a column"]),
        (
            one("binary", value=VALUE + 'at = "a"'),
            ["fields must be given for binary", "must name one of the fields: none"],
        ),
        (
            one("binary", "fields = ['i12 a']", VALUE + 'at = "a"'),
            ['"i12 a" is no field', "must name one of the fields"],
        ),
        (
            one("binary", "fields = ['u8 a', 'u8 a']", VALUE + 'at = "a"'),
            ["it names a twice", "must name one of the fields"],
        ),
        (one("binary", "fields = ['u8 aa']", VALUE + 'at = "ab"'), ['at is "ab"; it must name one of the fields: aa']),
        (one("number", "fields = ['u8 a']"), ["fields must be given for binary, and for binary only"]),
        (one("senml"), ["value number 1, at is missing; it must name a record or metric"]),
        (one("number", value=VALUE + VALUE), ['value number 2, to is "circuits.A.vacuum_kpa" a second time']),
        (
            one("number", value='[[source.value]]\nto = "load"'),
            ['to is "load"; it must be one of load_kg', "Did you mean load_kg?"],
        ),
        (one("number", value='[[source.value]]\nto = "circuits.C.pump"'), ["the circuit must be one of A, B"]),
        (one("number", value='[[source.value]]\nto = "circuits.{circuit}.pump"'), ["the topic has no {circuit}"]),
        (one("number", value=VALUE + 'unit = "kg"'), ['unit is "kg"; it must be one of kPa, Pa']),
        (one("number", value=VALUE + 'unit = "mBar"'), ["Did you mean mbar?"]),
        (one("number", value=VALUE + "words = {on = '1'}"), ["words is given for vacuum_kpa, which is a number"]),
        (
            one("number", value='[[source.value]]\nto = "load_kg"\nreads = "gauge"'),
            ['reads is "gauge"; it is for vacuum_kpa'],
        ),
        (
            one("number", value='[[source.value]]\nto = "circuits.A.gauges.1"\nreads = "absolute"'),
            ["a gauge beside others must read"],
        ),
        (
            one("number", value='[[source.value]]\nto = "lifter_alarm"\nunit = "V"'),
            ["unit is given for lifter_alarm, which is a word"],
        ),
        (
            one("number", value='[[source.value]]\nto = "lifter_alarm"\nwords = {a = "yes"}'),
            ['words has "yes" for "a"; it must be true or false'],
        ),
        (
            one("number", value=VALUE + "raw_low = 4"),
            ["raw_low stands alone; raw_low, raw_high, low, high go together"],
        ),
        (one("number", value=VALUE + "raw_low = 4\nraw_high = 4\nlow = 0\nhigh = 1"), ["raw_low is not raw_high"]),
        (
            one("number", value=VALUE + "raw_low = 4\nraw_high = 20\nlow = 0\nhigh = 1\nscale = 2"),
            ["scale and offset are given beside"],
        ),
        (one("number", value=VALUE + "scale = nan"), ["scale is nan; it must lie in"]),
        ("[source]\ntopic = 'a'", ["Write [[source]] with two brackets"]),
    ],
)
def test_slip_is_told(text: str, expected: list[str]) -> None:
    told = faults(text)
    for part in expected:
        assert any(part in line for line in told), (part, told)
    assert len(told) <= len(expected)


@pytest.mark.parametrize("unit", UNITS)
def test_every_unit_may_stand_where_it_fits(unit: str) -> None:
    field = next(name for name, span in PLAUSIBLE.items() if span.unit == UNITS[unit].own)
    to = f"circuits.A.{field}" if field == "vacuum_kpa" else field
    [made] = read(one("number", value=f'[[source.value]]\nto = "{to}"\nunit = "{unit}"'))
    assert made.values[0].unit == unit


@pytest.mark.parametrize(
    ("text", "steps"),
    [
        ("a", ("a",)),
        ("data.sensors[0].value", ("data", "sensors", 0, "value")),
        ("[0][-1].a", (0, -1, "a")),
        ("list[name=vac 1].v", ("list", Pick("name", "vac 1"), "v")),
        ('"odd.key"."x[0]"', ("odd.key", "x[0]")),
        ("two words.x-1_z", ("two words", "x-1_z")),
        ('l["k=1"="=2"]', ("l", Pick("k=1", "=2"))),
        ("", ()),
    ],
)
def test_path(text: str, steps: tuple[object, ...]) -> None:
    assert split_path(text) == steps


@pytest.mark.parametrize(
    "text",
    [".", ".a", "a.", "a..b", "a[", "a]", "a[]", "a[x]", "a[1", 'a"b', '"a', "a [0]", "a.[0]", "[0]a", "=", "a\nb"],
)
def test_no_path(text: str) -> None:
    with pytest.raises(ValueError, match="it is no path"):
        split_path(text)


def test_every_binary_type_has_the_size_it_says() -> None:
    fields, size = split_fields(
        ["u8 a", "i8 b", "u16 c", "i16 d", "u32 e", "i32 f", "u64 g", "i64 h", "f32 i", "f64 j"]
    )
    assert [field.start for field in fields] == [0, 1, 2, 4, 6, 10, 14, 22, 30, 34]
    assert size == 42


@pytest.mark.parametrize("text", ["u16", "u16  a", "16 a", "skip x", "skip", "u16 a b", "", "skip 9999"])
def test_no_field(text: str) -> None:
    with pytest.raises(ValueError, match=r"field|longer"):
        split_fields([text])
