"""A lift's drawing from its record and its trace."""

from typing import TYPE_CHECKING

from dashboards.words import Voice
from monitor.report_plot import timeline

if TYPE_CHECKING:
    from monitor.store.records import Reader


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
    drawing = timeline(trace, record, voice.clock, voice.speaker)
    return drawing.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)  # a file of its own says what it is
