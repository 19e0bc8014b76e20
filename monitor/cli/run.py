"""``demo`` and ``run``: the processes of one site, started, watched and ended together."""

import argparse
import json
import os
import secrets
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from monitor.cli.common import DONE, BadInputError, default_data, load, made, positive, say
from monitor.clock import monotonic_s

if TYPE_CHECKING:
    from monitor.ports import Listen
    from monitor.settings.site import SiteSettings
    from monitor.supervise import Part, Supervisor

DEMO_LISTEN: Final = "127.0.0.1:8050"
DEMO_SCENARIO: Final = "demo"
_BEGAN_S: Final = monotonic_s()


def add(commands: Any) -> None:
    """Add both commands."""
    demo = commands.add_parser(
        "demo",
        help="show it at work: embedded broker, simulator, engine and pages",
        description="Start everything with a simulated lifter, print the addresses, and run until Ctrl-C.",
    )
    demo.add_argument("--listen", metavar="HOST:PORT", help=f"where the pages are served (default: {DEMO_LISTEN})")
    demo.add_argument(
        "--scenario", metavar="NAME", default=DEMO_SCENARIO, help="what the simulator plays (default: %(default)s)"
    )
    demo.add_argument(
        "--speed", metavar="X", type=positive, default=1.0, help="times faster than life (default: %(default)s)"
    )
    _add_data(demo, "demo")
    demo.set_defaults(act=_demo, ends_its_parts=True)
    site = commands.add_parser(
        "run",
        help="watch the lifters of a site",
        description="Take the readings of a site's lifters from its broker, judge them, serve the pages, keep the records.",
    )
    site.add_argument("--site", metavar="FILE", type=Path, required=True, help="the site file (TOML)")
    site.add_argument("--listen", metavar="HOST:PORT", help="where the pages are served (default: the site file's)")
    _add_data(site, "the site's id")
    site.set_defaults(act=_run, ends_its_parts=True)


def _add_data(command: argparse.ArgumentParser, name: str) -> None:
    command.add_argument(
        "--data",
        metavar="DIR",
        type=Path,
        help=f"where the records are kept (default: holdwatch/ and {name}, in the user's state folder)",
    )


@dataclass(frozen=True, slots=True)
class Site:
    """What is to be run. ``listen`` is None for the site file's own; ``simulate`` the simulator's arguments, if any."""

    settings: "SiteSettings"
    file: Path
    data: Path
    listen: str | None
    simulate: Sequence[str] = ()
    story: Path | None = None
    secret: str = field(default_factory=lambda: secrets.token_urlsafe(24))

    def engine_login(self) -> dict[str, str]:
        """The engine's login at the embedded broker; another broker's comes from the environment."""
        from monitor.embedded import ENGINE_USER

        if not self.settings.broker.embedded:
            return {}
        return {"HOLDWATCH_BROKER_USER": ENGINE_USER, "HOLDWATCH_BROKER_PASSWORD": self.secret}


def _demo(given: argparse.Namespace) -> int:
    from importlib.resources import as_file, files

    from simulator.scenarios import ScenarioError
    from simulator.scenarios import load as load_scenario

    try:
        load_scenario(given.scenario)
    except ScenarioError as error:
        raise BadInputError(f"--scenario: {error}") from None
    with as_file(files("configs") / "demo.toml") as file:
        settings = load(file)
        data = made(given.data or default_data("demo"))
        story = data / "story.json"
        story.unlink(missing_ok=True)
        simulate = [given.scenario, "--site", str(file), "--speed", str(given.speed), "--story", str(story), "--loop"]
        return _serve(Site(settings, file, data, given.listen or DEMO_LISTEN, simulate, story))


def _run(given: argparse.Namespace) -> int:
    settings = load(given.site)
    return _serve(Site(settings, given.site.resolve(), made(given.data or default_data(settings.site)), given.listen))


def _serve(site: Site) -> int:
    import asyncio

    from monitor.embedded import checked_listen
    from monitor.passwords import PASSWORDS_FILE, PasswordError, Passwords
    from monitor.ports import ListenError, check_free, parse_listen

    if site.settings.store_url:
        os.environ.setdefault("HOLDWATCH_STORE_URL", site.settings.store_url)  # all parts inherit it
    option = "--listen" if site.listen else "[pages].listen"
    try:
        pages = parse_listen(site.listen or site.settings.pages.listen, option=option)
        check_free(pages, option=option)
        broker = None
        if site.settings.broker.embedded:
            has_passwords = Passwords(site.data / PASSWORDS_FILE).any() or bool(os.environ.get("HOLDWATCH_BROKER_USER"))
            broker = checked_listen(site.settings.broker.listen, has_passwords=has_passwords)
            check_free(broker, option="[broker].listen")
        if site.settings.pages.tls_cert:
            _check_certificate(site.settings)
    except (ListenError, PasswordError) as error:
        raise BadInputError(str(error)) from None
    try:
        return asyncio.run(_until_ended(site, pages, broker))
    except KeyboardInterrupt:  # Windows; elsewhere Ctrl-C is a signal the supervisor handles
        return DONE


def _check_certificate(settings: "SiteSettings") -> None:
    """See before anything starts that the pages' certificate and key will do.

    Raises:
        BadInputError: They will not.
    """
    from datetime import UTC, datetime

    from monitor.certificates import CertificateError, check_pair

    pages = settings.pages
    try:
        word = check_pair(Path(pages.tls_cert), Path(pages.tls_key), datetime.now(UTC))
    except CertificateError as error:
        raise BadInputError(f"[pages].tls_cert: {error} Nothing was started.") from None
    if word:
        say(word)


