"""The only MQTT import: subscribe, publish, supervise the link.

One thread per client does everything that touches the network; callers only put into and take from bounded queues, so
a stalled broker can never delay a reading that is already here. Each connection is a new MQTT session (clean start):
readings kept by a broker during an outage would come late and out of order. On MQTT 5 a last will may wait some seconds,
so that a link that comes back at once was never "offline"; without that the session ends with the connection.
"""

import contextlib
import logging
import select
import socket
import ssl
import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final
from urllib.parse import urlsplit

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from monitor.clock import monotonic_s
from monitor.settings.addresses import check_broker_url

KEEP_ALIVE_S: Final = 5  # a frozen broker is noticed after about twice this
CONNECT_TIMEOUT_S: Final = 5.0
RECONNECT_MIN_S: Final = 1.0
RECONNECT_MAX_S: Final = 5.0
STEADY_AFTER_S: Final = 10.0  # a link that lasted this long starts again at the shortest delay
STOP_WITHIN_S: Final = 2.0
TELL_AGAIN_S: Final = 60.0  # a trouble that stays is in the log this often
INBOX_MAX_N: Final = 10_000
INBOX_MAX_BYTES: Final = 32 * 1024 * 1024
OUTBOX_MAX_N: Final = 2_000
UNCONFIRMED_MAX_N: Final = 200

_PROTOCOLS: Final = {"5": MQTTProtocolVersion.MQTTv5, "3.1.1": MQTTProtocolVersion.MQTTv311}
_UNSUPPORTED_PROTOCOL: Final = 132  # MQTT 5, 2.4 reason codes; paho maps the 3.1.1 code onto it
_NOT_ALLOWED: Final = frozenset({134, 135, 138, 140})  # bad user or password, not authorised, banned, bad method
_TAKEN_OVER: Final = 142
_KEEP_ALIVE_MISSED: Final = 141

log = logging.getLogger(__name__)


class BrokerError(ValueError):
    """The broker's settings cannot work; nothing was tried."""


@dataclass(frozen=True, slots=True)
class Message:
    """One message as it came. ``arrived_s`` is on ``clock.monotonic_s``; a retained message is old news."""

    topic: str
    payload: bytes
    retained: bool
    arrived_s: float


@dataclass(frozen=True, slots=True)
class LinkUp:
    """Connected, and every subscription answered. ``problem`` names what was refused, else it is empty."""

    protocol: str
    problem: str
    at_s: float


@dataclass(frozen=True, slots=True)
class LinkDown:
    """Not connected; ``reason`` says in words why. Said when the link goes and whenever the reason changes."""

    reason: str
    at_s: float


Arrival = Message | LinkUp | LinkDown


@dataclass(frozen=True, slots=True)
class Address:
    """Where a broker is."""

    host: str
    port: int
    tls: bool

    def __str__(self) -> str:
        return f"[{self.host}]:{self.port}" if ":" in self.host else f"{self.host}:{self.port}"


def parse_url(url: str) -> Address:
    """``mqtt://HOST[:PORT]`` (port 1883) or ``mqtts://HOST[:PORT]`` (TLS, port 8883).

    Raises:
        BrokerError: The text is no such address, or carries a user name (secrets come from the environment).
    """
    try:
        check_broker_url(url)
    except ValueError as error:
        shown = "" if "@" in url else f" is {url!r}"
        raise BrokerError(f"the broker's url{shown}; {error}.") from None
    parts = urlsplit(url)
    tls = parts.scheme == "mqtts"
    return Address(parts.hostname or "", parts.port or (8883 if tls else 1883), tls)


