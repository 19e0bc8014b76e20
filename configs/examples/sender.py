# A vacuum sensor at a microcontroller, sent to Holdwatch: for MicroPython on an ESP32 or Pico W (with umqtt.simple).
# Each line marked HERE is yours to change. Nothing in it depends on Holdwatch being there.
import json
import time

from machine import ADC, Pin, unique_id
from umqtt.simple import MQTTClient

SITE, LIFTER, CIRCUIT = "quayside", "dock-6", "A"  # HERE
BROKER, PORT, USER, PASSWORD = "192.168.1.20", 1883, "dock-6", "its password"  # HERE
TOPIC = f"holdwatch/{SITE}/{LIFTER}/"
READ = ADC(Pin(34))  # HERE: the pin of the sensor
BOOT = "".join(f"{byte:02x}" for byte in unique_id()) + str(time.ticks_us())  # changes with every start


def vacuum_kpa():
    # HERE: 0.5 V at 0 kPa and 4.5 V at -100 kPa, halved by two equal resistors, as on the sensor's data sheet.
    volt = 2 * READ.read_uv() / 1000000
    return round((volt - 0.5) / 4.0 * 100.0, 2)


def connect():
    client = MQTTClient("lifter-" + LIFTER, BROKER, PORT, USER, PASSWORD, keepalive=10)
    client.set_last_will(TOPIC + "connection", b"offline", retain=True, qos=1)
    client.connect()
    client.publish(TOPIC + "connection", b"online", retain=True, qos=1)
    return client


client, seq = None, 0
while True:
    started_ms = time.ticks_ms()
    try:
        if client is None:
            client = connect()
        message = {"seq": seq, "boot": BOOT, "circuits": {CIRCUIT: {"vacuum_kpa": vacuum_kpa()}}}
        client.publish(TOPIC + "readings", json.dumps(message))  # QoS 0, not retained: old readings are no news
    except OSError:  # no network, no broker: try again with the next reading, and never send old ones later
        client = None
    seq += 1  # also where it was not sent: the gap shows
    time.sleep_ms(max(0, 200 - time.ticks_diff(time.ticks_ms(), started_ms)))  # five readings a second
