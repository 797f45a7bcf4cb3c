"""What a demo athlete is: a person, a run-up, habits, and what the season does to them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

import numpy as np

from analytics.core import simulator
from analytics.core.conventions import FloatArray

SENIORS, YOUTH = "Seniors", "Youth"
LONG_JUMP, TRIPLE_JUMP = "long_jump", "triple_jump"

# What 1 m/s more brings in distance (Bridgett, Galloway & Linthorne 2002: 0.8 m per m/s).
DISTANCE_PER_SPEED_S = 0.8

HALL_PLAN_FROM, OUTDOOR_PLAN_FROM = date(2025, 10, 1), date(2026, 4, 1)


@dataclass(frozen=True, slots=True)
class Change:
    """Habits that are different from a day on."""

    from_date: date
    habits: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Revision:
    """A plan from a day on; the start mark is moved by `moved_m`, positive away from the pit."""

    from_date: date
    reason: str
    moved_m: float = 0.0


HALL_PLAN = Revision(HALL_PLAN_FROM, "Marks for the hall.")
OUTDOOR_PLAN = Revision(OUTDOOR_PLAN_FROM, "Marks taken anew on the runway outside.")


@dataclass(frozen=True, slots=True)
class Jumper:
    """An invented athlete.

    Attributes
    ----------
    planned
        The habits that the plan was made for.
    seed
        Of everything that is chance for this athlete; chosen so that the season tells `story`.
    raises
        Kinds of alerts that are open after the season and the session pushed at its end.
    trouble
        What practice-focus names first after that session; empty where it names nothing.
    changes
        What the season does to the habits.
    heights
        Measurements of a body that still grows, in metres: steps lengthen with it, marks do not.
    shorter_steps, length_days, length_seed
        Numbers of steps of older, shorter run-ups, and the days on which all lengths were jumped
        from in turn; and the seed of what is chance in the shorter ones.
    """

    code: str
    given_name: str
    family_name: str
    birth_date: date
    take_off_foot: str
    shoe_length_m: float
    squad: str
    event: str
    planned: simulator.Athlete
    seed: int
    start_style: str = "standing"
    story: str = "The usual up and down."
    raises: frozenset[str] = frozenset()
    trouble: str = ""
    revisions: tuple[Revision, ...] = (HALL_PLAN, OUTDOOR_PLAN)
    changes: tuple[Change, ...] = ()
    heights: tuple[tuple[date, float], ...] = field(default=())
    shorter_steps: tuple[int, ...] = ()
    length_days: frozenset[date] = frozenset()
    length_seed: int = 0

    @property
    def approach_code(self) -> str:
        return f"{'LJ' if self.event == LONG_JUMP else 'TJ'}-{self.planned.n_steps}"

    def from_other(self, steps: int) -> Jumper:
        """Return the same athlete from another number of steps, and as far as the speed goes."""
        slower_mps = _speed_mps(self.planned) - _speed_mps(replace(self.planned, n_steps=steps))
        return replace(
            self,
            planned=replace(
                self.planned,
                n_steps=steps,
                effective_m=self.planned.effective_m - DISTANCE_PER_SPEED_S * slower_mps,
            ),
            changes=(),
            revisions=self.revisions[:1],
            shorter_steps=(),
            length_days=frozenset(),
        )

    def revision_on(self, day: date) -> Revision:
        """Return the plan revision that is valid on a day."""
        return [each for each in self.revisions if each.from_date <= day][-1]

    def planned_toe_m(self, revision: Revision) -> FloatArray:
        """Return the footfalls that a revision plans, from take-off back, to the centimetre."""
        toe_m = simulator.plan_run_up(self.planned).toe_m
        # Every step takes its part of the move.
        share = (toe_m - toe_m[0]) / (toe_m[-1] - toe_m[0])
        planned: FloatArray = np.round(toe_m + share * revision.moved_m, 2)
        return planned

    def habits_on(self, day: date) -> simulator.Athlete:
        """Return how the athlete runs on a day from that day's marks."""
        habits = self.planned
        for change in self.changes:
            if change.from_date <= day:
                habits = replace(habits, **change.habits)
        revision = self.revision_on(day)
        habits = replace(habits, mark_error_m=habits.mark_error_m + revision.moved_m)
        if not self.heights:
            return habits
        now_m, then_m = self._height_on(day), self._height_on(revision.from_date)
        grown = replace(habits, top_speed_mps=habits.top_speed_mps * now_m / then_m)
        # A longer run-up from the same mark: the mark is too near to the pit by the difference.
        longer_m = (
            simulator.plan_run_up(grown).start_mark_m - simulator.plan_run_up(habits).start_mark_m
        )
        return replace(grown, mark_error_m=grown.mark_error_m - longer_m)

    def _height_on(self, day: date) -> float:
        days = [measured.toordinal() for measured, _ in self.heights]
        metres = [height for _, height in self.heights]
        return float(np.interp(day.toordinal(), days, metres))


def _speed_mps(habits: simulator.Athlete) -> float:
    """Return the mean speed of the last five steps of the planned run-up."""
    planned = simulator.plan_run_up(habits)
    return float((planned.toe_m[5] - planned.toe_m[0]) / planned.step_time_s[:5].sum())
