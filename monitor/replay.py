"""A recording judged as it would have been live: the same engine on the file's clock, the same bytes every time."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from typing import IO, Final

import msgspec

from monitor.actions import action_of
from monitor.core import engine, lifts
from monitor.core.events import (
    ActionAnswered,
    ActionCame,
    AlarmMoved,
    ClockSet,
    ConnectionSaid,
    Effect,
    Event,
    FilledIn,
    LiftClosed,
    ReadingCame,
    Told,
    UnreadableCame,
)
from monitor.core.readings import Rejected
from monitor.core.summary import Summary
from monitor.drive import Drive
from monitor.journalled import came_row, event_of
from monitor.judged_by import program_version, record_of
from monitor.settings.site import SiteSettings
from monitor.wire.inbox import Came, Inbox
from monitor.wire.mapping import Unreadable
from monitor.wire.reading_json import reading_of, shown
from monitor.wire.recording import BadLine, RecordingLine, line_time_s
from monitor.wire.topics import Topics
from monitor.words.say import status_dict

BREAK_S: Final = 6 * 3600.0
"""After so long without a line the recording itself was off: judged as an engine that was down, the gap named."""

BAD_SHOWN_N: Final = 20

_encode = msgspec.json.Encoder().encode


@dataclass(slots=True)
class ReplayReport:
    """What a replay took in and gave out. ``counts`` are the engine's own, by lifter: live, doubled, late and so on."""

    lines_n: int = 0
    readings_n: int = 0
    actions_n: int = 0
    refused_actions_n: int = 0
    bad_n: int = 0
    bad: dict[str, int] = field(default_factory=dict)
    bad_shown: list[str] = field(default_factory=list)
    other_topics_n: int = 0
    unknown_lifters_n: int = 0
    breaks_n: int = 0
    statuses_n: int = 0
    lifts_n: int = 0
    open_lifts_n: int = 0
    began_utc_s: float | None = None
    ended_utc_s: float | None = None
    counts: dict[str, dict[str, int]] = field(default_factory=dict)


def replay(
    lines: Iterable[RecordingLine | BadLine],
    site: SiteSettings,
    *,
    status_out: IO[bytes] | None = None,
    summary_out: IO[bytes] | None = None,
) -> ReplayReport:
    """Judge a recording.

    Args:
        lines: As ``monitor.wire.recording`` reads them. The clock is the greatest time so far; lines before the first
            that says when it is are judged at that time.
        site: The settings to judge by; the lines' topics must be of its root and site, or of one of its sources.
        status_out: Takes one status a line: one for every reading, and one for every change between readings.
        summary_out: Takes one JSON object: ``lifts`` (the records of all lifts, in the order they ended; one that was not
            over has ``"ended": "open"``) and what was counted.

    Raises:
        OSError: An output cannot be written.
    """
    run = _Replay(site, status_out)
    for line in lines:
        run.take(line)
    run.end()
    if summary_out is not None:
        summary = {"version": 1, "site": site.site, "lifts": run.lifts, **asdict(run.report)}
        summary_out.write(msgspec.json.format(_encode(summary), indent=2) + b"\n")
    return run.report


