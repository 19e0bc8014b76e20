"""The pages' process: ``python -m dashboards --channel PATH --data DIR --listen HOST:PORT [--story PATH]``.

It prints ``listening HOST:PORT`` once bound. What takes long to load is loaded after that: a browser that is early waits.
"""

import argparse
import asyncio
import logging
import signal
import socket
import sys
from pathlib import Path

from monitor.ports import ListenError, parse_listen


def main() -> int:
    """Serve until told to end. 0 ended, 1 the address cannot be had, 2 misused."""
    options = _options()
    logging.basicConfig(level=logging.WARNING, format="holdwatch pages: %(message)s", stream=sys.stderr)
    try:
        listen = parse_listen(options.listen, option="--listen")
    except ListenError as error:
        print(f"holdwatch pages: {error}", file=sys.stderr)
        return 2
    try:
        listening = socket.create_server(
            (listen.host, listen.port), family=socket.AF_INET6 if ":" in listen.host else socket.AF_INET, backlog=256
        )
    except OSError as error:
        print(f"holdwatch pages: --listen {listen} cannot be had: {error.strerror}.", file=sys.stderr)
        return 1
    # Accepted sockets inherit it; asyncio sets it only on sockets that were made with an explicit protocol. Without it
    # head and body of an answer, written one after the other, wait 40 ms for each other.
    listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(
            number, lambda *_: sys.exit(0)
        )  # the server takes it while it runs, and raises it again at its end
    print(f"listening {listen.at(listening.getsockname()[1])}", flush=True)
    asyncio.run(_serve(options, listening))
    return 0


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m dashboards", description="Serve the pages of one site.")
    parser.add_argument("--channel", metavar="PATH", type=Path, required=True, help="the engine's local channel")
    parser.add_argument("--data", metavar="DIR", type=Path, required=True, help="where the records are kept")
    parser.add_argument(
        "--listen", metavar="HOST:PORT", required=True, help="where to serve; port 0 takes any free one"
    )
    parser.add_argument("--story", metavar="PATH", type=Path, help="the demonstration's story")
    parser.add_argument(
        "--host",
        metavar="NAME",
        action="append",
        default=[],
        help="a name people reach this server by (may be repeated)",
    )
    parser.add_argument(
        "--join-link", action="store_true", help="other devices must come through the join link to look"
    )
    parser.add_argument("--tls-cert", metavar="FILE", type=Path, help="certificate that makes the pages https")
    parser.add_argument("--tls-key", metavar="FILE", type=Path, help="its key")
    return parser.parse_args()


async def _serve(options: argparse.Namespace, listening: socket.socket) -> None:
    import uvicorn

    from dashboards.live import Live
    from dashboards.renewing import renewed
    from monitor.channel import ChannelClient

    live = Live()
    channel = ChannelClient(options.channel)
    feeding = asyncio.create_task(channel.run(live.hello, live.take))

    from dashboards.building import guarded, parts
    from dashboards.guard import Connection, allow_many_files

    allow_many_files()

    config = uvicorn.Config(
        guarded(
            *parts(
                live,
                channel,
                data=options.data,
                story=options.story,
                hosts=frozenset(options.host),
                join_link=options.join_link,
                listening=listening.getsockname()[:2],
            )
        ),
        http=Connection,
        lifespan="off",
        log_level="warning",
        access_log=False,
        server_header=False,
        date_header=False,
        backlog=256,
        timeout_keep_alive=30,
        timeout_graceful_shutdown=1,
        ssl_certfile=options.tls_cert,
        ssl_keyfile=options.tls_key,
    )
    config.load()
    watching = asyncio.create_task(renewed(config.ssl, options.tls_cert, options.tls_key)) if config.ssl else None
    await uvicorn.Server(config).serve(sockets=[listening])
    feeding.cancel()
    if watching is not None:
        watching.cancel()


if __name__ == "__main__":
    sys.exit(main())
