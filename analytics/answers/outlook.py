"""What will the next attempts probably do at the board?"""

from dataclasses import dataclass
from uuid import UUID

from django.utils.translation import gettext as _

from analytics.answers import expecting, told, words
from analytics.answers.told import Reason, Told
from analytics.core import outlook
from analytics.core.conventions import DEFAULT_AIM_M, NotEnoughAttempts
from analytics.core.outlook import ByAim, Outlook
from analytics.selectors import RunUps


@dataclass(frozen=True, slots=True, eq=False)
class Ahead:
    """The figures of the answer.

    Attributes
    ----------
    mark_corrected
        The plan of this moment has another start mark than the attempts had, so the next ones are
        expected about its aim.
    in_session
        They belong to a session that goes on, not to a new day.
    by_aim
        What the next attempt would be for other aims; None without an outlook.
    """

    outlook: Outlook | NotEnoughAttempts
    mark_corrected: bool
    in_session: bool
    by_aim: ByAim | None


def work_out(run_ups: RunUps, *, session: UUID | None = None) -> Ahead:
    """Return what to expect of the next attempts, of a new session unless one is named."""
    corrected = expecting.mark_was_moved(run_ups)
    expected = expecting.expected_toe(run_ups, session=session)
    found: Outlook | NotEnoughAttempts
    if isinstance(expected, NotEnoughAttempts):
        found = expected
    else:
        aim_m = DEFAULT_AIM_M if run_ups.marks_now is None else run_ups.marks_now.aim_m
        # An aim on paper moves no foot: only a mark does.
        found = outlook.outlook(
            expected, aim_m=aim_m, present_aim_m=aim_m, mark_corrected=corrected
        )
    return Ahead(
        outlook=found,
        mark_corrected=corrected,
        in_session=expecting.label_of(run_ups, session) is not None,
        by_aim=None if isinstance(expected, NotEnoughAttempts) else outlook.by_aim(expected),
    )


def tell(found: Ahead) -> Told:
    """Say how often the next attempts would be no jumps, on the board or short of it."""
    ahead = found.outlook
    if isinstance(ahead, NotEnoughAttempts):
        return told.not_enough(ahead, what=_("with a measured toe under the latest plan"))
    sentences = [
        _(
            "The next toe is expected {place}. Of attempts like these about {no_jump} are no "
            "jumps, {on_board} land on the board and {short} short of it."
        ).format(
            place=words.place(ahead.mean_m),
            no_jump=words.percent(ahead.probability_no_jump),
            on_board=words.percent(ahead.probability_on_board),
            short=words.percent(ahead.probability_short),
        ),
        _("How often this athlete really has no jumps is known roughly: {range}.").format(
            range=words.percents(ahead.probability_no_jump_interval)
        ),
    ]
    if found.mark_corrected:
        sentences.append(
            _("The start mark was moved since, so the next ones are expected about the aim.")
        )
    return Told(
        text=" ".join(sentences),
        reasons=tuple(_reasons(ahead)),
        would_change=(
            _("Another start mark or another aim: all is moved by the difference."),
            _("More attempts, and above all more sessions: they make the range smaller."),
        ),
    )


def _reasons(ahead: Outlook) -> list[Reason]:
    return [
        Reason(
            code="next_toe",
            numbers={
                "mean_m": ahead.mean_m,
                "low_m": ahead.toe_interval.low,
                "high_m": ahead.toe_interval.high,
                "level": ahead.toe_interval.level,
                "n": ahead.n,
                "n_sessions": ahead.n_sessions,
            },
            text=_(
                "From {attempts} in {sessions}: {level} of toes come down between {low} and {high}."
            ).format(
                attempts=words.attempts(ahead.n),
                sessions=words.sessions(ahead.n_sessions),
                level=words.percent(ahead.toe_interval.level),
                low=words.place(ahead.toe_interval.low),
                high=words.place(ahead.toe_interval.high),
            ),
        ),
        Reason(
            code="three_no_jumps",
            numbers={"probability": ahead.probability_all_no_jumps[2]},
            text=_("Three no jumps in a row have a chance of {chance}.").format(
                chance=words.percent(ahead.probability_all_no_jumps[2])
            ),
        ),
    ]
