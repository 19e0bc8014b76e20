"""How simulated leaks go: the two laws of the flow, and the laws of growth."""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

AMBIENT_KPA = 101.325


def law_of(p, b, laminar):
    """Flow at an absolute pressure over the choked flow (any scale)."""
    ratio = np.minimum(np.maximum(p / AMBIENT_KPA, 0.0), 0.9999)
    beyond = np.minimum(np.maximum((ratio - b) / (1.0 - b), 0.0), 0.9999)
    return np.where(laminar, 1.0 - ratio * ratio, np.sqrt(1.0 - beyond * beyond))


@dataclass(frozen=True)
class Growing:
    """A leak that grows, now: steady part and growing part in kPa/s, growth in 1/s, the bend of its law, begun ``age_s`` ago.

    The growing part is ``extra``·(1 + bend·growth·u)^(1/bend) at a time u from now: a power of the time, or with no bend exp.
    """

    base: float
    extra: float
    growth: float
    bend: float
    age_s: float

    def fallen_kpa(self, u_s):
        """Fall from now to ``u_s``."""
        u = np.maximum(u_s, -self.age_s)
        inside = np.maximum(1.0 + self.bend * self.growth * u, 0.0)
        return self.base * u_s + self.extra * (inside ** (1.0 / self.bend + 1.0) - 1.0) / (
            self.growth * (1.0 + self.bend)
        )

    def reaches_s(self, to_go_kpa):
        return brentq(lambda t_s: self.fallen_kpa(t_s) - to_go_kpa, 0.0, 1e6)


@dataclass(frozen=True)
class Steady:
    """A steady leak, now: vacuum in kPa, its rate of fall in kPa/s, and how laminar its flow is: 0 an orifice, 1 seepage."""

    level_kpa: float
    rate: float
    laminar: float

    def takes_s(self, vacuum_kpa):
        """Time from now to each vacuum, s; negative for those above."""
        reach = np.linspace(np.min(vacuum_kpa) - 0.1, max(np.max(vacuum_kpa), self.level_kpa) + 0.1, 2000)
        slowness = 1.0 / self.rate_at(reach)
        since_s = np.concatenate(([0.0], np.cumsum(0.5 * (slowness[1:] + slowness[:-1]) * np.diff(reach))))
        return np.interp(self.level_kpa, reach, since_s) - np.interp(vacuum_kpa, reach, since_s)

    def rate_at(self, vacuum_kpa):
        """Rate of fall at each vacuum, kPa/s."""
        return self.rate * self._flow(vacuum_kpa) / self._flow(self.level_kpa)

    def _flow(self, vacuum_kpa):
        p = AMBIENT_KPA - vacuum_kpa
        return (1.0 - self.laminar) * law_of(p, 0.5, laminar=False) + self.laminar * law_of(p, 0.5, laminar=True)
