"""``simulate``: a lifter that is not there, sent to a broker or written as a recording."""

import argparse
import logging
from pathlib import Path
from typing import Any, Final

from monitor.cli import history
from monitor.cli.common import DONE, BadInputError, FailedError, load, log_to_stderr, positive, say, stopped_by_signal

DEFAULT_URL: Final = "mqtt://127.0.0.1:1883"


def add(commands: Any) -> None:
    """Add the command."""
    simulate = commands.add_parser(
        "simulate",
        help="send the readings of a simulated lifter, or write them as a recording",
        description="Play a scenario with the simulator's own physics, over MQTT in real time or into a recording.",
    )
    simulate.add_argument(
        "scenario", metavar="SCENARIO", help="name of a scenario, the path of its .toml file, or history"
    )
    simulate.add_argument("--site", metavar="FILE", type=Path, help="site file whose lifter it plays")
    simulate.add_argument("--lifter", metavar="ID", help="which lifter of the site file (default: its first)")
    where = simulate.add_mutually_exclusive_group()
    where.add_argument(
        "--broker", metavar="URL", help=f"where to send it (default: the site file's broker, else {DEFAULT_URL})"
    )
    where.add_argument("--out", metavar="RECORDING", type=Path, help="write this file instead, as fast as possible")
    simulate.add_argument(
        "--seed", metavar="N", type=int, default=0, help="same seed, same noise (default: %(default)s)"
    )
    simulate.add_argument(
        "--speed", metavar="X", type=positive, default=1.0, help="times faster than life (default: %(default)s)"
    )
    simulate.add_argument("--loop", action="store_true", help="begin again at the end, until Ctrl-C")
    simulate.add_argument("--story", metavar="FILE", type=Path, help="keep the line of the story told now in this file")
    simulate.add_argument("--data", metavar="DIR", type=Path, help="history: the empty data folder it is written to")
    history.add_wishes(simulate)
    simulate.set_defaults(act=_simulate)


def _simulate(given: argparse.Namespace) -> int:
    if given.scenario == "history":
        return history.write(given)
    from monitor.broker import BrokerError
    from simulator import publisher
    from simulator.scenarios import ScenarioError

    site = load(given.site) if given.site else None
    log_to_stderr(logging.INFO)
    try:
        if given.out is not None:
            lines_n = publisher.write_recording(
                given.scenario, given.out, site=site, seed=given.seed, lifter_id=given.lifter
            )
            say(f"{lines_n} messages written to {given.out}")
            return DONE
        with stopped_by_signal() as stop:
            published_n = publisher.run(
                given.scenario,
                broker_url=given.broker or _broker_of(site),
                site=site,
                seed=given.seed,
                speed=given.speed,
                loop=given.loop,
                story_path=given.story,
                stop=stop,
                lifter_id=given.lifter,
            )
    except (ScenarioError, BrokerError) as error:
        raise BadInputError(str(error)) from None
    except OSError as error:
        raise FailedError(f"{error.filename or given.out}: {error.strerror or error}") from None
    say(f"{published_n} messages sent")
    return DONE


def _broker_of(site: Any) -> str:
    if site is None:
        return DEFAULT_URL
    return site.broker.url or f"mqtt://{site.broker.listen}"
