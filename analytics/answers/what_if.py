"""What would another habit, mark, aim or wind do to the no jumps and the distance?"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import msgspec
import numpy as np
from django.utils.translation import gettext as _

from analytics.answers import expecting, told, words
from analytics.answers.speed import mps
from analytics.answers.told import Reason, Told
from analytics.core import known_habits, own_habits, simulator, what_if
from analytics.core.conventions import Interval, NotEnoughAttempts
from analytics.core.known_habits import KnownTo
from analytics.core.simulator import Athlete
from analytics.core.what_if import Outcome
from analytics.selectors import RunUps

SESSIONS = 4000
RESAMPLES = 100
SESSIONS_OF_RESAMPLE = 200
# Parts of the work, for who waits: the comparison, then so many resamples each.
RESAMPLES_OF_PART = 5
PARTS = 1 + RESAMPLES // RESAMPLES_OF_PART
# Equal attempts give equal answers.
_SEED = 27
# Known distances below which the spread of distances is that of a usual athlete.
MIN_DISTANCES = 5
# How far an athlete's run-up may be longer or shorter than the model's of as many steps: beyond
# that, its steps would be none that anybody makes.
SHORTEST, LONGEST = 0.75, 1.25

# A run-up of fewer is none that the model can make.
FEWEST_STEPS = 3

Step = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Steadier:
    """Other unsteadiness in some of the steps, counted back from the board."""

    first_step: int
    last_step: int
    factor: float


@dataclass(frozen=True, slots=True)
class Choices:
    """What shall be otherwise; at least one of it.

    Attributes
    ----------
    move_mark_m
        By how much the start mark moves; negative toward the pit.
    aim_m
        The new aim; the mark and what is steered to move along.
    wind_mps
        Wind in place of the usual one.
    steadier
        In place of what was measured.
    """

    move_mark_m: float | None = None
    aim_m: float | None = None
    wind_mps: float | None = None
    steadier: Steadier | None = None


@dataclass(frozen=True, slots=True)
class Compared:
    """What the change would do.

    Attributes
    ----------
    n, n_sessions
        Own attempts with every footfall measured, or with all but the toe of a no jump, and their
        sessions.
    n_simulated
        Simulated attempts of each kind.
    aim_m, new_aim_m
        Of the plan, and after the change.
    usual_wind_mps
        Mean of the winds that were read; None where none was.
    no_jump_share, typical_error_m, official_m
        Before and after. The typical error is the root of the mean square against the aim;
        `official_m` is the best of six, None where no distances are known or hardly any is valid.
    known_to
        Within what the changes lie, as well as these attempts know the habits. Of the mean square
        error as it is, square metres. None with fewer than `known_habits.MIN_SESSIONS` sessions.
    """

    n: int
    n_sessions: int
    n_simulated: int
    aim_m: float
    new_aim_m: float
    usual_wind_mps: float | None
    no_jump_share: Outcome
    typical_error_m: tuple[float, float]
    mean_square_error_m2: Outcome
    official_m: Outcome | None
    known_to: KnownTo | None


@dataclass(frozen=True, slots=True)
class Found:
    """The figures of the answer."""

    choices: Choices
    what_if: Compared | NotEnoughAttempts


def work_out(run_ups: RunUps, choices: Choices, *, step: Step = lambda _done, _of: None) -> Found:
    """Return what the change would do to an athlete with the habits of these attempts.

    Of the attempts those of the latest plan revision count. `step` is told how far it is.

    Raises
    ------
    ValueError
        Steps that the run-up does not have.
    """
    latest = run_ups.of_latest_revision()
    attempts = latest.those(own_habits.usable(latest.toe_m, latest.no_jump))
    model = _model_of(latest)
    me = own_habits.own_habits(
        attempts.toe_m, like=model, wind_mps=attempts.wind_mps, no_jump=attempts.no_jump
    )
    if isinstance(me, NotEnoughAttempts):
        return Found(choices, me)
    known_wind = attempts.wind_mps[~np.isnan(attempts.wind_mps)]
    usual_wind = float(known_wind.mean()) if known_wind.size else None
    aim_m = float(attempts.aim_m[-1])
    new_aim_m = aim_m if choices.aim_m is None else choices.aim_m

    def change(athlete: Athlete) -> Athlete:
        return _changed(athlete, choices, by_aim_m=new_aim_m - aim_m, usual_wind=usual_wind or 0.0)

    found = what_if.what_if(
        me,
        change(me),
        rng=np.random.default_rng(_SEED),
        n_sessions=SESSIONS,
        aims_m=(aim_m, new_aim_m),
    )
    step(1, PARTS)
    n_sessions = int(np.unique(attempts.session_labels).size)
    changes: list[known_habits.Changes] = []
    drawn = known_habits.resampled_changes(
        attempts.toe_m,
        wind_mps=attempts.wind_mps,
        session=attempts.session_labels,
        like=model,
        change=change,
        aims_m=(aim_m, new_aim_m),
        rng=np.random.default_rng(_SEED),
        n_resamples=RESAMPLES if n_sessions >= known_habits.MIN_SESSIONS else 0,
        n_sessions=SESSIONS_OF_RESAMPLE,
        no_jump=attempts.no_jump,
    )
    for number, each in enumerate(drawn, 1):
        if each is not None:
            changes.append(each)
        if number % RESAMPLES_OF_PART == 0:
            step(1 + number // RESAMPLES_OF_PART, PARTS)
    known_to = known_habits.known_to(
        changes,
        estimate=known_habits.Changes(
            no_jump_share=found.no_jump_share.change,
            mean_square_error_m2=found.mean_square_error_m2.change,
            official_m=None if found.official_m is None else found.official_m.change,
        ),
        drawn=known_habits.n_drawn(attempts.session_labels),
    )
    square = found.mean_square_error_m2
    return Found(
        choices,
        Compared(
            n=len(attempts),
            n_sessions=n_sessions,
            n_simulated=found.n_attempts,
            aim_m=aim_m,
            new_aim_m=new_aim_m,
            usual_wind_mps=usual_wind,
            no_jump_share=found.no_jump_share,
            typical_error_m=(float(np.sqrt(square.before)), float(np.sqrt(square.after))),
            mean_square_error_m2=square,
            official_m=found.official_m if _has_distances(latest) else None,
            known_to=(None if isinstance(known_to, NotEnoughAttempts) else _possible(known_to)),
        ),
    )


def _possible(known_to: KnownTo) -> KnownTo:
    """Return the ranges without what no change of a share can be: below -1 or above 1.

    Not without what is more than the share before: that is known no better than the change.
    """
    wide = known_to.no_jump_share
    return replace(
        known_to,
        no_jump_share=replace(wide, low=max(wide.low, -1.0), high=min(wide.high, 1.0)),
    )


def _model_of(attempts: RunUps) -> Athlete:
    """Return the model athlete with as many steps, about as long a run-up, and the distances."""
    # Nobody asks for speeds here, and gates take time.
    model = Athlete(n_steps=attempts.steps, steering_from=0, gate_at_m=())
    run_m = attempts.toe_m[:, -1] - attempts.toe_m[:, 0]
    known_run_m = run_m[~np.isnan(run_m)]
    if known_run_m.size:
        plan = simulator.plan_run_up(model)
        ratio = float(np.median(known_run_m) / (plan.toe_m[-1] - plan.toe_m[0]))
        ratio = min(max(ratio, SHORTEST), LONGEST)
        model = replace(model, top_speed_mps=model.top_speed_mps * ratio)
    if _has_distances(attempts):
        distances = expecting.effective_m(attempts)
        known = distances[~np.isnan(distances)]
        model = replace(
            model, effective_m=float(known.mean()), effective_sd_m=float(known.std(ddof=1))
        )
    return model


def _has_distances(attempts: RunUps) -> bool:
    return bool(np.count_nonzero(~np.isnan(expecting.effective_m(attempts))) >= MIN_DISTANCES)


def _changed(me: Athlete, choices: Choices, *, by_aim_m: float, usual_wind: float) -> Athlete:
    """Return the athlete with what shall be otherwise."""
    if choices.steadier is not None:
        me = what_if.steadier(
            me,
            first_step=choices.steadier.first_step,
            last_step=choices.steadier.last_step,
            factor=choices.steadier.factor,
        )
    return replace(
        me,
        aim_m=me.aim_m + by_aim_m,
        mark_error_m=me.mark_error_m + (choices.move_mark_m or 0.0),
        mean_wind_mps=0.0 if choices.wind_mps is None else choices.wind_mps - usual_wind,
    )


def as_found(stored: Mapping[str, Any]) -> Found:
    """Return the figures as they were before they were stored as JSON."""
    choices, figures = msgspec.convert(stored["choices"], Choices), stored["what_if"]
    if "not_enough_attempts" in figures:
        return Found(choices, msgspec.convert(figures, NotEnoughAttempts))
    return Found(choices, msgspec.convert(figures, Compared))


def tell(found: Found) -> Told:
    """Say what would change, and how sure that is."""
    would_change = (
        _("More attempts with every footfall measured: they know the habits better."),
        _("A new plan revision: its attempts count from the first again."),
    )
    if isinstance(found.what_if, NotEnoughAttempts):
        return told.not_enough(
            found.what_if,
            what=_("of the latest plan revision with every footfall measured"),
            would_change=would_change[:1],
        )
    figures = found.what_if
    sentences = [_premise(found.choices), _no_jumps(figures), _errors(figures)]
    if figures.official_m is not None:
        sentences.append(_distance(figures.official_m))
    sentences.append(
        _(
            "This is a model with the habits of {attempts} from {sessions}: it says which of two "
            "changes promises more, and promises nothing."
        ).format(attempts=words.attempts(figures.n), sessions=words.sessions(figures.n_sessions))
    )
    return Told(
        text=" ".join(sentences),
        reasons=tuple(_reasons(figures)),
        would_change=would_change,
        caution=told.caution(),
    )


def _premise(choices: Choices) -> str:
    parts = []
    if choices.move_mark_m is not None:
        size = words.centimetres(choices.move_mark_m)
        parts.append(
            _("the start mark {size} nearer the pit").format(size=size)
            if choices.move_mark_m < 0
            else _("the start mark {size} farther from the pit").format(size=size)
        )
    if choices.aim_m is not None:
        parts.append(_("an aim of {place}").format(place=words.place(choices.aim_m)))
    if choices.wind_mps is not None:
        parts.append(
            _("a head wind of {speed}").format(speed=mps(-choices.wind_mps))
            if choices.wind_mps < 0
            else _("a tail wind of {speed}").format(speed=mps(choices.wind_mps))
        )
    if choices.steadier is not None:
        parts.append(
            _("{share} of the unsteadiness in steps {first} to {last} before the board").format(
                share=words.percent(choices.steadier.factor),
                first=words.number(choices.steadier.first_step),
                last=words.number(choices.steadier.last_step),
            )
        )
    return _("What if: {what}.").format(what=", ".join(parts))


def _no_jumps(figures: Compared) -> str:
    share = figures.no_jump_share
    shares = {"before": words.percent(share.before), "after": words.percent(share.after)}
    known = None if figures.known_to is None else figures.known_to.no_jump_share
    if figures.n_sessions < known_habits.MIN_SESSIONS:
        return _(
            "No jumps go from {before} to {after} of all attempts; fewer than {sessions} do not "
            "show how much days differ, so how sure that is cannot be said."
        ).format(**shares, sessions=words.sessions(known_habits.MIN_SESSIONS))
    if known is None:
        return _(
            "No jumps go from {before} to {after} of all attempts; how sure that is cannot be said."
        ).format(**shares)
    return _(
        "No jumps go from {before} to {after} of all attempts; the change lies between {low} and "
        "{high} points."
    ).format(**shares, low=_points(known.low), high=_points(known.high))


def _points(share: float) -> str:
    return f"{'+' if round(100 * share) > 0 else ''}{words.number(100 * share)}"


def _errors(figures: Compared) -> str:
    before, after = figures.typical_error_m
    return _("The typical error against the aim goes from {before} to {after}.").format(
        before=words.centimetres(before), after=words.centimetres(after)
    )


def _distance(official: Outcome) -> str:
    if abs(official.change) < 0.005:
        return _("The best of six valid jumps stays as far as it is.")
    text = (
        _("The best of six valid jumps would go {size} farther.")
        if official.change > 0
        else _("The best of six valid jumps would fall {size} short of now.")
    )
    return text.format(size=words.centimetres(official.change))


def _reasons(figures: Compared) -> list[Reason]:
    known = figures.known_to
    reasons = [
        _reason(
            "no_jump_share",
            figures.no_jump_share,
            None if known is None else known.no_jump_share,
            n=figures.n,
            fewer=_("That no jumps become fewer is shown."),
            more=_("That no jumps become more is shown."),
            open_=_("Whether no jumps become fewer or more is not shown."),
        )
    ]
    if figures.official_m is not None:
        reasons.append(
            _reason(
                "official_m",
                figures.official_m,
                None if known is None else known.official_m,
                n=figures.n,
                fewer=_("That the best distance falls is shown."),
                more=_("That the best distance grows is shown."),
                open_=_("Whether the best distance falls or grows is not shown."),
            )
        )
    return reasons


def _reason(
    code: str,
    outcome: Outcome,
    interval: Interval | None,
    *,
    n: int,
    fewer: str,
    more: str,
    open_: str,
) -> Reason:
    if interval is None or interval.low <= 0 <= interval.high:
        text = open_
    else:
        text = fewer if interval.high < 0 else more
    return Reason(
        code=code,
        numbers={
            "before": outcome.before,
            "after": outcome.after,
            "change": outcome.change,
            "monte_carlo_error": outcome.monte_carlo_error,
            "low": None if interval is None else interval.low,
            "high": None if interval is None else interval.high,
            "n": n,
        },
        text=text,
    )
