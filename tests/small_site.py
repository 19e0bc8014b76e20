"""The smallest site file that says something: one lifter of two circuits. Tests add their sources to it."""

SMALL_SITE = """
site = "quayside"
[broker]
embedded = true
[[lifter]]
id = "dock-6"
basis = "asme-bth-1"
wll_kg = 900
[lifter.circuits.A]
warning_kpa = 52
[lifter.circuits.B]
warning_kpa = 52
"""
