"""The timeline of a lift as one SVG drawing on one time axis: vacuum, load, tilt, calls, alarms, acts. No script, no font.

Colour never speaks alone: circuits differ by dash and carry their name, calls carry their word.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import datetime, tzinfo
from html import escape
from typing import Any, Final

from monitor.core.messages import Text, Value
from monitor.words.english import TEMPLATES
from monitor.words.languages import ENGLISH, Speaker
from monitor.words.quantities import number_and_unit, say_value
from monitor.words.say import say, say_told

WIDTH: Final = 1000
LEFT, RIGHT = 62, 64
VACUUM: Final = (14, 140)
LOAD: Final = (150, 190)
TILT: Final = (198, 226)
CALLS: Final = (234, 250)
ROW: Final = 12
"""Height of one alarm's row, below the calls."""

ALARMS_MOST_N: Final = 4
NAME_MOST_N: Final = 15
NAMES_MOST_N: Final = 101
"""Characters there is room for beside the drawing, and along a level."""

COLUMNS_N: Final = 600
GAP_S: Final = 20.0
"""Readings further apart are not joined by a line: what nobody saw is drawn as a gap."""

DASHES: Final = ("", "7 3", "2 3", "9 3 2 3", "5 5", "1 4", "12 4", "3 1")
COLOURS: Final = ("#1f3a5f", "#7a4a00", "#4b2e6b", "#005f56", "#6b1f2a", "#3d3d3d", "#0b5394", "#5b6b00")
CALL_FILLS: Final = {
    "land_now": "#c8102e",
    "land_soon": "#f5a800",
    "look": "#ffe066",
    "holding": "#5fae57",
    "not_lifting": "#ffffff",
    "no_signal": "url(#unknown)",
}
Points = Sequence[tuple[float, float | None]]


def clock_of(record: Mapping[str, Any], zone: tzinfo) -> Callable[[float], str]:
    """How a time of day of a lift is written: ``HH:MM:SS``; with its offset where the clocks were changed meanwhile.

    Else the hour that comes twice could not be told apart.
    """
    begin, end = (datetime.fromtimestamp(record[name], zone).utcoffset() for name in ("opened", "closed"))
    form = "%H:%M:%S" if begin == end else "%H:%M:%S %z"
    return lambda at_s: datetime.fromtimestamp(at_s, zone).strftime(form)


