"""Traces of closed lifts judged again by the present core: one lift a task, on this machine's cores or a Dask cluster.

What a trace holds goes through the very replay a recording goes through, so the same trace, settings and program give
the same bytes, wherever they are worked out and in whatever order.
"""

import io
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import msgspec

from monitor.replay import replay
from monitor.settings.site import SiteSettings, read_site
from monitor.store.traces import CIRCUIT_NUMBERS, FLAGS, MESSAGES, NUMBERS, TEXTS, read_trace
from monitor.unfinished import Unfinished
from monitor.wire.recording import read_recording
from monitor.wire.topics import Topics

AT_ONCE_N: Final = 4
"""Tasks handed out per worker: enough that none waits, few enough that memory stays flat."""

TRIES_N: Final = 3
TOLD_WITHIN_S: Final = 5.0
"""How long ``progress`` is not told anything, however long a lift takes."""

WAS: Final = ("worst_call", "worst_call_reason", "calls_s", "margin", "judged_by")
"""What of the old record stands beside the new one."""


@dataclass(frozen=True, slots=True)
class Task:
    """One closed lift: the trace file, the record as it is kept, and the text of the site file to judge by."""

    lift: str
    trace: str
    record: str
    site_text: str


def rejudge(task: Task) -> bytes:
    """Judge one lift again; one line of JSON: ``lift``, ``was`` (of the old record), ``now`` (records as judged now).

    Raises:
        OSError: The trace cannot be read.
        monitor.settings.site.SiteError: The site file no longer fits this program.
    """
    record = msgspec.json.decode(task.record)
    site = read_site(task.site_text, name=f"the site file of lift {task.lift}")
    out = io.BytesIO()
    replay(read_recording(lines(read_trace(Path(task.trace)), record, site)), site, summary_out=out)
    told = {
        "lift": task.lift,
        "was": {name: record.get(name) for name in WAS},
        "now": msgspec.json.decode(out.getvalue())["lifts"],
    }
    return msgspec.json.encode(told) + b"\n"


def lines(trace: Mapping[str, list[Any]], record: Mapping[str, Any], site: SiteSettings) -> Iterator[bytes]:
    """A trace and the actions of its record as the lines of a recording, in the order they came."""
    topics = Topics(site.root, site.site)
    topic = topics.reading(record["lifter"])
    apart_s = next((utc - now for utc, now in zip(trace["utc_s"], trace["now_s"], strict=True) if utc is not None), 0.0)
    actions = [
        {
            "topic": topics.actions(record["lifter"]),
            "payload": {"id": f"{record['id']}/{n}", "lifter": record["lifter"]}
            | {name: act[name] for name in ("kind", "who", "role", "params")},
            "received": act["at"],
        }
        for n, act in enumerate(record.get("actions", ()))
    ]
    circuits = {name.partition(".")[0]: None for name in trace if "." in name}
    for n, kind in enumerate(trace["kind"]):
        if kind not in MESSAGES:
            continue
        received = round(trace["now_s"][n] + apart_s, 6)
        while actions and actions[0]["received"] <= received:
            yield msgspec.json.encode(actions.pop(0))
        line = {"topic": topic, "payload": _payload(trace, n, circuits), "received": received}
        yield msgspec.json.encode(line | ({"retained": True} if kind == "retained" else {}))
    yield from map(msgspec.json.encode, actions)


def _payload(trace: Mapping[str, list[Any]], n: int, circuits: Iterable[str]) -> object:
    """The message of a row, as it was sent."""
    extra = trace["extra"][n]
    named = {name: trace[name][n] for name in (*NUMBERS, *TEXTS, *FLAGS)}
    said: dict[str, Any] = {name: value for name, value in named.items() if value is not None}
    if "seq" in said:
        said["seq"] = int(said["seq"])
    parts: dict[str, Any] = {}
    for circuit in circuits:
        part = {name: trace[f"{circuit}.{name}"][n] for name in (*CIRCUIT_NUMBERS, "pump")}
        gauges = {
            name.rpartition(".")[2]: column[n]
            for name, column in trace.items()
            if name.startswith(f"{circuit}.gauges.") and column[n] is not None
        }
        part = {name: value for name, value in part.items() if value is not None}
        if gauges:
            part["gauges"] = gauges
        if part:
            parts[circuit] = part
    try:
        more = msgspec.json.decode(extra) if extra is not None else {}
    except (msgspec.DecodeError, UnicodeDecodeError):
        return extra  # it was no JSON
    if not isinstance(more, dict):
        return extra if not (said or parts) else said
    for circuit, content in (more.pop("circuits", {}) or {}).items() if isinstance(more.get("circuits"), dict) else ():
        parts[circuit] = _joined(parts.get(circuit), content)
    return said | more | ({"circuits": parts} if parts or "circuits" in more else {})


def _joined(part: Any, content: Any) -> Any:
    """What stood in columns and what stood in ``extra`` of one circuit."""
    if not isinstance(part, dict) or not isinstance(content, dict):
        return content
    gauges = (
        {**content.get("gauges", {}), **part.get("gauges", {})} if isinstance(content.get("gauges", {}), dict) else None
    )
    return {**content, **part, **({"gauges": gauges} if gauges else {})}


def run(
    tasks: Iterable[Task],
    unfinished: Unfinished,
    begin: Callable[[], Executor],
    workers_n: int,
    progress: Callable[[int, str | None], None],
) -> int:
    """Judge many lifts, each once, and write them in the order of their ids; goes on where an earlier run was cut off.

    Args:
        tasks: The lifts.
        unfinished: What is done so far, and where it is to be written.
        begin: Makes the workers; called again after one of them died and took the others along.
        workers_n: How many there are.
        progress: Told at least every few seconds how many are done, and of which lift why it could not be judged.

    Returns:
        How many lifts were written.

    Raises:
        OSError: The file cannot be written.
    """
    done = unfinished.done
    waiting = (task for task in tasks if task.lift not in done)
    tries: dict[str, int] = {}
    again: list[Task] = []
    while True:
        running: dict[Future[bytes], Task] = {}
        with begin() as workers:
            try:
                while True:
                    while len(running) < AT_ONCE_N * workers_n:
                        task = again.pop() if again else next(waiting, None)
                        if task is None:
                            break
                        running[workers.submit(rejudge, task)] = task
                    if not running:
                        break
                    for future in wait(running, TOLD_WITHIN_S, FIRST_COMPLETED).done:
                        _take(future, running, unfinished, progress)
                    progress(len(done), None)
                break
            except BrokenProcessPool:
                for task in running.values():
                    tries[task.lift] = tries.get(task.lift, 0) + 1
                    if tries[task.lift] < TRIES_N:
                        again.append(task)
                    else:
                        progress(len(done), f"lift {task.lift}: its worker died {TRIES_N} times")
    return unfinished.finish()


def _take(
    future: Future[bytes],
    running: dict[Future[bytes], Task],
    unfinished: Unfinished,
    progress: Callable[[int, str | None], None],
) -> None:
    task = running[future]
    try:
        line = future.result()
    except BrokenProcessPool:
        raise
    except Exception as error:  # noqa: BLE001 - one lift that cannot be judged must not end the others
        progress(len(unfinished.done), f"lift {task.lift}: {error}")
    else:
        unfinished.add(task.lift, line)
    del running[future]
