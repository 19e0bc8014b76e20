"""The help page of the site file, made from the table of keys. Printed by ``python -m monitor.settings.help_page``."""

from typing import Final

from monitor.settings.faults import found_text, number_text
from monitor.settings.table import Key, Section, keys_of

_HEADINGS: Final = {
    Section.SITE: "The site",
    Section.BROKER: "The broker",
    Section.PAGES: "The pages",
    Section.LIFTER: "A lifter",
    Section.CIRCUIT: "A circuit",
    Section.PAD: "A pad",
    Section.LAYOUT: "A layout",
    Section.TANDEM: "Lifters in tandem",
    Section.SOURCE: "A source: hardware with messages of its own",
    Section.VALUE: "A value of a source",
}
_BEGINNING: Final = """\
# The site file

A site file says what Holdwatch cannot read from a lifter: its plate value, its warning levels, its pads, the time to
land. It is TOML, a plain text file; `configs/` holds examples to start from. Units stand in the names of the keys.

The values come from the lifter's plate and manual, from the crane's chart and from the site. Holdwatch only works with
what is entered here; it cannot know whether it is true. Have someone else read the file against the plate before the
first lift. The lifter's own gauge and alarm, the lift plan, local codes and a competent person decide.

Everything is checked before anything starts. Each fault is told with where it stands, what was found and what is
allowed, all of them at once; a key that does not exist is an error too, with the nearest one that does. The settings in
force, and whether each came from the file or is a default, are written to the log at the start. The file itself is kept
in the data folder, so that a lift can be looked at later with the settings that judged it.

User and password of the broker are never in this file: they come from the environment, `HOLDWATCH_BROKER_USER` and
`HOLDWATCH_BROKER_PASSWORD`.

An **id** is 1 to 64 letters, digits, `-` and `_`. A **date** is written `2027-03-01`. Numbers may be written with or
without a decimal point; `nan` and `inf` are refused. A **quantity** may also be text with a unit of its own:
`wll_kg = "700 lb"`, `warning_kpa = "16 inHg"`, `overhang_limit_mm = "2 ft"`.
"""
_ACROSS: Final = """
## What must fit together

- `working_kpa` is at least `warning_kpa`, and `warning_kpa` lies below the site's ambient pressure.
- `pump_start_kpa` lies below `pump_stop_kpa`.
- Every pad names a circuit of its lifter and has a place of its own; where there are pads, every circuit has some.
- A layout names pads of its lifter, each once; a tandem names two or more lifters of this file, each in one tandem.
- `friction` above what the surface gives (dry 0.5, wet 0.2, oily 0.1) needs a `friction_source`.
- `load_on_kg` is under `wll_kg`; `losing_horizon_s` is at least twice `time_to_land_s`; `projection_horizon_s` is at
  least `losing_horizon_s`.
- `tls_cert` and `tls_key` come together; certificate files are looked for beside the site file.
- A broker is needed: `url`, or `embedded = true`.
- A source names its lifter in the topic, as `{lifter}`, or under `lifter`; what it fills in must be a field of a reading
  and a circuit of that lifter, each once. It must not take in Holdwatch's own `readings` topics.
- `raw_low`, `raw_high`, `low` and `high` come together; 4 to 20 has fault limits of its own, 3.6 and 21.
"""


def settings_page() -> str:
    """The whole page, Markdown."""
    return _BEGINNING + "".join(map(_section, Section)) + _ACROSS


def _section(section: Section) -> str:
    heading = _HEADINGS[section] + (f": `{section}`" if section else "")
    rows = "".join(map(_row, keys_of(section).values()))
    return f"\n## {heading}\n\n| key | what may stand there | left out | meaning |\n| --- | --- | --- | --- |\n{rows}"


def _row(key: Key) -> str:
    return f"| `{key.name}` | {_allowed(key)} | {_default(key)} | {key.meaning} |\n"


def _allowed(key: Key) -> str:
    if key.words:
        return ", ".join(f"`{found_text(word)}`" for word in key.words)
    if key.low is None or key.high is None:
        return str(key.kind)
    unit = "" if key.unit in ("", "ratio") else f" {key.unit}"
    return f"{key.kind}, {number_text(key.low)} to {number_text(key.high)}{unit}"


def _default(key: Key) -> str:
    if key.required:
        return "required"
    if key.default_says:
        return key.default_says
    match key.default:
        case None | "" | ():
            return "none"
        case bool():
            return f"`{str(key.default).lower()}`"
        case str():
            return f'`"{key.default}"`'
        case _:
            return f"`{number_text(key.default)}`"


if __name__ == "__main__":
    print(settings_page(), end="")
