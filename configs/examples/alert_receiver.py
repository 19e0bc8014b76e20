"""An example for other systems: passes Holdwatch's alarm changes and calls on to a webhook, and does not give up early.

    HOLDWATCH_BROKER_USER=reader HOLDWATCH_BROKER_PASSWORD=... \\
        python alert_receiver.py mqtts://site-box.local --ca ca.crt --webhook https://office.example/hooks/lifters

It posts one JSON object for each alarm change and each change of a call. A post that fails is tried again, later and later,
for an hour; posts keep their order, and each carries an id that stays the same over all tries, so that the receiver can
tell a second delivery. Needs paho-mqtt alone. It is an aid for the office: nobody under the load may depend on it.
"""

import argparse
import json
import os
import queue
import ssl
import sys
import threading
import time
import urllib.error
import urllib.request
import uuid
from urllib.parse import urlsplit

import paho.mqtt.client as paho

FIRST_WAIT_S = 1.0
MOST_WAIT_S = 60.0
GIVE_UP_AFTER_S = 3600.0
MOST_WAITING_N = 1000


class Poster(threading.Thread):
    """Posts what is put in, in order. What does not get through within an hour is dropped, and said."""

    def __init__(self, url: str, first_wait_s: float = FIRST_WAIT_S) -> None:
        super().__init__(daemon=True)
        self._url = url
        self._first_wait_s = first_wait_s
        self._waiting: queue.Queue[dict] = queue.Queue(MOST_WAITING_N)

    def put(self, said: dict) -> None:
        try:
            self._waiting.put_nowait({"id": uuid.uuid4().hex, "at": time.time(), **said})
        except queue.Full:
            tell("too many posts wait; one was dropped")

    def run(self) -> None:
        while True:
            said = self._waiting.get()
            began_s, wait_s = time.monotonic(), self._first_wait_s
            while not self._post(said):
                if time.monotonic() - began_s > GIVE_UP_AFTER_S:
                    tell(f"given up after an hour: {said}")
                    break
                time.sleep(wait_s)
                wait_s = min(2 * wait_s, MOST_WAIT_S)

    def _post(self, said: dict) -> bool:
        body = json.dumps(said).encode()
        request = urllib.request.Request(self._url, body, {"Content-Type": "application/json"})
        try:
            with urllib.request.urlopen(request, timeout=10):
                return True
        except urllib.error.HTTPError as error:
            error.close()
            # It was understood and will not be taken, however often: only what may pass is tried again.
            given_up = 400 <= error.code < 500 and error.code not in (408, 425, 429)
            tell(f"the webhook answered {error.code}{'; not tried again' if given_up else ', trying again'}")
            return given_up
        except OSError as error:
            tell(f"the webhook cannot be reached ({error}), trying again")
            return False


class Watch:
    """Turns what Holdwatch tells into posts: a change is posted once, and silence is news too."""

    def __init__(self, put) -> None:
        self._put = put
        self._calls: dict[str, str] = {}
        self._until_s: dict[str, float] = {}

    def heard(self, topic: str, payload: bytes, now_s: float, retained: bool = False) -> None:
        leaf = topic.rpartition("/")[2]
        try:
            said = json.loads(payload)
        except ValueError:
            return
        if leaf == "alarms":
            self._put({"kind": "alarm", **said})
        elif leaf == "status":
            lifter = f"{said['site']}/{said['lifter']}"
            self._until_s[lifter] = now_s + (0.0 if retained else said["valid_for_s"])
            if not retained:  # a leftover proves nothing: only live statuses are calls
                self._call(lifter, said["call"], said["headline"], said["reason"])

    def look(self, now_s: float) -> None:
        """A status that was not renewed in time means that nothing is known."""
        for lifter, until_s in self._until_s.items():
            if now_s > until_s:
                self._call(lifter, "no_signal", "No readings", "Holdwatch has told nothing in time.")

    def _call(self, lifter: str, call: str, headline: str, reason: str) -> None:
        if self._calls.get(lifter) != call:
            self._calls[lifter] = call
            self._put({"kind": "call", "lifter": lifter, "call": call, "headline": headline, "reason": reason})


def tell(words: str) -> None:
    print(f"alert receiver: {words}", file=sys.stderr, flush=True)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("broker", help="mqtt://HOST[:PORT] or mqtts://HOST[:PORT]")
    options.add_argument("--ca", help="the site's ca.crt, for mqtts")
    options.add_argument("--webhook", required=True, help="where to post")
    options.add_argument("--root", default="holdwatch", help="first level of the topics")
    given = options.parse_args()
    place = urlsplit(given.broker)
    poster = Poster(given.webhook)
    poster.start()
    watch, lock = Watch(poster.put), threading.Lock()

    client = paho.Client(paho.CallbackAPIVersion.VERSION2)
    if user := os.environ.get("HOLDWATCH_BROKER_USER"):
        client.username_pw_set(user, os.environ.get("HOLDWATCH_BROKER_PASSWORD"))
    if place.scheme == "mqtts":
        client.tls_set_context(ssl.create_default_context(cafile=given.ca))

    def connected(client, _data, _flags, code, _properties) -> None:
        tell("connected" if not code.is_failure else f"the broker refuses this user ({code})")
        # On every connect anew: a broker that restarted has forgotten.
        client.subscribe([(f"{given.root}/+/+/status", 1), (f"{given.root}/+/+/alarms", 1)])

    def message(_client, _data, came) -> None:
        with lock:
            watch.heard(came.topic, came.payload, time.monotonic(), came.retain)

    client.on_connect, client.on_message = connected, message
    client.on_disconnect = lambda *_: tell("the broker is lost, trying again")
    client.connect_async(place.hostname or "", place.port or (8883 if place.scheme == "mqtts" else 1883), keepalive=10)
    client.loop_start()
    while True:
        time.sleep(0.5)
        with lock:
            watch.look(time.monotonic())


if __name__ == "__main__":
    main()
