"""What a season brought to a run-up, in plain words: each sentence with its numbers.

A change is told as one only where it is shown; where it is not, that is said, and it is not
called unchanged.
"""

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from analytics.answers import words
from analytics.answers.season_run_up import (
    Board,
    LevelShift,
    NoShift,
    Revision,
    RunUpSeason,
    Share,
)
from analytics.answers.speed import mps
from analytics.core.conventions import Interval, NotEnoughAttempts
from analytics.core.season_ends import BoardChange, Change, MeanChange
from approaches.models import SessionKind

# Marks are laid out to the centimetre.
_SAME_MARK_M = 0.005


def plans_text(revisions: tuple[Revision, ...]) -> str:
    """Say how the start mark moved over the season."""
    if not revisions:
        return _("No plan was made.")
    last = revisions[-1]
    if len(revisions) == 1:
        return _("One plan all season, the start mark at {mark}.").format(
            mark=words.metres(last.start_mark_m, 2)
        )
    moved_m = last.start_mark_m - revisions[0].start_mark_m
    if abs(moved_m) < _SAME_MARK_M:
        text = _("{n} plans; the start mark stands at {mark}, as at the beginning.")
    elif moved_m < 0:
        text = _("{n} plans; the start mark went from {first} to {mark}, {size} toward the pit.")
    else:
        text = _("{n} plans; the start mark went from {first} to {mark}, {size} away from the pit.")
    return text.format(
        n=len(revisions),
        first=words.metres(revisions[0].start_mark_m, 2),
        mark=words.metres(last.start_mark_m, 2),
        size=words.centimetres(moved_m),
    )


def change_text(change: BoardChange | NotEnoughAttempts) -> str:
    """Say whether the toe became steadier, and nearer to the aim."""
    if isinstance(change, NotEnoughAttempts):
        return _(
            "Too few attempts to hold the end of the season against its start: {n} of {needed} "
            "measured at the board, in two sessions or more."
        ).format(n=change.n, needed=change.needed)
    return f"{_spread_text(change)} {_bias_text(change.bias_m)}"


def _spread_text(change: BoardChange) -> str:
    text = {
        Change.LOWER: _(
            "Steadier: the toe spread by {first} ({first_range}) at the start, from {n_first}, and "
            "by {last} ({last_range}) at the end, from {n_last}."
        ),
        Change.HIGHER: _(
            "Less steady: the toe spread by {first} ({first_range}) at the start, from {n_first}, "
            "and by {last} ({last_range}) at the end, from {n_last}."
        ),
        Change.NOT_SHOWN: _(
            "The toe spread by {first} ({first_range}) at the start, from {n_first}, and by {last} "
            "({last_range}) at the end, from {n_last}: that does not show a change."
        ),
    }[change.spread_shown]
    return text.format(
        first=words.centimetres(change.sd_first_m),
        first_range=cm_range(change.sd_first_interval),
        n_first=words.attempts(change.n_first),
        last=words.centimetres(change.sd_last_m),
        last_range=cm_range(change.sd_last_interval),
        n_last=words.attempts(change.n_last),
    )


def _bias_text(bias: MeanChange) -> str:
    text = (
        _("On the mean it landed {first} at the start, {last} at the end; no change is shown.")
        if bias.shown is Change.NOT_SHOWN
        else _("On the mean it landed {first} at the start, {last} at the end: that is a change.")
    )
    return text.format(first=words.error(bias.first), last=words.error(bias.last))


def cm_range(interval: Interval) -> str:
    """Return a range in whole centimetres."""
    return _("{low} to {high} cm").format(
        low=words.number(100 * interval.low), high=words.number(100 * interval.high)
    )


def shift_text(shift: LevelShift | NoShift | NotEnoughAttempts) -> str:
    """Say whether the level at the board shifted once, and when."""
    if isinstance(shift, NotEnoughAttempts):
        return _(
            "Whether the level shifted once cannot be told: {n} of {needed} sessions with a "
            "measured toe."
        ).format(n=shift.n, needed=shift.needed)
    if isinstance(shift, NoShift):
        return _("No lasting shift of the level is shown over {sessions}.").format(
            sessions=words.sessions(shift.n_sessions)
        )
    text = (
        _(
            "The level shifted by {size} toward the pit ({low} to {high} cm), probably with the "
            "session of {day}, between {earliest} and {latest}."
        )
        if shift.change_m < 0
        else _(
            "The level shifted by {size} away from the pit ({low} to {high} cm), probably with the "
            "session of {day}, between {earliest} and {latest}."
        )
    )
    sizes = sorted(abs(each) for each in (shift.interval_m.low, shift.interval_m.high))
    return text.format(
        size=words.centimetres(shift.change_m),
        low=words.number(100 * sizes[0]),
        high=words.number(100 * sizes[1]),
        day=words.day(shift.first_session_date),
        earliest=words.day(shift.earliest_date),
        latest=words.day(shift.latest_date),
    )


