"""Is the athlete ready for more steps, or is it better to hold, or to shorten?"""

from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _

from analytics.answers import told, words
from analytics.answers.speed import mps
from analytics.answers.told import Reason, Told
from analytics.core import gate_speeds, growth, jump_load, length_advice, length_settings
from analytics.core.conventions import DEFAULT_AIM_M, FloatArray, NotEnoughAttempts
from analytics.core.growth import Growth
from analytics.core.jump_load import JumpLoad
from analytics.core.length_advice import FirstDo, LengthAdvice, LengthAnswer
from analytics.core.length_conditions import Condition, Finding, State, medium_long_short
from analytics.core.length_history import LengthHistory
from analytics.core.length_settings import PAIR_OF_STEPS
from analytics.selectors import Body, RunUps

LONG_JUMP = "long_jump"


@dataclass(frozen=True, slots=True, eq=False)
class Cautions:
    """What is written down of growth and load; None where nobody wrote it down.

    Attributes
    ----------
    growth_m_per_year, grown_since_plan_m, height_age_days
        Growth, since the marks were set, and how old the latest height is.
    growth_open, load_open
        A caution is open now.
    session_jumps, session_limit, week_jumps
        Full jumps from as many steps or more, in the last session and the last seven days.
    """

    growth_m_per_year: float | None
    grown_since_plan_m: float | None
    height_age_days: int | None
    growth_open: bool | None
    session_jumps: int | None
    session_limit: int | None
    week_jumps: int | None
    load_open: bool | None


@dataclass(frozen=True, slots=True, eq=False)
class Length:
    """The figures of the answer.

    Attributes
    ----------
    steps
        Of the run-up as it is.
    usual_steps
        Fewest and most that are usual at the athlete's age; None where that is not known.
    """

    advice: LengthAdvice | NotEnoughAttempts
    steps: int
    aim_m: float
    usual_steps: tuple[int, int] | None
    cautions: Cautions


def work_out(run_ups: RunUps, *, body: Body | None = None) -> Length:
    """Return whether to lengthen the run-up, from sessions that are over.

    Half a session would be judged as if it were all of it, and again when the rest has come.
    """
    marks = run_ups.marks_now or run_ups.latest_marks()
    aim_m = DEFAULT_AIM_M if marks is None else marks.aim_m
    going_on = frozenset() if body is None else body.going_on
    over = run_ups.those(np.array([each not in going_on for each in run_ups.session_ids], bool))
    seen = _cautions(body)
    age = None if body is None or body.age_years <= 0 else body.age_years
    zones = gate_speeds.zone_speeds(over.gate_at_m, over.gate_time_s)
    advice = length_advice.advise_length(
        LengthHistory(
            board_toe_m=over.board_toe_m,
            no_jump=over.no_jump,
            session=over.session_labels,
            revision=over.revisions,
            gain_mps=zones.gain_mps,
            pattern_held=_pattern(over.toe_m),
        ),
        ready_sd_m=length_settings.ready_sd_m(age),
        aim_m=aim_m,
        growth_open=seen.growth_open,
        load_open=seen.load_open,
    )
    is_long_jump = body is not None and body.event == LONG_JUMP
    return Length(
        advice=advice,
        steps=run_ups.steps,
        aim_m=aim_m,
        usual_steps=length_settings.usual_steps(age) if age and is_long_jump else None,
        cautions=seen,
    )


def _pattern(toe_m: FloatArray) -> FloatArray:
    if toe_m.shape[1] < 4:
        return np.full(toe_m.shape[0], np.nan)
    return medium_long_short(toe_m)


def _cautions(body: Body | None) -> Cautions:
    if body is None:
        return Cautions(None, None, None, None, None, None, None, None)
    days, heights = zip(*body.heights, strict=True) if body.heights else ((), ())
    grown = growth.follow_growth(days, heights, today=body.today, plan_day=body.plan_day)
    known = grown if isinstance(grown, Growth) else None
    load: JumpLoad = jump_load.sum_up_load(
        [day for day, _session in body.jumps],
        today=body.today,
        session=[str(session) for _day, session in body.jumps],
    )
    has_jumped = load.caution_open is not None
    return Cautions(
        growth_m_per_year=None if known is None else known.velocity_m_per_year,
        grown_since_plan_m=None if known is None else known.since_plan_m,
        height_age_days=None if known is None else int(body.today - known.latest_day),
        growth_open=None if known is None else known.caution_open,
        session_jumps=load.session_jumps if has_jumped else None,
        session_limit=load.session_limit if has_jumped else None,
        week_jumps=load.week_jumps if has_jumped else None,
        load_open=load.caution_open,
    )


