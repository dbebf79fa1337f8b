"""The worst corner of the tolerances, solved exactly: every dimension off the bad way at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..motion import System
from ..stops import dimension_tolerances
from ..units import in_house_units
from .builds import built_dimensions
from .tolerances import NOTHING, Spot, dimension_rates, sensitivities, set_by_rods

if TYPE_CHECKING:
    import pandas as pd

ROUNDS = 8  # corners tried one after the other, each from the one before
SAME = 1e-5  # degrees (mm) within which a travel ends at a stop


@in_house_units(angle="low high first_order")
def worst_corners(system: System, at: list[Spot], rates: pd.DataFrame, *,
                  rigged: bool) -> pd.DataFrame:
    """How far every surface comes out at most, either way, in the builds at the corners.

    A corner has every dimension off by its whole tolerance, the way that the sign of its exact
    sensitivity in the corner itself says, and no flip of one of them makes it worse: searched, not
    proven.  Rods and surfaces are solved exactly there; where the stick rests against a stop, how
    far the build shifts that is taken to first order.  Directions of axes are taken as drawn.

    Parameters
    ----------
    system : System
    at : list of Spot
    rates : DataFrame
        As `sensitivities` gives it for those spots.
    rigged : bool
        As it was asked.

    Returns
    -------
    DataFrame
        surface, at, low and high (degrees off what is drawn; NaN where such a build can't be put
        together), first_order (degrees, plus or minus).
    """
    import pandas as pd

    spots, rows = {spot.name: spot for spot in at}, []
    for (surface, name), mine in rates.groupby(["surface", "at"], sort=False):
        corners = _Corners(system, surface, spots[name], rigged)
        ends = [corners.worst(way) for way in (-1.0, 1.0)]
        rows.append({"surface": surface, "at": name, "low": min(ends), "high": max(ends),
                     "first_order": float(mine["moves"].sum())})
    return pd.DataFrame(rows, columns=["surface", "at", "low", "high", "first_order"])


class _Corners:
    """Builds with every dimension off by its whole tolerance, of one surface at one spot."""

    def __init__(self, system, surface, spot, rigged):
        self.system = system.only([system.model.surfaces[surface].body])
        self.surface, self.spot, self.rigged = surface, spot, rigged
        self.known, self.rates_in = dimension_tolerances(system), {}
        sizes = self.known | {key: size for key, (_, size) in spot.shifts.items()}
        self.keys = [key for key, size in sizes.items() if size > 0]
        self.sizes = np.array([sizes[key] for key in self.keys])
        self.drawn = float(self.system.sweep(**spot.inputs).deflection(surface))
        self._keep(np.random.default_rng(0).choice((-1.0, 1.0), len(self.keys)))

    def _keep(self, mixed):
        """Only the dimensions that count, as drawn or where others are off too."""
        counts = (np.abs(self.rates(np.zeros(len(self.keys)))) > NOTHING) | (
            np.abs(self.rates(mixed)) > NOTHING)
        self.keys = [key for key, kept in zip(self.keys, counts, strict=True) if kept]
        self.sizes, self.rates_in = self.sizes[counts], {}

    def off(self, signs) -> np.ndarray:
        """Degrees off what is drawn in corners (dimensions, n); NaN where one can't be built."""
        built, inputs = self._build(signs)
        turned = self.system.sweep_with(built, **inputs).deflection(self.surface)
        return np.broadcast_to(turned, signs.shape[1:]) - self.drawn

    def rates(self, signs) -> np.ndarray:
        """Degrees per mm of each dimension in one corner, or as drawn with no sign at all."""
        corner = signs.tobytes()
        if corner not in self.rates_in:
            self.rates_in[corner] = self._rates(*self._build(signs))
        return self.rates_in[corner]

    def _rates(self, built, inputs):
        total = dict(zip(self.known, dimension_rates(self.system, self.known, built, **inputs)[
            self.surface].tolist(), strict=True))
        if self.spot.shifts:
            gearing = self.system.sweep_with(built, **inputs).gearing(self.surface)
        for key, (shift, _) in self.spot.shifts.items():
            total[key] = total.get(key, 0.0) + float(gearing[next(iter(self.spot.inputs))]) * shift
        total = set_by_rods(self.system, total) if self.rigged else total
        return np.nan_to_num([total.get(key, 0.0) for key in self.keys])

    def worst(self, way) -> float:
        """The farthest off that is found one way, by signs of rates and by flips of one at a time.

        NaN where a corner on the way can't be built.
        """
        signs = self._signs(way, np.ones(len(self.keys)))
        best = float(self.off(signs))
        for _ in range(ROUNDS):
            tried = [self._signs(way, signs), *self._flipped(way, signs, best)]
            off = self.off(np.stack(tried, axis=1))
            if not np.isfinite(off).all() or not np.isfinite(best):
                return np.nan
            k = int((way * off).argmax())
            if way * off[k] <= way * best + 1e-12:
                break
            signs, best = tried[k], float(off[k])
        return best

    def _signs(self, way, before):
        """Every dimension the way that its rate in a corner says."""
        rates = self.rates(before) if len(self.keys) else np.zeros(0)
        return np.where(np.abs(rates) > NOTHING, way * np.sign(rates), before)

    def _flipped(self, way, signs, best):
        """The corner with the one flip that gains most, and with all that gain by themselves."""
        each = np.where(np.eye(len(signs), dtype=bool), -1.0, 1.0) * signs[:, None]
        gain = way * (self.off(each) - best) if len(signs) else np.zeros(0)
        if not (gain > 0).any():
            return []
        return [each[:, int(np.nanargmax(gain))], np.where(gain > 0, -signs, signs)]

    def _build(self, signs):
        errors = {key: sign * size for key, sign, size in zip(self.keys, signs, self.sizes,
                                                              strict=True)}
        shift = sum(rate * errors[key] for key, (rate, _) in self.spot.shifts.items()
                    if key in errors)
        return (built_dimensions(self.system, errors, rigged=self.rigged),
                {name: value + shift for name, value in self.spot.inputs.items()})


