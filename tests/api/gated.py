"""Seasons of a simulated athlete with timing gates."""

from dataclasses import fields
from typing import Any

import numpy as np

from tests.api.seasons import Season

GATES_M = (11.0, 6.0, 1.0)


class GatedSeason(Season):
    """A season whose attempts passed gates, in the times that the footfalls tell."""

    @classmethod
    def of(cls, season: Season) -> "GatedSeason":
        return cls(**{each.name: getattr(season, each.name) for each in fields(season)})

    def _reading(self, made: Any, i: int, begun: int) -> dict[str, Any]:
        known = ~np.isnan(made.toe_m[i] + made.touchdown_s[i])
        time_s = np.interp(GATES_M, made.toe_m[i][known], made.touchdown_s[i][known])
        gates = {"at_m": list(GATES_M), "time_s": time_s.round(3).tolist()}
        return super()._reading(made, i, begun) | {"gates": gates}