def tell(found: Length) -> Told:
    """Say whether to lengthen, hold or shorten, with each condition and its number."""
    advice = found.advice
    if isinstance(advice, NotEnoughAttempts):
        return told.not_enough(
            advice, what=_("of sessions that are over, with a measured toe or a no jump")
        )
    return Told(
        text=" ".join([_decision(found, advice), *_first_do(found, advice), *_not_told(advice)]),
        reasons=(
            *(_reason(each, found) for each in advice.latest.findings),
            *_usual(found),
        ),
        would_change=tuple(_would_change(advice)),
        caution=told.caution(),
    )


def _decision(found: Length, advice: LengthAdvice) -> str:
    if advice.answer is LengthAnswer.READY:
        return _(
            "Ready for a pair of steps more: from {now} to {then}. The last two sessions both say "
            "so. Add them in training, and take the marks anew."
        ).format(now=words.number(found.steps), then=words.steps(found.steps + PAIR_OF_STEPS))
    if advice.answer is LengthAnswer.SHORTEN:
        return _(
            "Better a pair of steps fewer for now: {then} in place of {now}. The last two sessions "
            "both say so."
        ).format(now=words.number(found.steps), then=words.steps(found.steps - PAIR_OF_STEPS))
    if advice.answer is LengthAnswer.NOT_YET:
        return _(
            "Not ready for more steps yet: stay at {now}. The last two sessions say so."
        ).format(now=words.number(found.steps))
    stay = _("Undecided: stay at {now} for now.").format(now=words.steps(found.steps))
    return f"{stay} {_why_undecided(advice)}"


def _why_undecided(advice: LengthAdvice) -> str:
    latest, before = advice.latest, advice.before
    if latest.answer is LengthAnswer.UNDECIDED:
        return _("What was measured shows it neither way.")
    if before is None:
        return _(
            "The last session says: {latest}. Before it there were not enough attempts to judge, "
            "and two sessions running must agree."
        ).format(latest=answer_name(latest.answer))
    return _(
        "The last session says: {latest}, the one before it: {before}. Two sessions running must "
        "agree."
    ).format(latest=answer_name(latest.answer), before=answer_name(before.answer))


def answer_name(answer: LengthAnswer) -> str:
    """Return what a session says, as it is called within a sentence."""
    return {
        LengthAnswer.READY: _("ready"),
        LengthAnswer.NOT_YET: _("not yet"),
        LengthAnswer.SHORTEN: _("fewer steps"),
        LengthAnswer.UNDECIDED: _("undecided"),
    }[answer]


def _first_do(found: Length, advice: LengthAdvice) -> list[str]:
    if advice.latest.first_do is FirstDo.MOVE_MARK:
        return [
            _(
                "See to the start mark first: with the mark right, no jumps would be few enough at "
                "the aim of {aim}."
            ).format(aim=words.centimetres(found.aim_m))
        ]
    if advice.latest.first_do is FirstDo.AIM_FARTHER:
        return [
            _("Aim {aim} behind the line first: that alone would make no jumps few enough.").format(
                aim=words.centimetres(advice.latest.aim_needed_m)
            )
        ]
    return []


def _not_told(advice: LengthAdvice) -> list[str]:
    """Say what a yes does not say: that the board is met from there is not that it is farther."""
    if advice.answer is not LengthAnswer.READY:
        return []
    return [_("What more steps bring in distance is another question: see the length study.")]


def _reason(finding: Finding, found: Length) -> Reason:
    return Reason(
        code=finding.condition.value,
        numbers={
            "state": finding.state.value,
            "n": finding.n,
            "value": finding.value,
            "limit": finding.limit,
            "probability": finding.probability,
        },
        text=_("{state}: {what}").format(
            state=state_name(finding.state), what=_what(finding, found.cautions)
        ),
    )


def state_name(state: State) -> str:
    """Return how a condition stands, as it is called at the beginning of a sentence."""
    return {
        State.MET: _("Met"),
        State.UNMET: _("Not met"),
        State.OPEN: _("Not shown either way"),
        State.UNKNOWN: _("Not known"),
    }[state]