def board_text(board: Board) -> str:
    """Say how often the toe was on the board, and beyond it."""
    if board.no_jumps is None:
        return _("No attempts.")
    text = _("No jumps: {no_jumps}.").format(no_jumps=share_text(board.no_jumps))
    if board.on_board is None:
        return text
    return _("On the board: {on_board}. {no_jumps}").format(
        on_board=share_text(board.on_board), no_jumps=text
    )


def share_text(share: Share) -> str:
    """Return a share with its counts and its range."""
    return _("{share} ({range}), {k} of {n}").format(
        share=words.percent(share.share),
        range=words.percents(share.interval),
        k=share.k,
        n=share.n,
    )


def kinds_text(board: Board) -> str:
    """Say how often attempts were no jumps in training, testing and competition."""
    if not board.by_kind:
        return _("No attempts.")
    said = [
        _("{kind}, {sessions}: {share}.").format(
            kind=kind_name(each.kind),
            sessions=words.sessions(each.n_sessions),
            share=share_text(each.no_jumps),
        )
        for each in board.by_kind
    ]
    if len(said) > 1:
        said.append(
            _("Days, aims and run-ups differ between them; ranges that overlap show no difference.")
        )
    return " ".join(said)


def kind_name(kind: str) -> str:
    """Return a kind of session at the beginning of a sentence."""
    return {
        SessionKind.TRAINING.value: _("Training"),
        SessionKind.TESTING.value: _("Testing"),
        SessionKind.COMPETITION.value: _("Competition"),
    }[kind]


def rhythm_text(found: RunUpSeason) -> str:
    """Say whether the rhythm of the last three steps changed."""
    two, one = found.length_ratio_2, found.length_ratio_1
    if isinstance(two, NotEnoughAttempts) or isinstance(one, NotEnoughAttempts):
        lacking = two if isinstance(two, NotEnoughAttempts) else one
        assert isinstance(lacking, NotEnoughAttempts)  # noqa: S101  # one of both is
        return _(
            "Too few attempts with the last four footfalls at one end of the season: {n} of "
            "{needed}."
        ).format(n=lacking.n, needed=lacking.needed)
    text = _(
        "Penultimate step {two_first} times the third-last at the start, {two_last} at the end; "
        "last step {one_first} and {one_last}."
    ).format(
        two_first=words.number(two.first, 2),
        two_last=words.number(two.last, 2),
        one_first=words.number(one.first, 2),
        one_last=words.number(one.last, 2),
    )
    shown = (two.shown is not Change.NOT_SHOWN, one.shown is not Change.NOT_SHOWN)
    said = {
        (True, True): _("A change is shown of both steps."),
        (True, False): _("A change is shown of the penultimate step."),
        (False, True): _("A change is shown of the last step."),
        (False, False): _("No change is shown."),
    }[shown]
    return f"{text} {said}"


def speed_text(found: RunUpSeason) -> str:
    """Say whether the speed into the board changed."""
    speed, gain = found.speed_6_1_mps, found.speed_gain_mps
    if isinstance(speed, NotEnoughAttempts):
        return _(
            "Too few attempts with gate times at 6 and 1 m at one end of the season: {n} of "
            "{needed}."
        ).format(n=speed.n, needed=speed.needed)
    text = {
        Change.LOWER: _("Slower: from 6 to 1 m {first} at the start, {last} at the end."),
        Change.HIGHER: _("Faster: from 6 to 1 m {first} at the start, {last} at the end."),
        Change.NOT_SHOWN: _(
            "From 6 to 1 m {first} at the start, {last} at the end: that does not show a change."
        ),
    }[speed.shown].format(first=mps(speed.first), last=mps(speed.last))
    if isinstance(gain, NotEnoughAttempts):
        return text
    lost = (
        _("Into the board {size} was gained at the end.")
        if gain.last >= 0
        else _("Into the board {size} was lost at the end.")
    ).format(size=mps(abs(gain.last)))
    return f"{text} {lost}"


def unknown_of(found: RunUpSeason) -> list[tuple[str, str]]:
    """Return what the season does not tell of this run-up, and why: a code and a sentence."""
    code = found.found.approach.code
    n = len(found.found.run_ups)
    checks = (
        ("change", isinstance(found.change, NotEnoughAttempts), change_text(found.change)),
        ("shift", isinstance(found.shift, NotEnoughAttempts), shift_text(found.shift)),
        ("rhythm", isinstance(found.length_ratio_2, NotEnoughAttempts), rhythm_text(found)),
        ("speed", isinstance(found.speed_6_1_mps, NotEnoughAttempts), speed_text(found)),
        (
            "distances",
            found.n_official == 0,
            _("No official distance was written down, so nothing is known of the best."),
        ),
        (
            "wind",
            found.n_wind < n / 2,
            ngettext(
                "The wind was read for {k} of {n} attempt: its part in the errors is not known.",
                "The wind was read for {k} of {n} attempts: its part in the errors is not known.",
                n,
            ).format(k=found.n_wind, n=n),
        ),
        ("plan", not found.revisions, _("Without a plan nobody knows where the feet should be.")),
    )
    return [
        (name, _("{run_up}: {text}").format(run_up=code, text=text))
        for name, lacks, text in checks
        if lacks and n
    ]
