"""Where does steering begin, and what does each step take back?"""

from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _

from analytics.answers import told, words
from analytics.answers.told import Reason, Told
from analytics.core import needed_made, spread
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.needed_made import NeededMade
from analytics.core.spread import FootfallSpread, Onset
from analytics.selectors import Marks, RunUps

RESAMPLES = 200
# Equal attempts give equal answers.
_SEED = 20


@dataclass(frozen=True, slots=True, eq=False)
class Steering:
    """The figures of the answer.

    Attributes
    ----------
    reading_sd_m
        SD of the reading error of one footfall that the gains were corrected for.
    """

    spread: FootfallSpread | NotEnoughAttempts
    needed_and_made: NeededMade | NotEnoughAttempts
    reading_sd_m: float


def work_out(run_ups: RunUps, *, reading_sd_m: float = 0.0) -> Steering:
    """Return the spread of the footfalls with the onset of steering, and the gain of each step."""
    return Steering(
        spread=spread.footfall_spread(
            run_ups.toe_m,
            run_ups.no_jump,
            rng=np.random.default_rng(_SEED),
            session=run_ups.session_labels,
            revision=run_ups.revisions,
            phase_starts=phase_starts_of(run_ups.latest_marks()),
            n_resamples=RESAMPLES,
        ),
        needed_and_made=needed_made.needed_and_made(
            run_ups.toe_m, measurement_sd_m=reading_sd_m, revision=run_ups.revisions
        ),
        reading_sd_m=reading_sd_m,
    )


def phase_starts_of(marks: Marks | None) -> spread.PhaseStarts | None:
    """Return where the phases begin, if the plan says so."""
    if marks is None or not marks.transition_footfall or not marks.attack_footfall:
        return None
    return spread.PhaseStarts(marks.transition_footfall, marks.attack_footfall)


def tell(found: Steering) -> Told:
    """Say where steering begins and which step corrects most."""
    if isinstance(found.spread, NotEnoughAttempts):
        return told.not_enough(
            found.spread, what=_("with a measured take-off toe and footfalls before it")
        )
    onset = found.spread.onset
    sentences = [_none_shown(found.spread) if onset is None else _begins(found.spread, onset)]
    if onset is not None and not isinstance(found.needed_and_made, NotEnoughAttempts):
        sentences += _strongest_step(found.needed_and_made, onset)
    return Told(
        text=" ".join(sentences),
        reasons=tuple(_reasons(found.spread)),
        would_change=tuple(_would_change(found.spread)),
    )


def _begins(found: FootfallSpread, onset: Onset) -> str:
    begins = _(
        "Steering begins {steps} before take-off, about {distance} from the line: from there on "
        "the steps are changed so that the foot finds the board. The footfalls spread by {far} "
        "there and by {near} at the board."
    ).format(
        steps=words.steps(onset.footfall),
        distance=words.metres(onset.distance_m),
        far=words.centimetres(float(found.sd_m[onset.footfall])),
        near=words.centimetres(float(found.sd_m[0])),
    )
    if not onset.is_late:
        return begins
    late = _("That is late: nearly all of the correcting is left to the last two steps.")
    return f"{begins} {late}"


def _none_shown(found: FootfallSpread) -> str:
    if found.largest_at == 0:
        return _(
            "These attempts do not show where steering begins: nowhere do the footfalls spread "
            "more than at the board ({near}). It does not mean that nobody steers."
        ).format(near=words.centimetres(float(found.sd_m[0])))
    return _(
        "These attempts do not show where steering begins. The footfalls spread most ({far}) "
        "{steps} before take-off, and by {near} at the board; that is not clearly less. It does "
        "not mean that nobody steers."
    ).format(
        steps=words.steps(found.largest_at),
        far=words.centimetres(float(found.sd_m[found.largest_at])),
        near=words.centimetres(float(found.sd_m[0])),
    )


def _strongest_step(found: NeededMade, onset: Onset) -> list[str]:
    """Name the step that takes most back, if it is shown to take anything back."""
    gain, low = found.gain[: onset.footfall], found.gain_low[: onset.footfall]
    shown = np.flatnonzero(low > 0)
    if not shown.size:
        return []
    place = int(shown[np.argmax(gain[shown])])
    step = (
        _("The last step")
        if place == 0
        else _("Step {number} (the last one is step 1)").format(number=place + 1)
    )
    return [
        _("{step} corrects most: it takes back {share} of what is off.").format(
            step=step, share=words.percent(min(float(gain[place]), 1.0))
        )
    ]


def _reasons(found: FootfallSpread) -> list[Reason]:
    reasons = []
    if found.fall_p_value is not None:
        reasons.append(
            Reason(
                code="fall_of_spread",
                numbers={
                    "largest_at": found.largest_at,
                    "largest_sd_m": float(found.sd_m[found.largest_at]),
                    "board_sd_m": float(found.sd_m[0]),
                    "p_value": found.fall_p_value,
                    "limit": spread.SHOWN_BELOW_P,
                },
                text=_(
                    "If the spread did not fall toward the board, a fall like this one would come "
                    "by chance in {chance} of cases; below {limit} it counts as shown."
                ).format(
                    chance=words.percent(found.fall_p_value),
                    limit=words.percent(spread.SHOWN_BELOW_P),
                ),
            )
        )
    if found.onset is not None:
        near = found.onset_frequency[found.onset.footfall - 1 : found.onset.footfall + 2]
        share = float(np.nansum(near))
        reasons.append(
            Reason(
                code="place_of_onset",
                numbers={"footfall": found.onset.footfall, "within_one_footfall": share},
                text=_(
                    "Drawn again and again from these attempts, the place comes out within one "
                    "step of here in {share} of cases."
                ).format(share=words.percent(min(share, 1.0))),
            )
        )
    return reasons


def _would_change(found: FootfallSpread) -> list[str]:
    changes = [_("More attempts with all footfalls measured: they make the place surer.")]
    if found.onset is None:
        changes.append(
            _("A spread at the board that is clearly smaller than the spread before it.")
        )
    return changes
