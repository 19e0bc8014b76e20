"""Guessing is slowed, and never so that strangers lock the crew out."""

from dashboards.slowing import FORGET_S, FREE_N, KEPT_N, LONGEST_S, STRANGERS_FREE_N, STRANGERS_LONGEST_S, Slowing


def _missed(slowing: Slowing, n: int, *, device: str = "", peer: str = "10.0.0.9", at_s: float = 0.0) -> None:
    for _ in range(n):
        slowing.missed("supervisor", device, peer, at_s)


def test_the_first_misses_cost_no_wait() -> None:
    slowing = Slowing()
    _missed(slowing, FREE_N - 1)
    assert slowing.wait_s("supervisor", "", "10.0.0.9", 0.0) == 0.0


def test_each_further_miss_doubles_the_wait() -> None:
    slowing = Slowing()
    _missed(slowing, FREE_N)
    assert slowing.wait_s("supervisor", "", "10.0.0.9", 0.0) == 1.0
    _missed(slowing, 1)
    assert slowing.wait_s("supervisor", "", "10.0.0.9", 0.0) == 2.0
    assert slowing.wait_s("supervisor", "", "10.0.0.9", 1.5) == 0.5


def test_the_wait_has_an_end() -> None:
    slowing = Slowing()
    _missed(slowing, 500, device="d1")
    assert slowing.wait_s("supervisor", "d1", "10.0.0.9", 0.0) == LONGEST_S


def test_a_flood_from_many_addresses_slows_strangers_together() -> None:
    slowing = Slowing()
    for n in range(STRANGERS_FREE_N):
        _missed(slowing, 1, peer=f"10.0.0.{n}")
    assert slowing.wait_s("supervisor", "", "10.0.1.1", 0.0) > 0.0
    for n in range(200):
        _missed(slowing, 1, peer=f"10.0.2.{n}")
    assert slowing.wait_s("supervisor", "", "10.0.1.1", 0.0) == STRANGERS_LONGEST_S


def test_a_device_that_signed_in_before_is_not_slowed_by_strangers() -> None:
    slowing = Slowing()
    _missed(slowing, 500)
    assert slowing.wait_s("supervisor", "known", "10.0.0.9", 0.0) == 0.0


def test_one_role_is_not_slowed_by_another() -> None:
    slowing = Slowing()
    _missed(slowing, 500)
    assert slowing.wait_s("landing", "", "10.0.0.8", 0.0) == 0.0


def test_a_right_pin_forgets_the_devices_own_misses() -> None:
    slowing = Slowing()
    _missed(slowing, FREE_N + 3, device="d1")
    slowing.hit("supervisor", "d1", "10.0.0.9")
    assert slowing.wait_s("supervisor", "d1", "10.0.0.9", 0.0) == 0.0


def test_misses_are_forgotten_after_an_hour() -> None:
    slowing = Slowing()
    _missed(slowing, FREE_N + 3)
    assert slowing.wait_s("supervisor", "", "10.0.0.9", FORGET_S + 0.1) == 0.0


def test_a_flood_of_addresses_does_not_fill_the_memory() -> None:
    slowing = Slowing()
    for n in range(KEPT_N + 50):
        _missed(slowing, 1, peer=str(n))
    assert len(slowing._known) == KEPT_N