class Inbox:
    """Bounded queue of arrivals, newest wins: when full the oldest messages go, and are counted. Never blocks."""

    def __init__(self, *, max_n: int = INBOX_MAX_N, max_bytes: int = INBOX_MAX_BYTES) -> None:
        self.dropped_n = 0
        self._max_n = max_n
        self._max_bytes = max_bytes
        self._bytes_n = 0
        self._queue: deque[Arrival] = deque()
        self._overtaken: deque[Arrival] = deque(maxlen=2)  # news of the link outlives the messages around it
        self._changed = threading.Condition()

    def put(self, arrival: Arrival) -> None:
        """Add an arrival, at the cost of the oldest messages where there is no room."""
        with self._changed:
            self._queue.append(arrival)
            self._bytes_n += _size(arrival)
            while len(self._queue) > 1 and (len(self._queue) > self._max_n or self._bytes_n > self._max_bytes):
                oldest = self._queue.popleft()
                self._bytes_n -= _size(oldest)
                if isinstance(oldest, Message):
                    self.dropped_n += 1
                else:
                    self._overtaken.append(oldest)
            self._changed.notify()

    def drain(self, timeout_s: float) -> list[Arrival]:
        """Everything that is here, oldest first; waits at most ``timeout_s`` for the first."""
        with self._changed:
            if not self._queue and timeout_s > 0:
                self._changed.wait_for(lambda: bool(self._queue), timeout_s)
            arrivals = [*self._overtaken, *self._queue]
            self._overtaken.clear()
            self._queue.clear()
            self._bytes_n = 0
            return arrivals


def _size(arrival: Arrival) -> int:
    return len(arrival.payload) if isinstance(arrival, Message) else 0


@dataclass(frozen=True, slots=True)
class _Publish:
    topic: str
    payload: bytes
    qos: int
    retain: bool
    expiry_s: int | None


class Outbox:
    """What is still to be sent. While there is no link only the newest of each retained topic is kept.

    Those are sent again on every new link too: a broker that restarted may have forgotten them.
    """

    def __init__(self, *, max_n: int = OUTBOX_MAX_N) -> None:
        self.unsent_n = 0
        self._max_n = max_n
        self._open = False
        self._queue: deque[_Publish] = deque()
        self._retained: dict[str, _Publish] = {}
        self._unsent: set[str] = set()  # retained topics whose newest never went out
        self._lock = threading.Lock()

    def put(self, item: _Publish) -> None:
        with self._lock:
            if item.retain:
                self._retained[item.topic] = item
            if self._open:
                self._queue.append(item)
                if len(self._queue) > self._max_n:
                    self._queue.popleft()
                    self.unsent_n += 1
            elif item.retain and item.topic not in self._unsent:
                self._unsent.add(item.topic)
            else:
                self.unsent_n += 1

    def take(self) -> _Publish | None:
        with self._lock:
            return self._queue.popleft() if self._queue else None

    def open(self) -> None:
        """The link is up: the newest retained ones go first."""
        with self._lock:
            self._open = True
            self._unsent.clear()
            self._queue = deque(self._retained.values())

    def close(self, unconfirmed_n: int) -> None:
        """The link is gone, and with it ``unconfirmed_n`` messages nobody confirmed."""
        with self._lock:
            if self._open:
                self.unsent_n += unconfirmed_n + sum(not item.retain for item in self._queue)
            self._open = False
            self._queue.clear()

    def lose(self) -> None:
        """One message taken from here was refused."""
        with self._lock:
            self.unsent_n += 1

    @property
    def waiting_n(self) -> int:
        return len(self._queue)


@dataclass(slots=True)
class _Shared:
    """What a client and its links, one after another, have in common."""

    address: Address
    protocol: str
    client_id: str
    username: str | None
    password: str | None
    will: tuple[str, bytes, bool] | None
    will_delay_s: int
    tls: ssl.SSLContext | None
    up: Callable[[str], None]
    took: Callable[[Message], None]
    outbox: Outbox = field(default_factory=Outbox)
    topics: dict[str, int] = field(default_factory=dict)
    topics_changed: bool = False
    stopping: threading.Event = field(default_factory=threading.Event)
    connected: bool = False
    problem: str = ""
    faults_n: int = 0


