"""``certificates`` and ``password``: what a site needs before its network may be trusted a little."""

import argparse
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from monitor.cli.common import DONE, BadInputError, FailedError, default_data, load, made, say


def add(commands: Any) -> None:
    """Add both commands."""
    certificates = commands.add_parser(
        "certificates",
        help="make or renew the certificates of the site's broker and pages",
        description="Make the site's own certificate authority (once) and a certificate for its server under it. Run it "
        "again to renew the server's: clients keep the same ca.crt, and nothing is restarted.",
    )
    certificates.add_argument("folder", metavar="DIR", type=Path, help="where ca.crt, server.crt and their keys stand")
    certificates.add_argument(
        "--host",
        metavar="NAME",
        action="append",
        help="a name or address clients call this server by; repeat it (default: this machine's names and addresses)",
    )
    certificates.add_argument(
        "--days", metavar="N", type=_days, default=397, help="how long the server's is good (default: %(default)s)"
    )
    certificates.add_argument("--group", metavar="NAME", help="a group that may read server.key, such as mosquitto")
    certificates.set_defaults(act=_certificates)
    password = commands.add_parser(
        "password",
        help="set the password of a client of the embedded broker",
        description="Set, or remove, the password of one client of the embedded broker. Only a hash of it is kept, in the "
        "data folder. A running broker takes it at once. For Mosquitto use mosquitto_passwd instead.",
    )
    password.add_argument("name", metavar="NAME", help="the client's user name: one for each lifter")
    which = password.add_mutually_exclusive_group(required=True)
    which.add_argument("--site", metavar="FILE", type=Path, help="the site file, for its data folder")
    which.add_argument("--data", metavar="DIR", type=Path, help="the data folder")
    password.add_argument("--remove", action="store_true", help="let this client in no more")
    password.set_defaults(act=_password)


def _days(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 3650:
        raise argparse.ArgumentTypeError(f"{text} is no whole number of days from 1 to 3650")
    return int(text)


def _certificates(given: argparse.Namespace) -> int:
    from monitor.certificates import CertificateError, make

    hosts = given.host or own_hosts()
    group = _group_id(given.group) if given.group else None
    try:
        done = make(given.folder, hosts, datetime.now(UTC), days=given.days, group=group)
    except CertificateError as error:
        raise BadInputError(str(error)) from None
    except OSError as error:
        raise FailedError(f"{error.filename or given.folder}: {error.strerror}. Nothing was changed.") from None
    for path in (done.authority, done.certificate, done.key):
        print(path)
    say(f"{'authority made, and ' if done.authority_is_new else ''}server certificate for {', '.join(hosts)}")
    say(f"good until {done.until:%Y-%m-%d}; give ca.crt to every client, and ca.key to nobody")
    if not done.authority_is_new:
        say("Mosquitto takes it after: systemctl reload mosquitto. The pages take it by themselves within 10 s.")
    return DONE


def own_hosts() -> list[str]:
    """Names and addresses this machine is called by."""
    import socket

    from monitor.ports import own_address

    name = socket.gethostname()
    return list(dict.fromkeys([name, f"{name}.local", "localhost", "127.0.0.1", own_address()]))


def _group_id(name: str) -> int:
    import grp

    try:
        return grp.getgrnam(name).gr_gid
    except KeyError:
        raise BadInputError(f"--group is {name}; there is no such group on this machine.") from None


def _password(given: argparse.Namespace) -> int:
    from monitor.passwords import PASSWORDS_FILE, PasswordError, remove_password, set_password

    data = made(given.data or default_data(load(given.site).site))
    path = data / PASSWORDS_FILE
    try:
        if given.remove:
            if not remove_password(path, given.name):
                raise BadInputError(f"{given.name} has no password in {path}.")
            say(f"{given.name} is let in no more")
            return DONE
        set_password(path, given.name, _asked(given.name))
    except PasswordError as error:
        raise BadInputError(str(error)) from None
    except OSError as error:
        raise FailedError(f"{error.filename or path}: {error.strerror}.") from None
    say(f"{given.name} may connect with this password; its hash is in {path}")
    return DONE


def _asked(name: str) -> str:
    import getpass

    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    first = getpass.getpass(f"New password of {name}: ")
    if getpass.getpass("Once more: ") != first:
        raise BadInputError("the two were not the same; nothing was changed.")
    return first