class _Replay:
    def __init__(self, site: SiteSettings, status_out: IO[bytes] | None) -> None:
        self.report = ReplayReport()
        self.lifts: list[dict[str, object]] = []
        self._site = site
        self._topics = Topics(site.root, site.site)
        circuits = {name: tuple(lifter.circuits) for name, lifter in site.core.lifters.items()}
        self._inbox = Inbox(site.sources, circuits)
        self._status_out = status_out
        self._drive: Drive | None = None
        self._undated: list[RecordingLine | BadLine] = []
        self._counts: dict[str, Mapping[str, int]] = {name: {} for name in site.core.lifters}

    def take(self, line: RecordingLine | BadLine) -> None:
        self.report.lines_n += 1
        at_s = self._time_s(line) if isinstance(line, RecordingLine) else None
        if self._drive is None and at_s is None:
            self._undated.append(line)
            return
        self._judge(line, at_s)

    def _time_s(self, line: RecordingLine) -> float | None:
        if line.received_s is None and self._inbox.knows(line.topic):
            return self._inbox.time_of(line.topic, line.message)
        return line_time_s(line)

    def _judge(self, line: RecordingLine | BadLine, at_s: float | None) -> None:
        drive = self._advance(at_s)
        event = self._event(line)
        if event is not None:
            reading_of_lifter = event.reading.lifter if isinstance(event, ReadingCame) else None
            self._do(drive.take(event), reading_of_lifter)
        if isinstance(line, RecordingLine) and self._inbox.routes:
            now_s = drive.now_s  # of this site and UTC alike
            came = self._inbox.take(line.topic, line.message, now_s=now_s, now_utc_s=now_s, retained=line.retained)
            for one in came:
                self._came(one, drive, line)

    def _came(self, came: Came, drive: Drive, line: RecordingLine | None = None) -> None:
        """Judge what a source of the site file brought as it is live: by the row it would have been."""
        if isinstance(came, Unreadable) and line is not None:
            self._bad(line, came.rejected.reason, came.rejected.found)
        row = came_row(came, line.message if line is not None else b"")
        event = event_of(*row) if row is not None else None
        if event is not None:
            is_reading = isinstance(event, ReadingCame)
            self.report.readings_n += is_reading
            self._do(drive.take(event), event.reading.lifter if isinstance(event, ReadingCame) else None)

    def end(self) -> None:
        if self._undated:  # not one line says when it was
            self._advance(0.0)
        if self._drive is None:
            return
        state, report = self._drive.state, self.report
        for name, one in state.lifters.items():
            if one.log is not None and one.log.load_on_s is not None:
                self._keep(lifts.close(one, one.log, self._drive.now_s, "open"))
                report.open_lifts_n += 1
            report.counts[name] = dict(self._counts[name])
        report.unknown_lifters_n = state.unknown_lifters_n + self._inbox.unknown_lifters_n
        report.ended_utc_s = self._drive.now_s

    def _advance(self, at_s: float | None) -> Drive:
        """Bring the engine to a line's time; begin it at the first."""
        if self._drive is None:
            assert at_s is not None  # noqa: S101 - see the callers
            self._drive = self._begin(at_s)
        elif at_s is not None and at_s - self._drive.now_s > BREAK_S:
            self.report.breaks_n += 1
            self._do(self._drive.resume(at_s), None)
        elif at_s is not None:
            for tick_s, effects in self._drive.advance(at_s):
                self._do(effects, None)
                for reading in self._inbox.due(tick_s):
                    self._came(reading, self._drive)
        return self._drive

    def _begin(self, at_s: float) -> Drive:
        drive = self._drive = Drive(engine.begin(self._site.core, version=program_version()), at_s)
        drive.state.streams = self._inbox.joiner.streams
        self.report.began_utc_s = at_s
        self._do(drive.take(ClockSet(0.0)), None)
        undated, self._undated = self._undated, []
        for line in undated:
            self._judge(line, None)
        return drive

    def _event(self, line: RecordingLine | BadLine) -> Event | None:
        """The event a line stands for; None where it stands for none, counted as what it is."""
        report = self.report
        place = self._topics.split(line.topic) if line.topic is not None else None
        if isinstance(line, BadLine):
            self._bad(line, line.reason, line.found)
            return UnreadableCame(place[0], Rejected(line.reason, line.found)) if place is not None else None
        if place is None:
            report.other_topics_n += not self._inbox.knows(line.topic)
            return None
        lifter, leaf = place
        if leaf == "readings":
            found = reading_of(line.payload, lifter=lifter)
            if isinstance(found, Rejected):
                self._bad(line, found.reason, found.found)
                return UnreadableCame(lifter, found, line.retained)
            report.readings_n += 1
            return ReadingCame(found, line.retained)
        if leaf == "connection":
            return ConnectionSaid(lifter, line.payload == "online")
        if leaf == "actions":
            action = action_of(line.payload, lifter=lifter) if isinstance(line.payload, dict) else None
            if action is None:
                self._bad(line, "no_action", shown(line.payload))
                return None
            report.actions_n += 1
            return ActionCame(action)
        return None  # what an engine told, recorded beside what it was told

    def _bad(self, line: RecordingLine | BadLine, reason: str, found: str) -> None:
        report = self.report
        report.bad_n += 1
        report.bad[reason] = report.bad.get(reason, 0) + 1
        if len(report.bad_shown) < BAD_SHOWN_N:
            report.bad_shown.append(f"line {line.line_n}: {reason}: {found}")

    def _do(self, effects: Iterable[Effect], reading_of_lifter: str | None) -> None:
        for effect in effects:
            match effect:
                case Told(status, changed):
                    self._counts[status.facts.config.id] = status.counts
                    own = status.facts.config.id == reading_of_lifter
                    if own:
                        reading_of_lifter = None  # a reading is told once
                    if own or changed:
                        self.report.statuses_n += 1
                        if self._status_out is not None:
                            self._status_out.write(_encode(status_dict(status)) + b"\n")
                case LiftClosed(_, summary):
                    self._keep(summary)
                case ActionAnswered(_, done, _):
                    self.report.refused_actions_n += not done
                case AlarmMoved() | FilledIn():
                    pass  # it stands in the status, and in the record

    def _keep(self, summary: Summary) -> None:
        self.report.lifts_n += 1
        self.lifts.append(record_of(summary, self._site))
