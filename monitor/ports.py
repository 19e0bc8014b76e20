"""Where a process listens: read from HOST:PORT, said again, and tried before anything starts."""

import errno
import socket
from dataclasses import dataclass
from typing import Final

from monitor.settings.addresses import split_listen

EVERY_ADDRESS: Final = frozenset({"0.0.0.0", "[::]"})  # noqa: S104 - recognised, not bound
"""Hosts that stand for every address of this machine."""


class ListenError(ValueError):
    """An address that cannot be listened on; the text says where it was given and what to do."""


@dataclass(frozen=True, slots=True)
class Listen:
    """Where to listen. Port 0 means any free one."""

    host: str
    port: int

    def at(self, port: int) -> str:
        """This address with the port that was found, as ``HOST:PORT``."""
        return f"[{self.host}]:{port}" if ":" in self.host else f"{self.host}:{port}"

    def __str__(self) -> str:
        return self.at(self.port)


def parse_listen(text: str, *, option: str) -> Listen:
    """Read ``HOST:PORT``; ``option`` is what the error calls it.

    Raises:
        ListenError: It is not of that form.
    """
    try:
        host, port = split_listen(text)
    except ValueError as error:
        raise ListenError(f"{option} is {text!r}; {error}.") from None
    # "localhost" may be two addresses, and port 0 would then be two ports
    return Listen("127.0.0.1" if host == "localhost" else host, port)


def check_free(listen: Listen, *, option: str) -> None:
    """Make sure that ``listen`` can be had, by taking it for a moment.

    Raises:
        ListenError: It is taken, not allowed, or no address of this machine.
    """
    family = socket.AF_INET6 if ":" in listen.host else socket.AF_INET
    with socket.socket(family) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((listen.host, listen.port))
            probe.listen(1)
        except OSError as error:
            raise ListenError(_say(listen, option, error)) from None


def reachable(listening: str) -> str:
    """``HOST:PORT`` as another machine on this network would write it."""
    host, _, port = listening.rpartition(":")
    return f"{own_address()}:{port}" if host in EVERY_ADDRESS else listening


def own_address() -> str:
    """This machine's address on its network. No packet is sent: connecting a datagram socket only picks the route."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1, RFC 5737
        except OSError:
            return "127.0.0.1"
        return str(probe.getsockname()[0])


def _say(listen: Listen, option: str, error: OSError) -> str:
    if error.errno == errno.EADDRINUSE:
        why, do = "another program has this port", "End that program, or give another port"
    elif error.errno == errno.EACCES:
        why, do = "this user may not use this port", "Give a port above 1023"
    elif error.errno == errno.EADDRNOTAVAIL:
        why, do = "this machine has no such address", "Give one of its own, 127.0.0.1 for itself alone"
    else:
        why, do = error.strerror or str(error), "Give another address"
    return (
        f"{option} is {listen}; port {listen.port} cannot be listened on: {why}. Nothing was started. "
        f"{do} with {option}; port 0 takes any free one."
    )
