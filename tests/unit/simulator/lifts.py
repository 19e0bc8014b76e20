"""Short scenarios for the tests: a lifter in the air with its circuits at 62 kPa, unless said otherwise."""

from simulator.delivery import Sent
from simulator.play import Instant, play, timeline
from simulator.scenarios import Scenario, read

HANGING = """
[start]
vacuum_kpa = 62
load_ratio = 1.0
height_m = 20
[circuits.A]
leak_kpa_per_min = 0.1
[circuits.B]
leak_kpa_per_min = 0.1
"""


def scenario(head: str = "", tail: str = HANGING, *, duration_s: float = 20.0) -> Scenario:
    """A scenario from its lists (``head``) and its tables (``tail``)."""
    return read(f'title = "test"\nduration_s = {duration_s}\n{head}\n{tail}', name="test.toml")


def with_fault(fault: str, tail: str = HANGING, *, duration_s: float = 20.0) -> Scenario:
    return scenario(f"faults = [{{ {fault} }}]", tail, duration_s=duration_s)


def instants(scenario: Scenario, seed: int = 1) -> list[Instant]:
    return list(play(scenario, seed=seed))


def readings(scenario: Scenario, seed: int = 1) -> list[Sent]:
    return [sent for sent in timeline(scenario, seed=seed) if sent.leaf == "readings"]