def timeline(
    trace: Mapping[str, Sequence[Any]],
    record: Mapping[str, Any],
    clock: Callable[[float], str],
    speaker: Speaker = ENGLISH,
) -> str:
    """Draw a lift.

    Args:
        trace: Columns of its trace (``monitor.store.traces``): ``utc_s``, ``A.vacuum_kpa``, ``load_kg``, ``tilt_deg``,
            ``call`` and so on.
        record: Its record, for the warning levels, gaps, alarms and acts.
        clock: UTC seconds to the time of day to print (``clock_of``); whole minutes are printed without seconds.
        speaker: Language and units of the words and numbers.

    Returns:
        An ``<svg>`` element; an empty text where the trace holds no time.
    """
    span = span_of(trace)
    if span is None:
        return ""
    from_s, to_s = span

    def x(at_s: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (min(max(at_s, from_s), to_s) - from_s) / (to_s - from_s)

    words = Words(speaker)
    alarms = sorted(record.get("alarms", ()), key=lambda alarm: alarm["raised"])[:ALARMS_MOST_N]
    foot = CALLS[1] + ROW * (len(alarms) + 1) + 2
    parts = [*_frame(from_s, to_s, x, clock, foot), *_gaps(record, x)]
    parts += [*_vacuum(trace, record, x, words), *_band(trace, "load_kg", LOAD, x, words)]
    parts += [*_band(trace, "tilt_deg", TILT, x, words), *_calls(trace, x, to_s, words)]
    parts += [*_alarms(alarms, x, to_s, words), *_acts(record.get("actions", ()), x, foot, words)]
    return (
        f'<svg viewBox="0 0 {WIDTH} {foot + 22}" role="img" '
        f'aria-label="{escape(words("timeline.says"))}" font-family="system-ui, sans-serif">'
        '<defs><pattern id="unknown" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<rect width="6" height="6" fill="#fff"/><line x1="0" y1="0" x2="0" y2="6" stroke="#777" stroke-width="3"/>'
        f'</pattern></defs><rect width="{WIDTH}" height="{foot + 22}" fill="#fff"/>{"".join(parts)}</svg>'
    )


def span_of(trace: Mapping[str, Sequence[Any]]) -> tuple[float, float] | None:
    """From when to when a trace says that it is, UTC seconds; ``None`` where its rows say no times: nothing can be drawn."""
    times = [at_s for at_s in trace.get("utc_s", ()) if at_s is not None]
    return (float(times[0]), float(times[-1])) if times and times[-1] > times[0] else None


class Words:
    """The words and numbers of one viewer."""

    def __init__(self, speaker: Speaker) -> None:
        self._speaker = speaker

    def __call__(self, key: str, **values: Value) -> str:
        return say(Text(key, values), self._speaker)

    def named(self, table: str, word: str, rest: str = "") -> str:
        """A fixed word of the interface; as it stands where these words do not know it."""
        key = f"{table}.{word}{rest}"
        return self(key) if key in TEMPLATES else word

    def known(self, key: str, other: str) -> str:
        """``key`` where these words know it, else ``other``: a record may be younger than the words that tell it."""
        return key if key in TEMPLATES else other

    def value(self, name: str, value: float) -> str:
        return say_value(name, value, self._speaker)

    def number_and_unit(self, name: str, value: float) -> tuple[str, str]:
        return number_and_unit(name, value, self._speaker)

    def told(self, one: Mapping[str, Any]) -> str:
        """What a record says in English words and as the text beside them; the words where the text can't be said."""
        if self._speaker == ENGLISH or "text" not in one:
            return str(one["words"])
        try:
            return say_told(one["text"], self._speaker)
        except (KeyError, TypeError):
            return str(one["words"])

    def kpa(self, value: float) -> tuple[str, str]:
        return number_and_unit("x_kpa", value, self._speaker)


def _frame(
    from_s: float, to_s: float, x: Callable[[float], float], clock: Callable[[float], str], foot: float
) -> Iterator[str]:
    step_s = next(s for s in (10, 30, 60, 120, 300, 600, 1800, 3600, 7200, 14400, 86400) if (to_s - from_s) / s <= 8)
    at_s = (from_s // step_s + 1) * step_s
    while at_s < to_s:
        yield f'<line x1="{x(at_s):.1f}" y1="{VACUUM[0]}" x2="{x(at_s):.1f}" y2="{foot}" stroke="#ddd"/>'
        said = clock(at_s)
        yield _text(x(at_s), foot + 14, said if step_s % 60 else said[:5] + said[8:], anchor="middle")
        at_s += step_s
    for top, bottom in (VACUUM, LOAD, TILT):
        yield f'<rect x="{LEFT}" y="{top}" width="{WIDTH - LEFT - RIGHT}" height="{bottom - top}" fill="none" stroke="#555"/>'


def _gaps(record: Mapping[str, Any], x: Callable[[float], float]) -> Iterator[str]:
    for gap in record.get("gaps", ()):
        left, right = x(gap["from"]), x(gap["to"])
        yield (
            f'<rect x="{left:.1f}" y="{VACUUM[0]}" width="{max(1.0, right - left):.1f}" '
            f'height="{TILT[1] - VACUUM[0]}" fill="url(#unknown)" opacity="0.5"/>'
        )


def _vacuum(
    trace: Mapping[str, Sequence[Any]], record: Mapping[str, Any], x: Callable[[float], float], words: Words
) -> Iterator[str]:
    circuits: Mapping[str, Any] = record.get("circuits", {})
    traces = {name: _points(trace, f"{name}.vacuum_kpa") for name in circuits}
    levels = {name: circuit["warning_kpa"] for name, circuit in circuits.items() if circuit.get("warning_kpa")}
    most = max(
        [*levels.values(), *(v for points in traces.values() for _, v in points if v is not None)], default=100.0
    )
    high = 10.0 * (most // 10 + 1)
    y = _scale(0.0, high, VACUUM)
    yield _text(LEFT - 6, VACUUM[0] + 10, words.value("high_kpa", high), anchor="end")
    yield _text(LEFT - 6, VACUUM[1], "0", anchor="end")
    for level in dict.fromkeys(levels.values()):
        names = _within(", ".join(name for name, one in levels.items() if one == level), NAMES_MOST_N)
        yield (
            f'<line x1="{LEFT}" y1="{y(level):.1f}" x2="{WIDTH - RIGHT}" y2="{y(level):.1f}" stroke="#c8102e" '
            'stroke-dasharray="1 2"/>'
        )
        yield _text(LEFT + 4, y(level) - 3, words("timeline.warning", circuit=names, level_kpa=level))
    for n, (name, points) in enumerate(traces.items()):
        yield _line(points, x, y, *_pen(n))
        at_y = VACUUM[0] + 12 + 16 * n
        colour, dash = _pen(n)
        yield (
            f'<line x1="{WIDTH - RIGHT + 6}" y1="{at_y}" x2="{WIDTH - RIGHT + 32}" y2="{at_y}" stroke="{colour}" '
            f'stroke-width="1.4" stroke-dasharray="{dash}"/>'
        )
        yield _text(WIDTH - RIGHT + 38, at_y + 4, _within(name, NAME_MOST_N))


def _band(
    trace: Mapping[str, Sequence[Any]],
    column: str,
    band: tuple[int, int],
    x: Callable[[float], float],
    words: Words,
) -> Iterator[str]:
    """Load or tilt over time, between its own least and greatest value."""
    points = _points(trace, column)
    values = [value for _, value in points if value is not None]
    if not values:
        yield _text(LEFT + 4, (band[0] + band[1]) / 2 + 4, words(f"timeline.no.{column}"))
        return
    y = _scale(min(0.0, *values), max(1.0, *values), band)
    yield _text(LEFT - 6, band[0] + 10, words.value(column, max(values)), anchor="end")
    yield _line(points, x, y, "#333", "")
    yield _text(WIDTH - RIGHT + 6, band[1] - 4, words(f"timeline.{column}"))


def _calls(trace: Mapping[str, Sequence[Any]], x: Callable[[float], float], to_s: float, words: Words) -> Iterator[str]:
    spans: list[tuple[str, float]] = []
    for at_s, call in zip(trace["utc_s"], trace.get("call", ()), strict=False):
        if at_s is not None and call is not None and (not spans or spans[-1][0] != call):
            spans.append((call, at_s))
    ends = [at_s for _, at_s in spans[1:]] + [to_s]
    for (call, at_s), end_s in zip(spans, ends, strict=True):
        left, width = x(at_s), max(0.5, x(end_s) - x(at_s))
        word = words.named("call", call)
        yield (
            f'<rect x="{left:.1f}" y="{CALLS[0]}" width="{width:.1f}" height="{CALLS[1] - CALLS[0]}" '
            f'fill="{CALL_FILLS.get(call, "#fff")}" stroke="#555" stroke-width="0.5"><title>{escape(word)}</title></rect>'
        )
        if width > 7 * len(word):
            colour = "#fff" if call == "land_now" else "#000"
            yield _text(left + width / 2, CALLS[1] - 5, word, anchor="middle", colour=colour)
    yield _text(LEFT - 6, CALLS[1] - 5, words("timeline.called"), anchor="end")


def _alarms(
    alarms: Sequence[Mapping[str, Any]], x: Callable[[float], float], to_s: float, words: Words
) -> Iterator[str]:
    """One row an alarm: a bar from when it was raised to when it was over, its name beside it."""
    for n, alarm in enumerate(alarms):
        top = CALLS[1] + 4 + ROW * n
        left, right = x(alarm["raised"]), x(alarm["returned"] if alarm["returned"] is not None else to_s)
        name = words.named("alarm", alarm["key"], ".name")
        said = name if not alarm["about"] else words("timeline.alarm", alarm=name, about=alarm["about"])
        fill = {"high": "#c8102e", "medium": "#f5a800"}.get(alarm["priority"], "#777")
        yield (
            f'<rect x="{left:.1f}" y="{top}" width="{max(2.0, right - left):.1f}" height="{ROW - 4}" fill="{fill}" '
            f'stroke="#222" stroke-width="0.7"><title>{escape(said)}</title></rect>'
        )
        is_late = left > (LEFT + WIDTH - RIGHT) / 2
        at_x, anchor = (left - 4, "end") if is_late else (max(left + 2, right) + 4, "start")
        if not is_late and at_x > WIDTH - RIGHT - 7 * len(said):
            at_x, anchor = left - 4, "end"
        yield _text(max(at_x, LEFT - 40), top + ROW - 4, said, anchor=anchor)


def _acts(
    actions: Sequence[Mapping[str, Any]], x: Callable[[float], float], foot: float, words: Words
) -> Iterator[str]:
    """What people told Holdwatch: a diamond where they did, what it was beside it while there is room."""
    yield _text(LEFT - 6, foot - 3, words("timeline.acts"), anchor="end")
    free_x = 0.0
    for act in actions:
        at_x, at_y, said = x(act["at"]), foot - 7, words.named("action", act["kind"])
        yield (
            f'<path d="M{at_x:.1f} {at_y - 5}l5 5-5 5-5-5z" fill="#1f3a5f">'
            f"<title>{escape(said)}: {escape(str(act['who']))}</title></path>"
        )
        if at_x > free_x:
            yield _text(at_x + 8, foot - 3, said)
            free_x = at_x + 14 + 6 * len(said)


def _within(name: str, most_n: int) -> str:
    """A name with its beginning and its end, which tells it from others: beyond its place it would be cut off or cover."""
    half = (most_n - 1) // 2
    return name if len(name) <= most_n else f"{name[:half]}…{name[len(name) - half :]}"


def _points(trace: Mapping[str, Sequence[Any]], column: str) -> list[tuple[float, float | None]]:
    """A column over time, thinned to its least and greatest value per column of the drawing, gaps kept."""
    kinds = trace.get("kind") or ["reading"] * len(trace["utc_s"])
    rows = [
        (at_s, value)
        for kind, at_s, value in zip(kinds, trace["utc_s"], trace.get(column, ()), strict=False)
        if at_s is not None and kind == "reading"
    ]
    return list(_thinned(rows))


def _thinned(rows: Points) -> Iterator[tuple[float, float | None]]:
    if not rows:
        return
    width_s = max((rows[-1][0] - rows[0][0]) / COLUMNS_N, 1e-9)
    column: list[tuple[float, float]] = []
    number, last_s = -1, rows[0][0]
    for at_s, value in rows:
        here = int((at_s - rows[0][0]) / width_s)
        if here != number or value is None or at_s - last_s > GAP_S:
            yield from _extremes(column)
            column, number = [], here
            if value is None or at_s - last_s > GAP_S:
                yield at_s, None
        if value is not None:
            column.append((at_s, value))
        last_s = at_s
    yield from _extremes(column)


def _extremes(column: Sequence[tuple[float, float]]) -> Iterable[tuple[float, float]]:
    if len(column) <= 2:
        return column
    return sorted({min(column, key=lambda one: one[1]), max(column, key=lambda one: one[1])})


def _pen(n: int) -> tuple[str, str]:
    """Colour and dash of the n-th circuit."""
    return COLOURS[n % len(COLOURS)], DASHES[n % len(DASHES)]


def _scale(low: float, high: float, band: tuple[int, int]) -> Callable[[float], float]:
    top, bottom = band
    return lambda value: bottom - (bottom - top) * (min(max(value, low), high) - low) / (high - low)


def _line(points: Points, x: Callable[[float], float], y: Callable[[float], float], colour: str, dash: str) -> str:
    path, pen = [], "M"
    for at_s, value in points:
        if value is None:
            pen = "M"
            continue
        path.append(f"{pen}{x(at_s):.1f} {y(value):.1f}")
        pen = "L"
    return f'<path d="{"".join(path)}" fill="none" stroke="{colour}" stroke-width="1.4" stroke-dasharray="{dash}"/>'


def _text(x: float, y: float, words: str, *, anchor: str = "start", colour: str = "#222") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="11" text-anchor="{anchor}" fill="{colour}">{escape(words)}</text>'
