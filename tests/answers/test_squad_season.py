"""A squad's season: figures drawn toward the squad, and nobody ranked."""

import numpy as np
import pytest

from analytics.answers import squad_season
from analytics.answers.squad_season import Differs, Line, Usual
from analytics.core import comparing, shrinkage
from analytics.core.comparing import BlockFigures
from analytics.core.conventions import NotEnoughAttempts
from analytics.core.shrinkage import Shrunken
from analytics.services.figures import as_json
from analytics.services.squad_seasons import _figures
from tests.answers.pages import depth_0_of
from tests.answers.run_ups import uuid_of

TOO_FEW = NotEnoughAttempts(n=3, needed=5)


def block(sd_m: float, n: int, *, bias_m: float = 0.02) -> BlockFigures:
    return BlockFigures(
        n=n,
        n_measured=n,
        n_unmeasured_no_jumps=0,
        bias_m=bias_m,
        bias_standard_error_m=sd_m / n**0.5,
        bias_df=n - 1.0,
        sd_m=sd_m,
        df=n - 1.0,
    )


def line(number: int, figures: BlockFigures | NotEnoughAttempts) -> Line:
    return Line(
        athlete=uuid_of(5, number),
        athlete_code=f"A-{number:02}",
        approach_code="LJ-16",
        event="long_jump",
        steps=16,
        n=figures.n,
        n_sessions=4,
        n_competitions=1,
        block=figures,
        on_board=None,
        no_jumps=None,
        spread_shown=None,
        best_m=6.1,
        grown_m=None,
        most_in_session=6,
        most_in_week=12,
    )


def stored_of(*blocks: BlockFigures | NotEnoughAttempts):
    lines = [line(number, each) for number, each in enumerate(blocks, 1)]
    return {
        "from_date": "2025-10-01",
        "to_date": "2026-09-30",
        "n": sum(each.n for each in lines),
        **_figures(squad_season.work_out(lines)),
    }


# A newcomer with few attempts whose spread came out small, among six who are known.
SQUAD = [
    block(0.03, 6, bias_m=0.16),
    *(block(sd, 60) for sd in (0.07, 0.08, 0.09, 0.10, 0.08, 0.09)),
]


class TestDrawing:
    def test_is_that_of_the_core(self):
        """Spreads first: one that came out small by chance would hold a chance bias for certain."""
        found = squad_season.work_out([line(n, each) for n, each in enumerate(SQUAD)])

        sds = shrinkage.shrink_sds([b.sd_m for b in SQUAD], [b.df for b in SQUAD])
        assert isinstance(sds, Shrunken)
        biases = shrinkage.shrink_means(
            [b.bias_m for b in SQUAD], sds.estimate / np.sqrt([b.n for b in SQUAD])
        )
        assert isinstance(biases, Shrunken)
        assert isinstance(found.usual_spread, Usual)
        assert [each.value for each in found.spread if each] == pytest.approx(sds.estimate.tolist())
        assert [each.low for each in found.bias if each] == pytest.approx(biases.low.tolist())
        assert found.usual_spread.squad_value == sds.squad_value

    def test_pulls_the_newcomer_and_leaves_the_known(self):
        stored = stored_of(*SQUAD)

        newcomer, known = stored["results"][0], stored["results"][4]
        assert newcomer["own"]["sd_m"] == 0.03
        assert 0.04 < newcomer["spread_m"]["value"] < 0.08
        assert newcomer["spread_m"]["own_weight"] < known["spread_m"]["own_weight"]
        assert known["spread_m"]["value"] == pytest.approx(0.10, abs=0.01)

    def test_does_not_call_a_newcomer_steadier_than_the_squad(self):
        assert stored_of(*SQUAD)["results"][0]["spread_m"]["differs"] == Differs.NOT_SHOWN.value

    def test_shows_who_truly_differs(self):
        stored = stored_of(*(block(sd, 200) for sd in (0.05, 0.08, 0.08, 0.09, 0.08, 0.16)))

        differs = [each["spread_m"]["differs"] for each in stored["results"]]
        assert (differs[0], differs[-1]) == ("lower", "higher")

    def test_comes_nearer_to_the_truth_than_the_own_figures(self):
        """Of thirty athletes with eight attempts each, whose true spreads are known."""
        rng = np.random.default_rng(1)
        true_m = rng.lognormal(np.log(0.08), 0.2, 30)
        blocks = []
        for each in true_m:
            toe = 0.5 + rng.normal(0, each, 8)
            made = comparing.block_figures(toe, toe < 0)
            assert isinstance(made, BlockFigures)
            blocks.append(made)

        found = squad_season.work_out([line(n, each) for n, each in enumerate(blocks)])

        own = np.log([each.sd_m for each in blocks] / true_m)
        drawn = np.log([each.value for each in found.spread if each] / true_m)
        assert np.mean(drawn**2) < 0.7 * np.mean(own**2)
        covered = [
            each.low <= true <= each.high
            for each, true in zip(found.spread, true_m, strict=True)
            if each
        ]
        assert np.mean(covered) > 0.85

    def test_leaves_out_who_has_too_little_and_who_shows_no_spread(self):
        stored = stored_of(*SQUAD, TOO_FEW, block(0.0, 8))

        few, none = stored["results"][-2:]
        assert (few["own"], few["spread_m"], few["bias_m"]) == (None, None, None)
        assert (none["own"]["sd_m"], none["spread_m"]) == (0.0, None)
        assert stored["usual_spread_m"]["n_athletes"] == 7

    def test_of_four_is_not_done(self):
        stored = stored_of(*SQUAD[:4])

        assert stored["usual_spread_m"]["needed"] == 5
        assert stored["results"][0]["spread_m"] is None
        assert stored["results"][0]["own"]["sd_m"] == 0.03


class TestWords:
    def test_keep_the_order_of_codes_and_say_that_nobody_is_ranked(self):
        said = squad_season.tell(stored_of(*SQUAD))

        assert "no figure ranks them" in said.text
        assert [each.text[:4] for each in said.reasons] == [f"A-{n:02}" for n in range(1, 8)]
        assert said.caution is not None

    def test_say_the_own_figure_beside_the_drawn_one(self):
        said = squad_season.tell(stored_of(*SQUAD))

        assert said.reasons[0].text.endswith("3 cm by the own attempts alone.")
        assert "not shown to be other than usual" in said.reasons[0].text

    def test_say_what_is_too_little(self):
        said = squad_season.tell(stored_of(*SQUAD[:3], TOO_FEW))

        assert "3 of 5 athletes with enough attempts" in said.text
        assert said.reasons[-1].text == "A-04: 3 attempts, too few to tell a spread."

    @pytest.mark.parametrize(
        "blocks",
        [
            SQUAD,
            [*SQUAD[:3], TOO_FEW],
            [block(sd, 200) for sd in (0.05, 0.08, 0.08, 0.09, 0.08, 0.16)],
        ],
    )
    def test_can_be_translated_whole(self, blocks, monkeypatch: pytest.MonkeyPatch):
        active = "django.utils.translation._trans"
        monkeypatch.setattr(f"{active}.gettext", lambda message: f"[{message}]")
        monkeypatch.setattr(
            f"{active}.ngettext", lambda one, many, n: f"[{one if n == 1 else many}]"
        )

        said = squad_season.tell(as_json(stored_of(*blocks)))

        texts = [said.text, *(each.text for each in said.reasons), *said.would_change]
        assert [text for text in texts if depth_0_of(text).strip()] == []