def _what(finding: Finding, cautions: Cautions) -> str:
    condition = finding.condition
    if condition is Condition.GROWTH:
        return _growth(cautions)
    if condition is Condition.LOAD:
        return _load(cautions)
    if finding.value is None:
        text = {
            Condition.SPEED_KEPT: _(
                "how speed into the board is kept was measured in {attempts} alone, or in too few "
                "sessions."
            ),
            Condition.LAST_STEPS: _("the last three steps were measured in {attempts} alone."),
        }[condition]
        return text.format(attempts=words.attempts(finding.n))
    limit = finding.limit or 0.0
    if condition is Condition.SESSIONS:
        return _("{sessions}; at least {limit} are wanted.").format(
            sessions=words.sessions(int(finding.value)), limit=words.number(limit)
        )
    if condition is Condition.NO_JUMPS:
        return _(
            "the next attempt of a new day is a no jump with a chance of {value}; at most {limit} "
            "is wanted."
        ).format(value=words.percent(finding.value), limit=words.percent(limit))
    chance = words.percent(finding.probability or 0.0)
    if condition is Condition.SPREAD:
        return _(
            "the toe spreads by {value} at the board; that it is within {limit} has a chance of "
            "{chance}."
        ).format(
            value=words.centimetres(finding.value), limit=words.centimetres(limit), chance=chance
        )
    if condition is Condition.SPEED_KEPT:
        text = (
            _(
                "{value} are lost into the board on the mean; that it is no more than {limit} has "
                "a chance of {chance}."
            )
            if finding.value < 0
            else _(
                "{value} are gained into the board on the mean; that no more than {limit} are lost "
                "has a chance of {chance}."
            )
        )
        return text.format(value=mps(abs(finding.value)), limit=mps(-limit, 1), chance=chance)
    return _(
        "the last three steps were medium, long, short in {value} of {attempts}; that it is at "
        "least {limit} has a chance of {chance}."
    ).format(
        value=words.percent(finding.value),
        attempts=words.attempts(finding.n),
        limit=words.percent(limit),
        chance=chance,
    )


def _growth(cautions: Cautions) -> str:
    said = []
    if cautions.growth_m_per_year is not None:
        said.append(
            _("{size} grown in a year at the latest pace.").format(
                size=words.height(cautions.growth_m_per_year)
            )
        )
    if cautions.grown_since_plan_m is not None:
        said.append(
            _("{size} grown since the marks were set.").format(
                size=words.height(cautions.grown_since_plan_m)
            )
        )
    if cautions.growth_open is None:
        said.append(
            _("nobody measured a height lately that tells of growth.")
            if not said
            else _("Newer heights are missing.")
        )
    return " ".join(said) or _("growth is followed, and no caution is open.")


def _load(cautions: Cautions) -> str:
    if cautions.session_jumps is None:
        return _("no full jump was written down in the last year.")
    return _(
        "{session} full jumps in the last session, {week} in the last seven days; a session has up "
        "to {limit} (common practice; no published limit exists)."
    ).format(
        session=words.number(cautions.session_jumps),
        week=words.number(cautions.week_jumps or 0),
        limit=words.number(cautions.session_limit or 0),
    )


def _usual(found: Length) -> list[Reason]:
    if found.usual_steps is None:
        return []
    low, high = found.usual_steps
    return [
        Reason(
            code="usual_steps",
            numbers={"steps": found.steps, "low": low, "high": high},
            text=_(
                "At this age {low} to {high} steps are usual in the long jump: common practice "
                "without evidence, and no limit."
            ).format(low=words.number(low), high=words.number(high)),
        )
    ]


def _would_change(advice: LengthAdvice) -> list[str]:
    changes = []
    if advice.answer is not LengthAnswer.READY:
        changes.append(_("All conditions met in two sessions running: then it is a yes."))
    unknown = [each.condition for each in advice.open_findings if each.state is State.UNKNOWN]
    if unknown:
        changes.append(
            _(
                "What nobody measured does not stand against it, and is left to the coach: {what}."
            ).format(what=", ".join(condition_name(each) for each in unknown))
        )
    if advice.chance_if_steady is not None:
        changes.append(
            _(
                "More attempts: as many as these show that somebody is steady enough, who clearly "
                "is, with a chance of {chance}."
            ).format(chance=words.percent(advice.chance_if_steady))
        )
    return changes


def condition_name(condition: Condition) -> str:
    """Return a condition as it is called within a sentence."""
    return {
        Condition.SESSIONS: _("sessions"),
        Condition.SPREAD: _("spread at the board"),
        Condition.NO_JUMPS: _("no jumps"),
        Condition.SPEED_KEPT: _("speed into the board"),
        Condition.LAST_STEPS: _("the last three steps"),
        Condition.GROWTH: _("growth"),
        Condition.LOAD: _("load"),
    }[condition]
