"""``report`` writes one lift's record as a page or a table; ``verify`` checks that no closed record was changed."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from monitor.cli.common import DONE, FAILED, BadInputError, FailedError, say
from monitor.languages import SOURCE, languages
from monitor.words.languages import Speaker

if TYPE_CHECKING:
    from monitor.store.records import Reader

ENDINGS: Final = (".html", ".pdf", ".csv", ".json")
NEWEST_SHOWN_N: Final = 5
REASONS: Final = {"record_missing": "its record is missing, so it can't be checked"}
"""Why a lift does not fit, where the store's own word would not say it."""


def add(commands: Any) -> None:
    """Add the commands."""
    report = commands.add_parser(
        "report",
        help="one lift's record as a page or a table",
        description="Write a closed lift as one page to sign (.html or .pdf), its trace (.csv; the record's figures where "
        "no trace is kept), or its record (.json).",
    )
    report.add_argument("lift", metavar="LIFT", help="the lift's id, as /lifts and the summary give it")
    report.add_argument("--data", metavar="DIR", type=Path, required=True, help="the data folder")
    report.add_argument("--out", metavar="FILE", type=Path, required=True, help="ends in .html, .pdf, .csv or .json")
    report.add_argument("--language", choices=languages(), help="of the page; by default the site file's")
    report.add_argument("--units", choices=("metric", "us"), help="of the page; by default the site file's")
    report.set_defaults(act=_report)
    verify = commands.add_parser(
        "verify",
        help="check that no closed record was changed",
        description="Check every closed record and trace against the hashes written when they were closed.",
    )
    verify.add_argument("--data", metavar="DIR", type=Path, required=True, help="the data folder")
    verify.set_defaults(act=_verify)


def _reader(data: Path) -> "Reader":
    from monitor.store.records import open_reader

    if not data.is_dir():
        raise BadInputError(f"--data is {data}, which is no folder. Name the data folder of `run` or `demo`.")
    return open_reader(data)


def _report(given: argparse.Namespace) -> int:
    from monitor.report import figures_csv, lift_csv, lift_html, lift_json
    from monitor.report_pdf import PdfError, pdf
    from monitor.store.errors import StoreError
    from monitor.store.traces import read_trace

    ending = given.out.suffix
    if ending not in ENDINGS:
        raise BadInputError(
            f"--out is {given.out}, which ends in {ending or 'nothing'}; it must end in {', '.join(ENDINGS)}. "
            "Nothing was written."
        )
    reader = _reader(given.data)
    try:
        record = reader.lift(given.lift)
        if record is None:
            newest = ", ".join(str(one["id"]) for one in reader.lifts(limit=NEWEST_SHOWN_N)) or "none"
            raise BadInputError(f"LIFT is {given.lift}, which is not kept in {given.data}. The newest there: {newest}.")
        path, chained = reader.trace(given.lift), reader.hash(given.lift)
        speaker = _speaker(given, reader)
        trace = None if path is None else read_trace(path)
    except StoreError as error:
        raise FailedError(str(error)) from None
    finally:
        reader.close()
    match ending:
        case ".csv":
            text = figures_csv(record, chained=chained) if trace is None else lift_csv(trace)
        case ".json":
            text = lift_json(record, chained=chained)
        case _:
            text = lift_html(record, trace, chained=chained, speaker=speaker)
    try:
        given.out.write_bytes(pdf(text) if ending == ".pdf" else text.encode())
    except PdfError as error:
        raise FailedError(str(error)) from None
    except OSError as error:
        raise FailedError(f"--out is {given.out}, which can't be written ({error.strerror}).") from None
    say(f"lift {given.lift} written to {given.out}")
    if ending == ".csv" and trace is None:
        say("Its readings are not kept: the file has the figures of its record instead.")
    return DONE


def _speaker(given: argparse.Namespace, reader: "Reader") -> Speaker:
    """As given, else as the site file in force says, else English and metric."""
    from monitor.settings.site import SiteError, read_site

    language, units = SOURCE, "metric"
    try:
        if (text := reader.settings_in_force()) is not None:
            site = read_site(text, name="the site file kept in the data folder")
            language, units = site.pages.language, site.pages.units
    except SiteError:
        pass  # a site file of another version must not keep a record from being printed
    language = given.language or language
    return Speaker(language, given.units or units, language)


def _verify(given: argparse.Namespace) -> int:
    from monitor.fleet import folders
    from monitor.store.database import IN_FOLDER
    from monitor.store.errors import StoreError
    from monitor.store.records import open_reader

    readers = [_reader(given.data), *(open_reader(folder, IN_FOLDER) for folder in folders(given.data))]
    try:
        misfits = [misfit for reader in readers if (misfit := reader.verify()) is not None]
        ends = [end for reader in readers for end in reader.chain_ends()]
    except StoreError as error:
        raise FailedError(str(error)) from None
    finally:
        for reader in readers:
            reader.close()
    for misfit in misfits:
        reason = REASONS.get(misfit.reason, misfit.reason.replace("_", " "))
        say(f"lift {misfit.lift} of site {misfit.site} does not fit: {reason}")
    if misfits:
        return FAILED
    if ends:
        say(f"every closed record and trace is as it was when it was closed; {sum(end.lifts_n for end in ends)} lifts")
        for end in ends:
            say(f"site {end.site}: {end.lifts_n} lifts, the last is {end.lift}, its hash {end.hash}")
        say(
            "Lifts taken away from the end are not seen here: compare with a number and hash you wrote down, or a report."
        )
    else:
        say(f"{given.data} has no closed lift: nothing was checked")
    return DONE
