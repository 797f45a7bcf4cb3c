"""How fast are the last metres, and is speed gained or lost into the board?"""

from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _

from analytics.answers import told, words
from analytics.answers.told import Reason, Told
from analytics.core import board_gain, gate_speeds
from analytics.core.board_gain import BoardGain, GainAnswer, MeanSpeed
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.length_settings import DEFAULT_SETTINGS
from analytics.selectors import RunUps


@dataclass(frozen=True, slots=True, eq=False)
class Speed:
    """The figures of the answer.

    Attributes
    ----------
    speed_11_6, speed_6_1
        Mean speed in each zone.
    gain
        The second less the first: negative where speed is lost into the board.
    n_timed
        Attempts with two gates or more.
    smallest_change_one_mps, smallest_change_mps
        The least change of the gain that timing alone does not make, between two attempts and
        between these attempts and as many others; None without a gain.
    probability_large_loss, large_loss_mps
        How likely more than that is lost on average, and what counts as much: the limit of the
        advice on the number of steps.
    """

    speed_11_6: MeanSpeed | NotEnoughAttempts
    speed_6_1: MeanSpeed | NotEnoughAttempts
    gain: BoardGain | NotEnoughAttempts
    n_timed: int
    smallest_change_one_mps: float | None
    smallest_change_mps: float | None
    probability_large_loss: float | None
    large_loss_mps: float


def work_out(run_ups: RunUps) -> Speed:
    """Return the speeds of both zones and what is between them."""
    zones = gate_speeds.zone_speeds(run_ups.gate_at_m, run_ups.gate_time_s)
    session = run_ups.session_labels
    gain = board_gain.mean_gain(zones, session=session)
    one = several = loss = None
    if isinstance(gain, BoardGain):
        one = float(gate_speeds.smallest_change(gain.clock_sd_mps))
        several = float(gate_speeds.smallest_change(gain.clock_sd_mps, n=gain.n))
        loss = board_gain.probability_of_loss(gain, more_than_mps=DEFAULT_SETTINGS.lost_mps)
    known = ~np.isnan(run_ups.gate_at_m) & ~np.isnan(run_ups.gate_time_s)
    return Speed(
        speed_11_6=board_gain.mean_speed(
            zones.speed_11_6_mps,
            timing_sd_mps=zones.speed_11_6_sd_mps,
            measured=zones.measured_11_6,
            session=session,
        ),
        speed_6_1=board_gain.mean_speed(
            zones.speed_6_1_mps,
            timing_sd_mps=zones.speed_6_1_sd_mps,
            measured=zones.measured_6_1,
            session=session,
        ),
        gain=gain,
        n_timed=int(np.count_nonzero(np.count_nonzero(known, axis=1) >= 2)),
        smallest_change_one_mps=one,
        smallest_change_mps=several,
        probability_large_loss=loss,
        large_loss_mps=DEFAULT_SETTINGS.lost_mps,
    )


def tell(found: Speed) -> Told:
    """Say how fast the last metres are, and what happens to speed before the board."""
    gain = found.gain
    if isinstance(gain, NotEnoughAttempts):
        return told.not_enough(
            gain,
            what=_("with the times at 11, 6 and 1 m before the line"),
            would_change=(
                _(
                    "Timing gates at 11, 6 and 1 m before the take-off line, or so close around "
                    "these places that the time there can be told."
                ),
            ),
        )
    return Told(
        text=f"{_speeds(gain)} {_what_happens(gain)}",
        reasons=tuple(_reasons(found, gain)),
        would_change=tuple(_would_change(found, gain)),
        # Who hears of lost speed will want to run faster.
        caution=told.caution(),
    )


def mps(value: float, decimals: int = 2) -> str:
    """Return a speed."""
    return _("{number} m/s").format(number=words.number(value, decimals))


def _speeds(gain: BoardGain) -> str:
    return _(
        "From 11 to 6 m before the line the speed is {first}, from 6 to 1 m it is {second}, on "
        "the mean of {attempts}."
    ).format(
        first=mps(gain.speed_11_6_mps),
        second=mps(gain.speed_6_1_mps),
        attempts=words.attempts(gain.n),
    )


