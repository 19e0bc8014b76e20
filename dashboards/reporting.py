"""A lift's one page, PDF, trace and record, as the report command writes them, from the pages.

The command runs as a process of its own, one at a time: making a PDF must not hold up the live screens.
"""

import asyncio
import sys
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Final

from dashboards import asgi
from dashboards.asgi import Receive, Route, Scope, Send
from dashboards.words import Voice
from monitor.words.languages import Speaker

if TYPE_CHECKING:
    from monitor.store.records import Reader

FORMS: Final[Mapping[str, str]] = {
    "html": asgi.HTML,
    "pdf": "application/pdf",
    "csv": "text/csv; charset=utf-8",
    "json": asgi.JSON,
}
"""What a record can be had as, and its content type."""

TIMEOUT_S: Final = 60.0


class Reporting:
    """The part of the server that hands records out."""

    def __init__(self, open_store: "Callable[[], Reader]", data: Path, voice: Callable[[Scope], Voice]) -> None:
        """``open_store`` opens the store's read side; ``data`` is its folder; ``voice`` says how to speak to who asks."""
        self._voice = voice
        self._open_store = open_store
        self._data = data
        self._one_at_a_time = asyncio.Lock()
        self.routes: Mapping[str, tuple[str, Route]] = {"/api/report": ("GET", self._get_report)}

    async def _get_report(self, scope: Scope, receive: Receive, send: Send) -> None:
        """``?lift=ID&as=html|pdf|csv|json``."""
        del receive
        query = asgi.query_of(scope)
        lift, form = query.get("lift", ""), query.get("as", "html")
        if form not in FORMS:
            await asgi.respond(send, f"/api/report: as is one of {', '.join(FORMS)}.\n", status=400)
            return
        if not await asyncio.to_thread(self._is_kept, lift):
            await asgi.respond(send, "There is no record of that lift here.\n", status=404)
            return
        async with self._one_at_a_time:
            with tempfile.TemporaryDirectory(prefix="holdwatch-report-") as folder:
                out = Path(folder) / f"lift.{form}"
                words = await self._write(lift, out, self._voice(scope).speaker)
                made = out.read_bytes() if out.is_file() else None
        if made is None:
            await asgi.respond(send, words, status=404)
            return
        named = [("content-disposition", f'inline; filename="lift.{form}"')]
        await asgi.respond(send, made, content_type=FORMS[form], headers=named)

    def _is_kept(self, lift: str) -> bool:
        reader = self._open_store()
        try:
            return bool(lift) and reader.lift(lift) is not None
        finally:
            reader.close()

    async def _write(self, lift: str, out: Path, speaker: Speaker) -> str:
        """Let the command write; what it said."""
        spoken = ("--language", speaker.language, "--units", speaker.units)
        command = ("report", "--data", str(self._data), "--out", str(out), *spoken, "--", lift)
        process = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "monitor", *command, stderr=asyncio.subprocess.PIPE
        )
        try:
            _, said = await asyncio.wait_for(process.communicate(), TIMEOUT_S)
        except TimeoutError:
            process.kill()
            await process.wait()
            return "The report took too long and was given up.\n"
        return said.decode(errors="replace")
