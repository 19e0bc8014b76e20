"""``replay``: a recording judged as it would have been judged live."""

import argparse
import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

from monitor.cli.common import DONE, BadInputError, FailedError, load, say

if TYPE_CHECKING:
    from monitor.replay import ReplayReport


def add(commands: Any) -> None:
    """Add the command."""
    replay = commands.add_parser(
        "replay",
        help="judge a recording as it would have been judged live",
        description="Run the engine over a recording on the recording's own clock. Two runs give identical files.",
    )
    replay.add_argument("recording", metavar="RECORDING", type=Path, help="JSON Lines, plain or .gz")
    replay.add_argument("--site", metavar="FILE", type=Path, required=True, help="the site file (TOML) to judge by")
    replay.add_argument(
        "--status", metavar="OUT.jsonl", type=Path, help="write one status for each reading, and each change in between"
    )
    replay.add_argument(
        "--summary", metavar="OUT.json", type=Path, help="write the records of the lifts and the counts"
    )
    replay.set_defaults(act=_replay)


def _replay(given: argparse.Namespace) -> int:
    from monitor.clock import monotonic_s
    from monitor.replay import replay
    from monitor.wire.recording import read_recording_file

    site = load(given.site)
    try:
        given.recording.open("rb").close()
    except OSError as error:
        raise BadInputError(
            f"{given.recording}: {error.strerror}. Name a recording (JSON Lines, or .gz of it)."
        ) from None
    began_s = monotonic_s()
    try:
        with _whole(given.status) as status_out, _whole(given.summary) as summary_out:
            report = replay(read_recording_file(given.recording), site, status_out=status_out, summary_out=summary_out)
    except KeyboardInterrupt:
        raise FailedError("stopped before the end of the recording; no file was written") from None
    except OSError as error:
        raise FailedError(f"{error.filename or 'an output'}: {error.strerror or error}") from None
    _tell(report, monotonic_s() - began_s)
    return DONE


@contextlib.contextmanager
def _whole(path: Path | None) -> Iterator[IO[bytes] | None]:
    """A file that stands under its name only once it is complete."""
    if path is None:
        yield None
        return
    draft = path.with_name(f"{path.name}.part")
    try:
        with draft.open("wb") as file:
            yield file
        draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)


def _tell(report: "ReplayReport", took_s: float) -> None:
    say(
        f"{report.readings_n} readings in {took_s:.2f} s ({report.readings_n / max(took_s, 1e-9):.0f} a second), "
        f"{report.statuses_n} statuses, {report.lifts_n} lifts"
    )
    for n, what in (
        (report.bad_n, "lines or messages could not be read; each was judged as an unreadable message would be live"),
        (report.other_topics_n, "lines were of another site or topic, and passed over"),
        (report.unknown_lifters_n, "readings were of lifters that the site file does not have"),
        (report.open_lifts_n, "lifts were not over when the recording ended"),
    ):
        if n:
            say(f"{n} {what}")
    for shown in report.bad_shown:
        say(f"  {shown}")