async def _until_ended(site: Site, pages: "Listen", broker: "Listen | None") -> int:
    import asyncio

    from monitor.supervise import PartFailedError, Supervisor, on_signals

    supervisor = Supervisor()
    ended = asyncio.Event()
    on_signals(ended.set, supervisor.kill)
    try:
        await supervisor.watch(_first(ended.wait(), _start(site, supervisor, pages, broker)))
        await supervisor.watch(ended.wait())
        say("ending")
    except PartFailedError as error:
        say(str(error))
        return error.code
    finally:
        await supervisor.end()
    return DONE


async def _first(*awaited: Any) -> None:
    """Wait for the first of them, and let its error out."""
    import asyncio

    from monitor.supervise import cancelled

    tasks = [asyncio.ensure_future(one) for one in awaited]
    try:
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        for task in done:
            task.result()
    finally:
        await cancelled(*tasks)


async def _start(site: Site, supervisor: "Supervisor", pages: "Listen", broker: "Listen | None") -> None:
    from monitor.ports import reachable
    from monitor.supervise import Part

    url = site.settings.broker.url or ""
    if broker is not None:
        part = _broker(site, broker)
        await supervisor.start(part)
        url = f"mqtt://{_local(part.arguments[-1])}"
        say(f"broker up, {_since_start()}")
    parts = [_engine(site, url), _pages(site, pages)]
    if site.simulate:
        parts.append(
            Part(
                "simulator",
                "monitor",
                ["simulate", *site.simulate, "--broker", url],
                ends_by_itself=True,
                environment=site.engine_login(),
            )
        )
    say(f"starting {', '.join(part.name for part in parts)}")
    await supervisor.start(*parts)
    say(f"all up, {_since_start()}")
    scheme = "https" if site.settings.pages.tls_cert else "http"
    listening = parts[1].arguments[-1]
    address = f"{scheme}://{reachable(listening)}"
    lifters = list(site.settings.core.lifters)
    _tell(f"ground {address}/")
    _tell(f"landing {address}/landing" + (f"?lifter={lifters[0]}" if len(lifters) == 1 else ""))
    _tell(f"broker {url if broker is None else 'mqtt://' + reachable(part.arguments[-1])}")
    await _until_live(f"{scheme}://{_local(listening)}", with_reading=bool(site.simulate))
    say(f"{'first live reading on the page' if site.simulate else 'pages live'}, {_since_start()}")
    _tell("ready")
    say("Ctrl-C ends it all")


def _broker(site: Site, listen: "Listen") -> "Part":
    from monitor.passwords import PASSWORDS_FILE
    from monitor.supervise import Part

    fixed = ["--passwords", str(site.data / PASSWORDS_FILE), "--listen"]
    return Part(
        "broker",
        "monitor.embedded",
        [*fixed, str(listen)],
        "listening",
        lambda at: [*fixed, at],
        environment={"HOLDWATCH_ENGINE_PASSWORD": site.secret},
    )


def _engine(site: Site, url: str) -> "Part":
    from monitor.supervise import Part

    return Part(
        "engine",
        "monitor.service",
        ["--site", str(site.file), "--data", str(site.data), "--broker-url", url],
        "ready",
        environment=site.engine_login(),
    )


def _pages(site: Site, listen: "Listen") -> "Part":
    from monitor.supervise import Part

    fixed = ["--channel", str(site.data / "channel.sock"), "--data", str(site.data)]
    if site.story is not None:
        fixed += ["--story", str(site.story)]
    if site.settings.pages.join_link:
        fixed.append("--join-link")
    if site.settings.pages.tls_cert:
        from monitor.certificates import names_of

        tls_cert = site.settings.pages.tls_cert
        fixed += ["--tls-cert", tls_cert, "--tls-key", site.settings.pages.tls_key]
        fixed += [word for name in names_of(Path(tls_cert)) for word in ("--host", name)]
    return Part(
        "pages", "dashboards", [*fixed, "--listen", str(listen)], "listening", lambda at: [*fixed, "--listen", at]
    )


def _local(listening: str) -> str:
    """HOST:PORT as this machine reaches it."""
    from monitor.ports import EVERY_ADDRESS

    host, _, port = listening.rpartition(":")
    return f"127.0.0.1:{port}" if host in EVERY_ADDRESS else listening


async def _until_live(address: str, *, with_reading: bool) -> None:
    """Wait until the pages have snapshots of the engine, and a live reading in them where one is to come."""
    import asyncio

    while not await asyncio.to_thread(_is_live, address, with_reading):
        await asyncio.sleep(0.05)


def _is_live(address: str, with_reading: bool) -> bool:
    import ssl
    import urllib.request

    context = ssl.create_default_context()
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE  # our own page, whoever signed for its name
    try:
        with urllib.request.urlopen(f"{address}/healthz", timeout=2, context=context):  # noqa: S310
            pass
        if not with_reading:
            return True
        with urllib.request.urlopen(f"{address}/api/status", timeout=2, context=context) as answer:  # noqa: S310
            lifters = json.load(answer)["lifters"]
    except (OSError, ValueError):  # 503 until the first snapshot is one of them
        return False
    return any(lifter["reading_time"] is not None and lifter["call"] != "no_signal" for lifter in lifters)


def _since_start() -> str:
    return f"{monotonic_s() - _BEGAN_S:.1f} s after the start"


def _tell(line: str) -> None:
    print(line, flush=True)
