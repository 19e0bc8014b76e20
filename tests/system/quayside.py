"""One site of one lifter, and what its hardware sends."""

import time
from typing import Any

READINGS = "holdwatch/quayside/dock-6/readings"
STATUS = "holdwatch/quayside/dock-6/status"

SITE = """
site = "quayside"
[broker]
url = "{url}"
[pages]
listen = "127.0.0.1:0"
[[lifter]]
id = "dock-6"
basis = "asme-bth-1"
wll_kg = 900
[lifter.circuits.A]
warning_kpa = 52
volume_l = 14
[lifter.circuits.B]
warning_kpa = 52
volume_l = 14
[lifter.pads]
A1 = {{circuit = "A", x_mm = -900, y_mm = 300, area_cm2 = 1150}}
A2 = {{circuit = "A", x_mm = 900, y_mm = -300, area_cm2 = 1150}}
B1 = {{circuit = "B", x_mm = 900, y_mm = 300, area_cm2 = 1150}}
B2 = {{circuit = "B", x_mm = -900, y_mm = -300, area_cm2 = 1150}}
"""


def reading(seq: int, *, vacuum_kpa: float = 63.0, load_kg: float = 400.0) -> dict[str, Any]:
    """A reading as the interface gives it."""
    return {
        "time": round(time.time(), 3), "seq": seq, "boot": "7f3a",
        "circuits": {"A": {"vacuum_kpa": vacuum_kpa, "pump": "off"}, "B": {"vacuum_kpa": vacuum_kpa - 0.4}},
        "load_kg": load_kg, "tilt_deg": 90.0, "rotation_deg": 0.0, "height_m": 12.0, "ambient_kpa": 101.1,
        "temperature_c": 14.2, "battery_v": 24.9, "wind_m_s": 4.2, "lifter_alarm": False, "release_valve": "closed",
    }  # fmt: skip
