"""The timeline of a lift as one SVG drawing: every circuit's vacuum, the load, what was called. No script, no outside font.

Colour never speaks alone: circuits differ by dash and carry their name, calls carry their word.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from html import escape
from typing import Any, Final

WIDTH, HEIGHT = 1000, 330
LEFT, RIGHT = 52, 64
VACUUM: Final = (14, 190)
LOAD: Final = (206, 266)
CALLS: Final = (282, 302)
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
CALL_WORDS: Final = {
    "land_now": "land now",
    "land_soon": "land soon",
    "look": "look",
    "holding": "holding",
    "not_lifting": "not lifting",
    "no_signal": "no signal",
}

Points = Sequence[tuple[float, float | None]]


def timeline(trace: Mapping[str, Sequence[Any]], record: Mapping[str, Any], clock: Callable[[float], str]) -> str:
    """Draw a lift.

    Args:
        trace: Columns of its trace (``monitor.store.traces``): ``utc_s``, ``A.vacuum_kpa``, ``load_kg``, ``call`` and so on.
        record: Its record, for the warning levels and the gaps.
        clock: UTC seconds to the time of day to print, ``HH:MM:SS``; whole minutes are printed without seconds.

    Returns:
        An ``<svg>`` element; an empty text where the trace holds no time.
    """
    times = [at_s for at_s in trace.get("utc_s", ()) if at_s is not None]
    if not times or times[-1] <= times[0]:
        return ""
    from_s, to_s = float(times[0]), float(times[-1])

    def x(at_s: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (min(max(at_s, from_s), to_s) - from_s) / (to_s - from_s)

    parts = [*_frame(from_s, to_s, x, clock), *_gaps(record, x)]
    parts += _vacuum(trace, record, x)
    parts += _load(trace, x)
    parts += _calls(trace, x, to_s)
    drawing = "".join(parts)
    return (
        f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="Vacuum, load and calls over the lift">'
        '<defs><pattern id="unknown" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<rect width="6" height="6" fill="#fff"/><line x1="0" y1="0" x2="0" y2="6" stroke="#777" stroke-width="3"/>'
        f"</pattern></defs>{drawing}</svg>"
    )


def _frame(from_s: float, to_s: float, x: Callable[[float], float], clock: Callable[[float], str]) -> Iterator[str]:
    step_s = next(s for s in (10, 30, 60, 120, 300, 600, 1800, 3600, 7200, 14400, 86400) if (to_s - from_s) / s <= 8)
    at_s = (from_s // step_s + 1) * step_s
    while at_s < to_s:
        yield f'<line x1="{x(at_s):.1f}" y1="{VACUUM[0]}" x2="{x(at_s):.1f}" y2="{CALLS[1]}" stroke="#ddd"/>'
        yield _text(x(at_s), HEIGHT - 8, clock(at_s)[: None if step_s % 60 else 5], anchor="middle")
        at_s += step_s
    for top, bottom in (VACUUM, LOAD):
        yield f'<rect x="{LEFT}" y="{top}" width="{WIDTH - LEFT - RIGHT}" height="{bottom - top}" fill="none" stroke="#555"/>'


def _gaps(record: Mapping[str, Any], x: Callable[[float], float]) -> Iterator[str]:
    for gap in record.get("gaps", ()):
        left, right = x(gap["from"]), x(gap["to"])
        yield (
            f'<rect x="{left:.1f}" y="{VACUUM[0]}" width="{max(1.0, right - left):.1f}" '
            f'height="{LOAD[1] - VACUUM[0]}" fill="url(#unknown)" opacity="0.5"/>'
        )


def _vacuum(
    trace: Mapping[str, Sequence[Any]], record: Mapping[str, Any], x: Callable[[float], float]
) -> Iterator[str]:
    circuits: Mapping[str, Any] = record.get("circuits", {})
    traces = {name: _points(trace, f"{name}.vacuum_kpa") for name in circuits}
    levels = {name: circuit["warning_kpa"] for name, circuit in circuits.items() if circuit.get("warning_kpa")}
    most = max(
        [*levels.values(), *(v for points in traces.values() for _, v in points if v is not None)], default=100.0
    )
    high = 10.0 * (most // 10 + 1)
    y = _scale(0.0, high, VACUUM)
    yield _text(LEFT - 6, VACUUM[0] + 10, f"{high:.0f} kPa", anchor="end")
    yield _text(LEFT - 6, VACUUM[1], "0", anchor="end")
    for level in dict.fromkeys(levels.values()):
        names = ", ".join(name for name, one in levels.items() if one == level)
        yield (
            f'<line x1="{LEFT}" y1="{y(level):.1f}" x2="{WIDTH - RIGHT}" y2="{y(level):.1f}" stroke="#c8102e" '
            'stroke-dasharray="1 2"/>'
        )
        yield _text(LEFT + 4, y(level) - 3, f"warning level {names}: {level:g} kPa")
    for n, (name, points) in enumerate(traces.items()):
        yield _line(points, x, y, *_pen(n))
        at_y = VACUUM[0] + 12 + 16 * n
        colour, dash = _pen(n)
        yield (
            f'<line x1="{WIDTH - RIGHT + 6}" y1="{at_y}" x2="{WIDTH - RIGHT + 32}" y2="{at_y}" stroke="{colour}" '
            f'stroke-width="1.4" stroke-dasharray="{dash}"/>'
        )
        yield _text(WIDTH - RIGHT + 38, at_y + 4, name)


def _load(trace: Mapping[str, Sequence[Any]], x: Callable[[float], float]) -> Iterator[str]:
    points = _points(trace, "load_kg")
    values = [value for _, value in points if value is not None]
    if not values:
        yield _text(LEFT + 4, (LOAD[0] + LOAD[1]) / 2, "no load reading")
        return
    y = _scale(min(0.0, *values), max(1.0, *values), LOAD)
    yield _text(LEFT - 6, LOAD[0] + 10, f"{max(values):.0f} kg", anchor="end")
    yield _line(points, x, y, "#333", "")
    yield _text(WIDTH - RIGHT + 6, LOAD[1] - 4, "load, sent")


def _calls(trace: Mapping[str, Sequence[Any]], x: Callable[[float], float], to_s: float) -> Iterator[str]:
    spans: list[tuple[str, float]] = []
    for at_s, call in zip(trace["utc_s"], trace.get("call", ()), strict=False):
        if at_s is not None and call is not None and (not spans or spans[-1][0] != call):
            spans.append((call, at_s))
    ends = [at_s for _, at_s in spans[1:]] + [to_s]
    for (call, at_s), end_s in zip(spans, ends, strict=True):
        left, width = x(at_s), max(0.5, x(end_s) - x(at_s))
        word = CALL_WORDS.get(call, call)
        yield (
            f'<rect x="{left:.1f}" y="{CALLS[0]}" width="{width:.1f}" height="{CALLS[1] - CALLS[0]}" '
            f'fill="{CALL_FILLS.get(call, "#fff")}" stroke="#555" stroke-width="0.5"><title>{escape(word)}</title></rect>'
        )
        if width > 7 * len(word):
            colour = "#fff" if call == "land_now" else "#000"
            yield _text(left + width / 2, CALLS[1] - 6, word, anchor="middle", colour=colour)
    yield _text(LEFT - 6, CALLS[1] - 6, "called", anchor="end")


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