@in_house_units(angle="required within found missed_by build_least build_most",
                position="at reached_at")
def built_travels(system: System, travels: pd.DataFrame, at: list[Spot]) -> pd.DataFrame:
    """Required travels over the builds within the file's tolerances, rods set to neutral.

    Parameters
    ----------
    system : System
    travels : DataFrame
        As `linkage.gearing.required_travels` gives it, up to the drawn stops.
    at : list of Spot
        Neutral and every stop.

    Returns
    -------
    DataFrame
        The same, with build_least and build_most (degrees found in the worst corners), ok judged
        on them, and decided: False where what the corner differs from first order is more than
        what is left of the band, so that another build may miss it.
    """
    found = travels.copy()
    found["build_least"] = found["build_most"] = np.nan
    found["decided"] = True
    for k, row in found.iterrows():
        if not np.isfinite(row["found"]):
            continue
        spot = _resting(system, at, row)
        rates = sensitivities(system, [spot], rigged=True)
        sign = 1.0 if row["way"] in ("down", "left") else -1.0
        corner = worst_corners(system, [spot], rates[rates["surface"] == row["surface"]],
                               rigged=True)
        low, high, first = corner.iloc[0][["low", "high", "first_order"]] if len(corner) else (
            0.0, 0.0, 0.0)
        ends = sorted(sign * float(end) for end in (low, high))
        found.loc[k, ["build_least", "build_most"]] = [row["found"] + end for end in ends]
        spare = row["within"] - max(abs(row["missed_by"] + end) for end in ends)
        bend = max(abs(abs(end) - first) for end in ends)
        found.loc[k, "ok"] = bool(spare >= bend)
        found.loc[k, "decided"] = bool(spare >= bend or spare < 0)
    return found


def _resting(system, at, row) -> Spot:
    """The stop that ends a travel, or the stick held where it is found."""
    for spot in at:
        if set(spot.inputs) == {row["input"]} and abs(
                spot.inputs[row["input"]] - row["at"]) < SAME:
            return spot
    return Spot("held", {row["input"]: row["at"]}, {})

