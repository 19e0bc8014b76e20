"""The interface of micropython-lib's `umqtt.simple`, in the little of MQTT 3.1.1 that the worked sender uses, on real sockets."""

import socket


class MQTTClient:
    def __init__(self, client_id, server, port=0, user=None, password=None, keepalive=0):
        self._id, self._place, self._login, self._keepalive = client_id, (server, port), (user, password), keepalive
        self._will, self._packet_id = None, 0

    def set_last_will(self, topic, msg, retain=False, qos=0):
        self._will = (topic, msg, retain, qos)

    def connect(self):
        self._sock = socket.create_connection(self._place, 5)
        flags, body = 0x02, _field(self._id)  # clean session
        if self._will is not None:
            topic, msg, retain, qos = self._will
            flags |= 0x04 | qos << 3 | retain << 5
            body += _field(topic) + _field(msg)
        if self._login[0] is not None:
            flags |= 0xC0
            body += _field(self._login[0]) + _field(self._login[1])
        self._send(0x10, b"\0\4MQTT\4" + bytes([flags]) + self._keepalive.to_bytes(2) + body)
        answer = self._sock.recv(4)
        if len(answer) < 4 or answer[3]:
            raise OSError(f"refused: {answer!r}")

    def publish(self, topic, msg, retain=False, qos=0):
        body = _field(topic)
        if qos:
            self._packet_id += 1
            body += self._packet_id.to_bytes(2)
        self._send(0x30 | qos << 1 | retain, body + (msg.encode() if isinstance(msg, str) else msg))
        if qos and len(self._sock.recv(4)) < 4:
            raise OSError("no answer")

    def _send(self, kind, body):
        size, length = len(body), bytearray()
        while True:
            size, low = divmod(size, 128)
            length.append(low | (0x80 if size else 0))
            if not size:
                break
        self._sock.sendall(bytes([kind]) + bytes(length) + body)


def _field(text):
    data = text.encode() if isinstance(text, str) else text
    return len(data).to_bytes(2) + data
