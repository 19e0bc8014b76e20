"""The first packet of an MQTT client, read and written anew: who it says it is, and how a broker turns it away; pure.

Sources: MQTT 3.1.1 and MQTT 5.0 (OASIS), sections 3.1 CONNECT and 3.2 CONNACK; section numbers below are MQTT 5.0's.
"""

from dataclasses import dataclass
from typing import Final

CONNECT: Final = 0x10  # type 1 in the high nibble, flags 0
MQTT_5: Final = 5
MOST_BYTES: Final = 128 * 1024

_NAMES: Final = {4: b"MQTT", 6: b"MQIsdp"}  # by length; the second before 3.1.1
_HAS_USER, _HAS_PASSWORD, _HAS_WILL = 0x80, 0x40, 0x04  # connect flags, 3.1.2.3


@dataclass(frozen=True, slots=True)
class Connect:
    """A CONNECT packet: its protocol level, user and password (None where it gives none), and the packet itself.

    ``flags_at`` is where the connect flags stand in ``body``, ``login_at`` where user name and password begin.
    """

    level: int
    user: str | None
    password: bytes | None
    body: bytes
    flags_at: int
    login_at: int
    size_n: int

    def with_login(self, user: str, password: str) -> bytes:
        """The same packet with another user and password."""
        body = bytearray(self.body[: self.login_at])
        body[self.flags_at] |= _HAS_USER | _HAS_PASSWORD
        body += _field(user.encode()) + _field(password.encode())
        return bytes([CONNECT]) + _varint(len(body)) + bytes(body)


def protocol_level(start: bytes) -> int | None:
    """The protocol level in a CONNECT packet of which ``start`` is the beginning; None while more is needed.

    Raises:
        ValueError: This is no CONNECT packet.

    Check: ``10 0c 00 04 4d 51 54 54 04 ...`` is level 4 (MQTT 3.1.1); with 05 in place of 04 it is MQTT 5.
    """
    begins = _body_at(start)
    if begins is None:
        return None
    at, _ = begins
    if len(start) < at + 2:
        return None
    name_n = int.from_bytes(start[at : at + 2])
    if name_n not in _NAMES:
        raise ValueError("the protocol's name is not MQTT")
    level_at = at + 2 + name_n
    if len(start) <= level_at:
        return None
    if start[at + 2 : level_at] != _NAMES[name_n]:
        raise ValueError("the protocol's name is not MQTT")
    return start[level_at]


def read_connect(start: bytes) -> Connect | None:
    """Read a whole CONNECT packet from the beginning of what came; None while more is needed.

    Raises:
        ValueError: This is no CONNECT packet, or longer than ``MOST_BYTES``.
    """
    level, begins = protocol_level(start), _body_at(start)
    if level is None or begins is None:
        return None
    body_at, body_n = begins
    if body_n > MOST_BYTES:
        raise ValueError(f"a CONNECT of {body_n} bytes")
    body = start[body_at : body_at + body_n]
    if len(body) < body_n:
        return None
    reader = _Reader(body)
    reader.field()  # the protocol's name
    flags_at = reader.skip(1)  # the level
    flags = reader.byte()
    reader.skip(2)  # keep alive
    is_5 = level == MQTT_5
    if is_5:
        reader.skip(reader.varint())
    reader.field()  # client id
    if flags & _HAS_WILL:
        if is_5:
            reader.skip(reader.varint())
        reader.field()
        reader.field()
    login_at = reader.at
    user = reader.field().decode() if flags & _HAS_USER else None
    password = reader.field() if flags & _HAS_PASSWORD else None
    return Connect(level, user, password, body, flags_at, login_at, body_at + body_n)


def refusal(level: int, *, has_login: bool) -> bytes:
    """CONNACK that says the user name or password is not right, or that one is needed (3.2.2.2; 3.1.1: 3.2.2.3)."""
    if level == MQTT_5:
        return bytes([0x20, 3, 0, 0x86 if has_login else 0x87, 0])
    return bytes([0x20, 2, 0, 4 if has_login else 5])


def _body_at(start: bytes) -> tuple[int, int] | None:
    """Where the packet's body begins and how long it is; None while more is needed."""
    if start and start[0] != CONNECT:
        raise ValueError("the first packet is no CONNECT")
    size = 0
    for place, byte in enumerate(start[1:6]):
        if place == 4:
            raise ValueError("the remaining length is longer than four bytes")
        size |= (byte & 0x7F) << 7 * place
        if not byte & 0x80:
            return place + 2, size
    return None


class _Reader:
    def __init__(self, body: bytes) -> None:
        self.at = 0
        self._body = body

    def skip(self, bytes_n: int) -> int:
        """Pass over so many bytes; where it then stands."""
        self.at += bytes_n
        if self.at > len(self._body):
            raise ValueError("the CONNECT ends too early")
        return self.at

    def byte(self) -> int:
        self.skip(1)
        return self._body[self.at - 1]

    def varint(self) -> int:
        value = 0
        for place in range(4):
            byte = self.byte()
            value |= (byte & 0x7F) << 7 * place
            if not byte & 0x80:
                return value
        raise ValueError("a length is longer than four bytes")

    def field(self) -> bytes:
        """Two bytes of length, then so many bytes."""
        length = self.byte() << 8 | self.byte()
        begins = self.at
        return self._body[begins : self.skip(length)]


def _field(content: bytes) -> bytes:
    return len(content).to_bytes(2) + content


def _varint(value: int) -> bytes:
    out = bytearray()
    while True:
        value, low = divmod(value, 128)
        out.append(low | (0x80 if value else 0))
        if not value:
            return bytes(out)