def _what_happens(gain: BoardGain) -> str:
    size = mps(abs(gain.gain_mps))
    if gain.answer is GainAnswer.LOSES:
        return _("Speed is lost into the board: {size}.").format(size=size)
    if gain.answer is GainAnswer.GAINS:
        return _("Speed is still gained into the board: {size}.").format(size=size)
    return _(
        "Whether speed is gained or lost into the board is not shown: the difference may lie "
        "anywhere between {low} and {high}."
    ).format(low=_signed(gain.gain_interval.low), high=_signed(gain.gain_interval.high))


def _signed(value_mps: float) -> str:
    size = mps(abs(value_mps))
    if value_mps < 0:
        return _("{size} lost").format(size=size)
    return _("{size} gained").format(size=size)


def _reasons(found: Speed, gain: BoardGain) -> list[Reason]:
    reasons = [_gain_reason(gain)]
    if found.probability_large_loss is not None:
        reasons.append(
            Reason(
                code="large_loss",
                numbers={
                    "probability": found.probability_large_loss,
                    "limit_mps": found.large_loss_mps,
                },
                text=_(
                    "That more than {limit} is lost on the mean has a chance of {chance}."
                ).format(
                    limit=mps(found.large_loss_mps, 1),
                    chance=words.percent(found.probability_large_loss),
                ),
            )
        )
    if found.smallest_change_one_mps is not None and found.smallest_change_mps is not None:
        reasons.append(
            Reason(
                code="timing",
                numbers={
                    "n": gain.n,
                    "clock_sd_mps": gain.clock_sd_mps,
                    "own_sd_mps": gain.own_sd_mps,
                    "smallest_change_one_mps": found.smallest_change_one_mps,
                    "smallest_change_mps": found.smallest_change_mps,
                },
                text=_(
                    "The clock leaves this open: between two attempts a difference below {one} may "
                    "be timing alone, between the means of {n} and {n} attempts below {several}."
                ).format(
                    one=mps(found.smallest_change_one_mps),
                    several=mps(found.smallest_change_mps),
                    n=words.number(gain.n),
                ),
            )
        )
    return reasons


def _gain_reason(gain: BoardGain) -> Reason:
    where = (
        _("in sessions like these {sessions}")
        if gain.over_sessions
        else _("in these {sessions} alone, for others may differ")
    ).format(sessions=words.sessions(gain.n_sessions))
    return Reason(
        code="gain",
        numbers={
            "n": gain.n,
            "n_sessions": gain.n_sessions,
            "n_measured": gain.n_measured,
            "mean_mps": gain.gain_mps,
            "low_mps": gain.gain_interval.low,
            "high_mps": gain.gain_interval.high,
            "level": gain.gain_interval.level,
        },
        text=_(
            "From {attempts}: the mean difference lies between {low} and {high}, {where}."
        ).format(
            attempts=words.attempts(gain.n),
            low=_signed(gain.gain_interval.low),
            high=_signed(gain.gain_interval.high),
            where=where,
        ),
    )


def _would_change(found: Speed, gain: BoardGain) -> list[str]:
    changes = []
    if gain.n_measured < gain.n:
        changes.append(
            _(
                "Gates that stand at 11, 6 and 1 m: in {n} of {total} attempts a time there had to "
                "be read between gates."
            ).format(n=words.number(gain.n - gain.n_measured), total=words.number(gain.n))
        )
    if not gain.over_sessions:
        changes.append(
            _("Attempts of three sessions or more: gates are set up anew for each of them.")
        )
    if gain.answer is GainAnswer.NOT_SHOWN:
        changes.append(
            _("More timed attempts, or a finer clock: one that rounds to hundredths was assumed.")
        )
    if found.n_timed > gain.n:
        changes.append(
            _("{n} more timed attempts had no gates near enough to these places.").format(
                n=words.number(found.n_timed - gain.n)
            )
        )
    return changes
