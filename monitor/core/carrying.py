"""What each check lets a planned panel weigh at one tilt and turn, wind and all.

The live path (:mod:`monitor.core.holding`) has no wind and so is linear in the load; here the wind is a share of its own
on every pad, added to the load's with the worst sign, and each check is solved for the weight at which it is used up.
"""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np

from monitor.core.config import Basis
from monitor.core.factors import EN_FACTOR
from monitor.core.layout import Layout
from monitor.core.pads import ONE_LINE_M, Floats, pulls


@dataclass(frozen=True)
class Wind:
    """Wind on a panel, N: away from the pads or towards them, and along the panel in any direction."""

    away_n: float = 0.0
    along_n: float = 0.0
    at_m: tuple[float, float] = (0.0, 0.0)  # middle of the face on the drawing of the pads


STILL: Final = Wind()


@dataclass(frozen=True)
class Carrying:
    """Pads with their suction, and the wind: everything but the weight.

    Attributes:
        suction_n: Shape (n,), N: area times the vacuum judged by.
        mark_n: Shape (n,), N: the plate value marked on each pad, infinite without one.
        bend_factor: How much more than a rigid plate's share a pad may get of a panel that bends.
    """

    layout: Layout
    basis: Basis
    friction: float
    suction_n: Floats
    mark_n: Floats
    wind: Wind = STILL
    bend_factor: float = 1.0

    def without(self, circuit: str) -> "Carrying | None":
        """The same with one circuit lost; ``None`` when no pad is left. The wind then rests on the others."""
        left = self.layout.without(circuit)
        if left is None:
            return None
        kept = [pad in left.ids for pad in self.layout.ids]
        return replace(self, layout=left, suction_n=self.suction_n[kept], mark_n=self.mark_n[kept])

    @cached_property
    def wind_shares(self) -> tuple[Floats, Floats]:
        """The most that wind pulls at each pad and slides it, N. Both signs; pressing is not credited."""
        layout, wind = self.layout, self.wind
        force_n = np.array([wind.away_n, -wind.away_n])
        blown = pulls(layout.xy_m, layout.radius_m, force_n, force_n[:, None] * np.array(wind.at_m))
        arm_m = layout.xy_m - layout.xy_m.mean(axis=0)
        off_m = float(np.linalg.norm(np.array(wind.at_m) - layout.xy_m.mean(axis=0)))
        polar_m2 = float((arm_m**2).sum())
        if polar_m2 > ONE_LINE_M**2:
            turning = off_m * np.linalg.norm(arm_m, axis=1) / polar_m2
        else:
            turning = 2.0 * off_m / (len(arm_m) * layout.radius_m)
        return np.maximum(blown, 0.0).max(axis=0), wind.along_n * (1.0 / len(arm_m) + turning)

    @cached_property
    def pad_suction_n(self) -> Floats:
        return self.suction_n / self.bend_factor

    def factor(self, tilt_deg: Floats) -> Floats:
        """Design factor of the basis, shape (m,)."""
        if self.basis is Basis.ASME_BTH_1:
            return 2.0 + 2.0 * np.abs(np.sin(np.radians(tilt_deg)))
        return np.full(tilt_deg.shape, EN_FACTOR)

    def pad_limits_n(self, tilt_deg: Floats, turn_deg: Floats) -> Floats:
        """Weight at which each pad is used up, N, shape (m, n); 0 where the pads cannot balance it."""
        pull, slide = self.layout.shares(tilt_deg, turn_deg)
        blown_pull, blown_slide = self.wind_shares
        factor = self.factor(tilt_deg)[:, None]
        if self.basis is Basis.ASME_BTH_1:
            limit = _resultant_limit(pull, slide, blown_pull, blown_slide, self.pad_suction_n / factor)
        else:
            spare = self.pad_suction_n / factor - blown_pull - blown_slide / self.friction
            limit = _limit(spare, pull + slide / self.friction)
        return np.minimum(limit, _resultant_limit(pull, slide, blown_pull, blown_slide, self.mark_n / self.bend_factor))

    def total_limits_n(self, tilt_deg: Floats, *, by_friction: bool) -> Floats:
        """Weight at which all pads together are used up, N, shape (m, 1): by the basis, or by friction with factor 2."""
        away, along = self._total(tilt_deg, by_friction=by_friction)
        if not by_friction and self.basis is Basis.ASME_BTH_1:
            most = self.suction_n.sum() / self.factor(tilt_deg)
            return _resultant_limit(away, along, np.array(self.wind.away_n), np.array(self.wind.along_n), most)[:, None]
        spare = self.suction_n.sum() / EN_FACTOR - self.wind.away_n - self.wind.along_n / self.friction
        return _limit(np.full(tilt_deg.shape, spare), away + along / self.friction)[:, None]

    def total_asked_n(self, tilt_deg: Floats, weight_n: float, *, by_friction: bool) -> Floats:
        """Suction that all pads together must have, N, shape (m, 1): by the basis, or by friction with factor 2."""
        away, along = self._total(tilt_deg, by_friction=by_friction)
        pull, slide = weight_n * away + self.wind.away_n, weight_n * along + self.wind.along_n
        if not by_friction and self.basis is Basis.ASME_BTH_1:
            return (self.factor(tilt_deg) * np.hypot(pull, slide))[:, None]
        return (EN_FACTOR * (pull + slide / self.friction))[:, None]

    def _total(self, tilt_deg: Floats, *, by_friction: bool) -> tuple[Floats, Floats]:
        """Parts of the weight away from all pads together and along them.

        Past upright it presses on the pads: friction is not credited with that, a design factor asks for the whole load.
        """
        away, along = np.cos(np.radians(tilt_deg)), np.abs(np.sin(np.radians(tilt_deg)))
        whole = not by_friction and self.basis is Basis.ASME_BTH_1
        return (np.abs(away) if whole else np.maximum(away, 0.0)), along

    def shares_n(self, tilt_deg: Floats, turn_deg: Floats, weight_n: float) -> tuple[Floats, Floats]:
        """Pulling and sliding share of each pad with the wind, N, shape (m, n)."""
        blown_pull, blown_slide = self.wind_shares
        if weight_n == 0.0:  # and were the pads unable to balance any other weight
            nothing = np.zeros((len(tilt_deg), 1))
            return nothing + blown_pull, nothing + blown_slide
        pull, slide = self.layout.shares(tilt_deg, turn_deg)
        return weight_n * pull + blown_pull, weight_n * slide + blown_slide

    def suction_asked_pa(self, tilt_deg: Floats, turn_deg: Floats, weight_n: float) -> Floats:
        """Vacuum that the basis asks for at each pad, Pa, shape (m, n)."""
        pull, slide = self.shares_n(tilt_deg, turn_deg, weight_n)
        asked = np.hypot(pull, slide) if self.basis is Basis.ASME_BTH_1 else pull + slide / self.friction
        return self.bend_factor * self.factor(tilt_deg)[:, None] * asked / self.layout.area_m2

    def uses(self, tilt_deg: Floats, turn_deg: Floats, weight_n: float) -> Floats:
        """Use of each pad, shape (m, n): of its suction by the basis, or of the value marked on it if that is more."""
        suction = _use(self.suction_asked_pa(tilt_deg, turn_deg, weight_n), self.suction_n / self.layout.area_m2)
        return np.fmax(suction, self.mark_uses(tilt_deg, turn_deg, weight_n))

    def mark_uses(self, tilt_deg: Floats, turn_deg: Floats, weight_n: float) -> Floats:
        """Use of the value marked on each pad, shape (m, n); 0 without one."""
        return _use(self.bend_factor * np.hypot(*self.shares_n(tilt_deg, turn_deg, weight_n)), self.mark_n)

    def slip_asked_pa(self, tilt_deg: Floats, turn_deg: Floats, weight_n: float) -> Floats:
        """Vacuum at which each pad would come off or slide, at factor 1, Pa, shape (m, n)."""
        pull, slide = self.shares_n(tilt_deg, turn_deg, weight_n)
        return self.bend_factor * (pull + slide / self.friction) / self.layout.area_m2

    def slips(self, tilt_deg: Floats, turn_deg: Floats, weight_n: float) -> Floats:
        """Pull and friction of each pad over its suction, at factor 1, shape (m, n)."""
        return _use(self.slip_asked_pa(tilt_deg, turn_deg, weight_n), self.suction_n / self.layout.area_m2)


def _limit(held: Floats, asked: Floats) -> Floats:
    """``held`` over ``asked``: 0 where nothing is held, else infinite where nothing is asked."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(held > 0.0, held / asked, 0.0)


def _use(asked: Floats, held: Floats) -> Floats:
    """``asked`` over ``held``: infinite where nothing is held."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(held > 0.0, asked / held, np.inf)


def _resultant_limit(pull: Floats, slide: Floats, blown_pull: Floats, blown_slide: Floats, most: Floats) -> Floats:
    """The weight at which the resultant of load and wind reaches ``most``: W with |W (n, s) + (a, b)| = most."""
    balanced = np.isfinite(pull)
    n, s = np.where(balanced, pull, 0.0), np.where(balanced, slide, 0.0)
    along = n * blown_pull + s * blown_slide
    spare = most**2 - blown_pull**2 - blown_slide**2
    with np.errstate(divide="ignore", invalid="ignore"):
        limit = spare / (along + np.sqrt(along**2 + (n**2 + s**2) * np.maximum(spare, 0.0)))
    limit = np.where(np.isinf(most), np.inf, limit)
    return np.where(balanced & (spare > 0.0), limit, 0.0)