class _Waker:
    """Ends the network thread's wait from another thread."""

    def __init__(self) -> None:
        self.reader, self._writer = socket.socketpair()
        self.reader.setblocking(False)
        self._writer.setblocking(False)

    def wake(self) -> None:
        with contextlib.suppress(OSError):  # full: a wake is already on its way; closed: nobody is left to wake
            self._writer.send(b"\0")

    def rest(self) -> None:
        with contextlib.suppress(BlockingIOError):
            self.reader.recv(4096)

    def close(self) -> None:
        self.reader.close()
        self._writer.close()


class BrokerClient:
    """A supervised link to one broker. Everything about it is said as `LinkUp` and `LinkDown` and in the log.

    Raises:
        BrokerError: The url, the protocol or the CA file cannot be used.
    """

    def __init__(
        self,
        url: str,
        *,
        client_id: str,
        protocol: str = "5",
        ca_file: str = "",
        username: str | None = None,
        password: str | None = None,
        will: tuple[str, bytes, bool] | None = None,
        will_delay_s: int = 0,
        on_wake: Callable[[], None] | None = None,
    ) -> None:
        if protocol not in _PROTOCOLS:
            raise BrokerError(f'[broker].protocol is {protocol!r}; it must be "5" or "3.1.1".')
        address = parse_url(url)
        tls = _tls_context(ca_file) if address.tls else None
        self.received_n = 0
        self._told_s = 0.0
        self._may_fall_back = protocol == "5"
        self._on_wake = on_wake
        self._inbox = Inbox()
        self._waker: _Waker | None = None
        self._thread: threading.Thread | None = None
        self._shared = _Shared(
            address,
            protocol,
            client_id,
            username,
            password,
            will,
            will_delay_s,
            tls,
            up=self._say_up,
            took=self._take_message,
        )

    @property
    def connected(self) -> bool:
        """The broker has accepted this client; its answer to the subscriptions may still be on its way."""
        return self._shared.connected

    @property
    def problem(self) -> str:
        """What is wrong with the link now, in words; empty when nothing is."""
        return self._shared.problem

    @property
    def protocol(self) -> str:
        """The MQTT version in use: "5" or "3.1.1"."""
        return self._shared.protocol

    @property
    def dropped_n(self) -> int:
        """Messages that came and that nobody drained in time."""
        return self._inbox.dropped_n

    @property
    def unsent_n(self) -> int:
        """Messages given to `publish` that were not sent, or were sent and never confirmed."""
        return self._shared.outbox.unsent_n

    @property
    def faults_n(self) -> int:
        """Errors inside this client's own thread: each is in the log, none ends the thread."""
        return self._shared.faults_n

    def start(self) -> None:
        """Begin to connect, and go on for ever. Returns at once; the outcome comes as `LinkUp` or `LinkDown`."""
        self._waker = _Waker()
        self._thread = threading.Thread(target=self._run, args=(self._waker,), name="broker", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Send what waits, take leave so that the last will is not published, and end; within about 2 s."""
        self._shared.stopping.set()
        self._wake()
        if self._thread is not None:
            self._thread.join(STOP_WITHIN_S + 0.5)
            if self._waker is not None and not self._thread.is_alive():
                self._waker.close()

    def subscribe(self, topics: Sequence[str], qos: int = 1) -> None:
        """Receive these topics, now and again on every new connection."""
        shared = self._shared
        shared.topics = shared.topics | dict.fromkeys(topics, qos)  # a new one: the network thread may be reading
        shared.topics_changed = True
        self._wake()

    def publish(
        self, topic: str, payload: bytes, *, qos: int = 1, retain: bool = False, expiry_s: int | None = None
    ) -> None:
        """Send, never blocking. Without a link it is counted and lost, but for the newest of each retained topic.

        Raises:
            ValueError: The topic is empty or has a wildcard.
        """
        if not topic or any(mark in topic for mark in "+#\0"):
            raise ValueError(f"cannot publish to {topic!r}: a topic is not empty and has no + or #")
        self._shared.outbox.put(_Publish(topic, payload, qos, retain, expiry_s))
        self._wake()

    def drain(self, timeout_s: float) -> list[Arrival]:
        """All arrivals since the last call, oldest first; waits at most ``timeout_s`` for the first one."""
        return self._inbox.drain(timeout_s)

    def _wake(self) -> None:
        if self._waker is not None:
            self._waker.wake()

    # What follows runs in the network thread.

    def _run(self, waker: _Waker) -> None:
        shared = self._shared
        delay_s = RECONNECT_MIN_S
        while not shared.stopping.is_set():
            began_s = monotonic_s()
            link = _Link(shared)
            try:
                link.serve(waker)
                reason = link.reason
            except OSError as error:
                reason = _say_network_error(error, shared.address)
            except Exception:
                shared.faults_n += 1
                log.exception("broker %s: an error of our own", shared.address)
                reason = "an error inside the link to the broker, see the log."
            finally:
                shared.connected = False
                shared.outbox.close(link.unconfirmed_n)
                link.close()
            if shared.stopping.is_set():
                break
            if self._falls_back(link):
                continue
            self._say_down(reason)
            if monotonic_s() - began_s >= STEADY_AFTER_S:
                delay_s = RECONNECT_MIN_S
            shared.stopping.wait(delay_s)
            delay_s = min(2 * delay_s, RECONNECT_MAX_S)

    def _falls_back(self, link: "_Link") -> bool:
        """Whether to try MQTT 3.1.1 at once: the broker said it knows no 5, or shut the door on it without a word."""
        if not self._may_fall_back or link.accepted:
            return False
        if self._shared.protocol == "5" and (link.refused_protocol or link.closed_unanswered):
            self._shared.protocol = "3.1.1"
            return True
        self._shared.protocol = "5"  # neither works: whatever is wrong, it is not the version
        return False

    def _say_up(self, problem: str) -> None:
        shared = self._shared
        shared.problem = problem
        fallen_back = self._may_fall_back and shared.protocol != "5"
        note = "; it speaks no MQTT 5, so statuses carry no expiry" if fallen_back else ""
        log.info("broker %s: connected with MQTT %s%s. %s", shared.address, shared.protocol, note, problem)
        self._take(LinkUp(shared.protocol, problem, monotonic_s()))

    def _say_down(self, reason: str) -> None:
        shared = self._shared
        now_s = monotonic_s()
        if reason != shared.problem:
            log.warning("broker: %s Trying again.", reason)
            self._told_s = now_s
            self._take(LinkDown(reason, now_s))
        elif now_s - self._told_s >= TELL_AGAIN_S:  # nobody must think that it was given up, or that all is well
            log.warning("broker: still %s Trying again.", reason)
            self._told_s = now_s
        shared.problem = reason

    def _take_message(self, message: Message) -> None:
        self.received_n += 1
        self._take(message)

    def _take(self, arrival: Arrival) -> None:
        self._inbox.put(arrival)
        if self._on_wake is not None:
            try:
                self._on_wake()
            except Exception:
                self._shared.faults_n += 1
                log.exception("broker link: on_wake failed")


class _Link:
    """One connection from its beginning to its end; a new one, and a new MQTT session, for each try."""

    def __init__(self, shared: _Shared) -> None:
        self.reason = ""
        self.accepted = False
        self.refused_protocol = False
        self.closed_unanswered = False
        self._shared = shared
        self._said_up = False
        self._unconfirmed: set[int] = set()
        self._asked: dict[int, tuple[str, ...]] = {}
        client = self._client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=shared.client_id,
            protocol=_PROTOCOLS[shared.protocol],
            clean_session=None if shared.protocol == "5" else True,
            reconnect_on_failure=False,
        )
        client.connect_timeout = CONNECT_TIMEOUT_S
        if shared.username is not None:
            client.username_pw_set(shared.username, shared.password)
        if shared.will is not None:
            topic, payload, retain = shared.will
            properties = None
            if shared.will_delay_s and shared.protocol == "5":
                properties = Properties(PacketTypes.WILLMESSAGE)  # type: ignore[no-untyped-call]
                properties.WillDelayInterval = shared.will_delay_s
            client.will_set(topic, payload, qos=1, retain=retain, properties=properties)
        if shared.tls is not None:
            client.tls_set_context(shared.tls)
        client.on_socket_open = _send_at_once
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_publish = self._on_publish
        client.on_message = self._on_message

    @property
    def unconfirmed_n(self) -> int:
        return len(self._unconfirmed)

    def serve(self, waker: _Waker) -> None:
        """Connect and work until the link ends; ``reason`` then says why. Raises OSError without a connection."""
        shared, client = self._shared, self._client
        session: dict[str, Any] = {"clean_start": True} if shared.protocol == "5" else {}
        if session and shared.will_delay_s:  # a will waits only as long as its session lasts (MQTT 5.0, 3.1.3.2.2)
            session["properties"] = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            session["properties"].SessionExpiryInterval = shared.will_delay_s
        client.connect(shared.address.host, shared.address.port, keepalive=KEEP_ALIVE_S, **session)
        answer_by_s = monotonic_s() + CONNECT_TIMEOUT_S
        stop_by_s = 0.0
        while (sock := client.socket()) is not None:
            if self.accepted:
                self._send()
            wanting = [sock] if client.want_write() else []
            readable, writable, _ = select.select([sock, waker.reader], wanting, [], 0.5)
            if waker.reader in readable:
                waker.rest()
            if sock in readable:
                self._read()
            if sock in writable:
                client.loop_write()
            client.loop_misc()
            if not self._said_up and monotonic_s() > answer_by_s:
                self.reason = f"{shared.address} does not answer."
                return
            if shared.stopping.is_set():
                stop_by_s = stop_by_s or monotonic_s() + STOP_WITHIN_S
                idle = not shared.outbox.waiting_n and not self._unconfirmed and not client.want_write()
                if idle or not self.accepted or monotonic_s() > stop_by_s:
                    client.disconnect()
                    return

    def close(self) -> None:
        """Let go of the socket, whatever its state. Where no leave was taken the broker publishes the last will."""
        sock = self._client.socket()
        if sock is not None:
            with contextlib.suppress(OSError):
                sock.close()

    def _read(self) -> None:
        self._client.loop_read()
        while isinstance(sock := self._client.socket(), ssl.SSLSocket) and sock.pending():
            self._client.loop_read()  # bytes already decrypted never make the socket readable again

    def _send(self) -> None:
        shared, client = self._shared, self._client
        if shared.topics_changed:
            self._subscribe()
        # What the broker has not confirmed yet, or the socket not taken, waits where the newest wins.
        while (
            not client.want_write()
            and len(self._unconfirmed) < UNCONFIRMED_MAX_N
            and (item := shared.outbox.take()) is not None
        ):
            properties = None
            if item.expiry_s is not None and shared.protocol == "5":
                properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
                properties.MessageExpiryInterval = item.expiry_s
            sent = client.publish(item.topic, item.payload, qos=item.qos, retain=item.retain, properties=properties)
            if sent.rc != MQTTErrorCode.MQTT_ERR_SUCCESS:
                shared.outbox.lose()
            elif item.qos and not sent.is_published():
                self._unconfirmed.add(sent.mid)

    def _subscribe(self) -> None:
        self._shared.topics_changed = False
        topics = self._shared.topics
        if topics:
            _, mid = self._client.subscribe(list(topics.items()))
            if mid is not None:
                self._asked[mid] = tuple(topics)
        elif not self._said_up:
            self._said_up = True
            self._shared.up("")

    def _on_connect(self, _c: paho.Client, _u: Any, _f: Any, code: ReasonCode, _p: Any) -> None:
        shared = self._shared
        if not code.is_failure:
            self.accepted = shared.connected = True
            shared.outbox.open()
            self._subscribe()
            return
        self.refused_protocol = code.value == _UNSUPPORTED_PROTOCOL
        if code.value in _NOT_ALLOWED:
            whom = "the user name or password given" if shared.username else "a client without user name and password"
            self.reason = (
                f"{shared.address} refused {whom} ({code}). Set HOLDWATCH_BROKER_USER and HOLDWATCH_BROKER_PASSWORD."
            )
        else:
            self.reason = f"{shared.address} refused the connection ({code})."

    def _on_disconnect(self, _c: paho.Client, _u: Any, flags: Any, code: ReasonCode, _p: Any) -> None:
        if self.reason:
            return
        place = self._shared.address
        if code.value == _KEEP_ALIVE_MISSED:
            self.reason = f"{place} does not answer{' any more' if self.accepted else ''}."
        elif not self.accepted:
            self.closed_unanswered = True
            self.reason = (
                f"{place} closed the connection without an answer. Is it an MQTT port, and does it want "
                "mqtts:// (TLS) or a user name and password?"
            )
        elif code.value == _TAKEN_OVER:
            self.reason = (
                f"{place} gave the connection to another client of the same name ({self._shared.client_id}): "
                "is a second engine running for this site?"
            )
        else:
            said = f" ({code})" if flags.is_disconnect_packet_from_server else ""
            self.reason = f"the connection to {place} was lost{said}."

    def _on_subscribe(self, _c: paho.Client, _u: Any, mid: int, codes: list[ReasonCode], _p: Any) -> None:
        topics = self._asked.pop(mid, ())
        refused = [topic for topic, code in zip(topics, codes, strict=False) if code.is_failure]
        words = ", ".join(refused)
        if topics and len(refused) == len(topics):
            self.reason = f"{self._shared.address} lets this user read nothing ({words}): check its access list."
            self._client.disconnect()
            return
        self._said_up = True
        self._shared.up(f"The broker refused the subscription to {words}: check its access list." if refused else "")

    def _on_publish(self, _c: paho.Client, _u: Any, mid: int, code: ReasonCode, _p: Any) -> None:
        self._unconfirmed.discard(mid)
        if code.is_failure:
            self._shared.outbox.lose()
            self._shared.problem = f"The broker refused a message of ours ({code}): check its access list."

    def _on_message(self, _c: paho.Client, _u: Any, message: paho.MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            self._shared.faults_n += 1
            return
        self._shared.took(Message(topic, bytes(message.payload), message.retain, monotonic_s()))


class _TlsContext(ssl.SSLContext):
    """Shakes hands while it wraps, and closes the socket where that fails: paho would leave it open."""

    def wrap_socket(self, *given: Any, **named: Any) -> ssl.SSLSocket:
        wrapped = super().wrap_socket(*given, **named)
        try:
            wrapped.do_handshake()
        except BaseException:
            wrapped.close()
            raise
        return wrapped


def _tls_context(ca_file: str) -> ssl.SSLContext:
    context = _TlsContext(ssl.PROTOCOL_TLS_CLIENT)  # asks for a certificate of the right name
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    if not ca_file:
        context.load_default_certs()
        return context
    try:
        context.load_verify_locations(ca_file)
    except OSError as error:  # ssl.SSLError is one
        raise BrokerError(
            f"[broker].ca_file is {ca_file!r}: {error.strerror or error}; it must be a file of PEM certificates."
        ) from None
    return context


def _send_at_once(_c: paho.Client, _u: Any, sock: Any) -> None:
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)  # else tails of 40 ms


def _say_network_error(error: OSError, place: Address) -> str:
    if isinstance(error, ssl.SSLCertVerificationError):
        return (
            f"the certificate of {place} is not trusted ({error.verify_message}). [broker].ca_file must name the "
            "certificate of the authority that signed it, and the url must use the name it was made for."
        )
    if isinstance(error, ssl.SSLError):
        return f"no TLS with {place} ({error.reason or error}). Is mqtts:// right for this port?"
    if isinstance(error, ConnectionRefusedError):
        return f"no broker listens on {place} (connection refused)."
    if isinstance(error, socket.gaierror):
        return f"the name {place.host} is not known here ({error.strerror})."
    if isinstance(error, TimeoutError):
        return f"{place} does not answer."
    return f"no connection to {place} ({error.strerror or error})."
