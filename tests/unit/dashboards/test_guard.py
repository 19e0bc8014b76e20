"""No single device starves the others, decided without a network."""

import asyncio
from typing import Any

from dashboards.access import is_this_machine
from dashboards.guard import AT_ONCE_N, BURST_N, DEVICES_N, Guard


def _scope(peer: str) -> dict[str, Any]:
    return {"type": "http", "client": (peer, 50000), "server": ("10.0.0.1", 8050), "headers": []}


async def _answers(scope: Any, receive: Any, send: Any) -> None:
    del scope, receive
    await send({"type": "http.response.start", "status": 200, "headers": []})


async def _status(guard: Guard, peer: str) -> int:
    said: list[Any] = []

    async def send(message: Any) -> None:
        said.append(message)

    await guard(_scope(peer), None, send)  # type: ignore[arg-type]
    return int(said[0]["status"])


def test_a_flood_is_refused_and_others_are_answered() -> None:
    async def run() -> tuple[list[int], int]:
        guard = Guard(_answers)
        flood = [await _status(guard, "10.0.0.66") for _ in range(3 * BURST_N)]
        return flood, await _status(guard, "10.0.0.7")

    flood, other = asyncio.run(run())
    assert flood[:BURST_N] == [200] * BURST_N
    assert flood[-1] == 429
    assert other == 200


def test_this_machine_is_not_counted() -> None:
    async def run() -> list[int]:
        guard = Guard(_answers)
        return [await _status(guard, "127.0.0.1") for _ in range(3 * BURST_N)]

    assert set(asyncio.run(run())) == {200}


def test_one_device_holds_only_so_many_requests_open() -> None:
    async def run() -> tuple[int, int]:
        gate = asyncio.Event()

        async def waits(scope: Any, receive: Any, send: Any) -> None:
            await gate.wait()
            await _answers(scope, receive, send)

        guard = Guard(waits)
        held = [asyncio.ensure_future(_status(guard, "10.0.0.66")) for _ in range(AT_ONCE_N)]
        await asyncio.sleep(0)
        refused = await _status(guard, "10.0.0.66")
        gate.set()
        await asyncio.gather(*held)
        return refused, await _status(guard, "10.0.0.66")

    assert asyncio.run(run()) == (429, 200)


def test_a_flood_of_addresses_does_not_fill_the_memory() -> None:
    async def run() -> int:
        guard = Guard(_answers)
        for n in range(DEVICES_N + 10):
            await _status(guard, str(n))
        return len(guard._left)

    assert asyncio.run(run()) == DEVICES_N


def test_only_this_machine_is_this_machine() -> None:
    assert is_this_machine(_scope("127.0.0.1"))
    assert is_this_machine(_scope("::1"))
    assert is_this_machine(_scope("10.0.0.1"))  # called at its own address, from itself
    assert not is_this_machine(_scope("10.0.0.2"))
    assert not is_this_machine(_scope("127.0.0.2"))
    assert not is_this_machine({"client": None, "server": None})
