"""The present bias at the board, from which the start mark is moved."""

from collections.abc import Callable

import numpy as np

from analytics.core import mark_advice
from analytics.core.mark_advice import Errors, History
from tests.core.coverage.studies import Covered, Figure, Study

SETTINGS = mark_advice.DEFAULT_SETTINGS
PLACE = SETTINGS.board


def present_bias(
    n: int, *, usual: bool, first_sd_m: float
) -> Callable[[np.random.Generator], Covered | None]:
    def once(rng: np.random.Generator) -> Covered | None:
        # The SD of one attempt from what is believed of it: the usual one, with the weight of 4 df.
        df = mark_advice.USUAL_DF
        sd = PLACE.error_m * (1.0 if usual else float(np.sqrt(df / rng.chisquare(df))))
        moves = rng.normal(0, SETTINGS.attempt_share * sd, size=n)
        moves[0] = rng.normal(0, first_sd_m)
        if n > 6:
            moves[6] = rng.normal(0, SETTINGS.session_share * sd)
        bias = np.cumsum(moves)
        found = mark_advice.advise_mark(
            Errors(rng.normal(bias, sd)), History(np.full(n, 34.20), np.arange(n) // 6)
        )
        assert isinstance(found, mark_advice.MarkAdvice)
        return [found.board.interval.low < bias[-1] < found.board.interval.high]

    return once


STUDIES = (
    *(
        Study(
            "mark_advice",
            f"{n} attempts, bias and SD drawn from what is believed of a fresh mark",
            (Figure("present bias", "normal, SD estimated", low, high),),
            present_bias(n, usual=False, first_sd_m=PLACE.first_m),
        )
        for n, low, high in ((2, 0.895, 0.94), (6, 0.915, 0.96), (12, 0.915, 0.96))
    ),
    Study(
        "mark_advice",
        "6 attempts, the usual SD, marks twice as wrong as is believed",
        (Figure("present bias", "normal, not meant for this", 0.79, 0.86),),
        present_bias(6, usual=True, first_sd_m=2 * PLACE.first_m),
    ),
)
