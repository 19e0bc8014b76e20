"""A lift's drawing from its record and its trace."""

from typing import TYPE_CHECKING

from dashboards.words import Voice
from monitor.report_plot import clock_of, span_of, timeline

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.store.records import Reader


def can_be_drawn(trace: "Path") -> bool:
    """Whether a trace says when its readings came. Old ones may not, and a file may be broken."""
    from monitor.store.traces import read_trace

    try:
        return span_of(read_trace(trace, only=("utc_s",))) is not None
    except OSError:
        return False


def drawn(store: "Reader", lift: str, voice: Voice) -> str:
    """The drawing as SVG; empty where there is no such lift, or its trace is gone or can't be read."""
    from monitor.store.traces import read_trace  # takes long to load, and no live page needs it

    record, path = store.lift(lift), store.trace(lift)
    if record is None or path is None:
        return ""
    try:
        trace = read_trace(path)
    except OSError:
        return ""
    drawing = timeline(trace, record, clock_of(record, voice.zone), voice.speaker)
    return drawing.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)  # a file of its own says what it is
