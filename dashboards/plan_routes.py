"""The plan page and the judging behind it. Saving a plan is an act of a person, like any other."""

import asyncio
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, Final

from dashboards import asgi, planning
from dashboards.access import RefusedError
from dashboards.acting import Acting, own_json
from dashboards.asgi import Receive, Route, Scope, Send
from dashboards.live import Live
from dashboards.pages import plan
from dashboards.static import Static
from dashboards.words import Voice, zone_of
from monitor.clock import utc_s
from monitor.core.config import LifterConfig
from monitor.core.plan_input import PlanError

UNITS: Final = ("metric", "us")
UNREADABLE: Final = "plan.unreadable"


class PlanRoutes:
    """``GET /plan``, and ``POST /api/plan`` with lifter, units and entered; with ``"save": true`` it is put in force."""

    def __init__(self, live: Live, static: Static, acting: Acting, voice: Callable[[Scope], Voice]) -> None:
        self._live = live
        self._voice = voice
        self._static = static
        self._acting = acting
        self._judging = asyncio.Lock()
        self.routes: Mapping[str, tuple[str, Route]] = {
            "/plan": ("GET", self._get_page),
            "/api/plan": ("POST", self._post),
            "/api/planned": ("GET", self._get_planned),
        }

    async def _get_page(self, scope: Scope, receive: Receive, send: Send) -> None:
        del receive
        page = plan.html(self._static, self._live.site, self._voice(scope).speaker)
        await asgi.respond(send, page, content_type=asgi.HTML)

    async def _get_planned(self, scope: Scope, receive: Receive, send: Send) -> None:
        """What the next lift of ``?lifter=`` is judged against, in words; empty where no plan is in force."""
        del receive
        lifter = asgi.query_of(scope).get("lifter")
        snapshot = self._live.snapshot if self._live.is_live() else None
        told = () if snapshot is None else snapshot.lifters
        plan = next((one["plan"] for one in told if one["lifter"] == lifter), None)
        words = planning.in_force(plan, self._voice(scope)) if plan else ""
        await asgi.respond_json(send, {"words": words})

    async def _post(self, scope: Scope, receive: Receive, send: Send) -> None:
        """The answer, or every fault under its entry; 409 where the engine did not take a plan to be saved."""
        voice = self._voice(scope)
        try:
            asked = await own_json(scope, receive)
            lifter, entered, units = self._read(asked)
            now_utc_s = utc_s()
            today = datetime.fromtimestamp(now_utc_s, zone_of(self._live.site)).date().isoformat()
            async with self._judging:  # one at a time: each takes a while, and the live pages must not wait for them
                answer, params = await asyncio.to_thread(
                    planning.judged, lifter, entered, units=units, today=today, voice=voice
                )
            if not asked.get("save"):
                await asgi.respond_json(send, answer)
                return
            action = {"kind": "plan", "lifter": lifter.id, "who": asked.get("who"), "role": asked.get("role")}
            told = await self._acting.do(scope, {**action, "params": params})
        except PlanError as error:
            await asgi.respond_json(send, planning.faults_told(error, voice))
        except RefusedError as error:
            await self._acting.refuse(scope, send, error)
        else:
            await asgi.respond_json(
                send, {**told, "clock": voice.clock(now_utc_s)}, status=200 if told["done"] else 409
            )

    def _read(self, asked: Mapping[str, Any]) -> tuple[LifterConfig, Mapping[str, object], str]:
        lifters = {one["id"]: one for one in self._live.site.get("lifters", ())}
        name, entered, units = asked.get("lifter"), asked.get("entered"), asked.get("units", "metric")
        if not isinstance(name, str) or name not in lifters:
            words = f"Not done: lifter is {name!r}; it must be one of {', '.join(lifters)}."
            raise RefusedError(UNREADABLE, 400, words)
        if not isinstance(entered, dict) or units not in UNITS:
            words = "Not done: entered must be one JSON object, units metric or us."
            raise RefusedError(UNREADABLE, 400, words)
        return planning.lifter_of(lifters[name]), entered, units
