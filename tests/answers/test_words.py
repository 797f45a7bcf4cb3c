"""Numbers in sentences, and sentences in another language."""

import pkgutil
from importlib import import_module

import pytest
from django.utils import translation

from analytics import answers
from analytics.answers import (
    design,
    length_study,
    next_attempt,
    squad_season,
    told,
    warm_up,
    what_if,
    words,
)
from analytics.core import cautions
from analytics.core.conventions import Interval
from tests.answers.pages import EVERY_ANSWER, QUESTIONS, answer_of, depth_0_of


class TestNumbers:
    @pytest.mark.parametrize(
        ("metres", "said"),
        [(0.123, "12 cm"), (-0.123, "12 cm"), (0.0, "0 cm"), (0.003, "less than 1 cm")],
    )
    def test_are_whole_centimetres(self, metres: float, said: str):
        assert words.centimetres(metres) == said

    @pytest.mark.parametrize(
        ("share", "said"),
        [(0.0, "0%"), (0.001, "under 1%"), (0.234, "23%"), (0.999, "over 99%"), (1.0, "100%")],
    )
    def test_call_nothing_impossible_or_certain_that_is_not(self, share: float, said: str):
        assert words.percent(share) == said

    def test_say_on_which_side(self):
        assert words.place(0.08) == "8 cm behind the line"
        assert words.place(-0.03) == "3 cm beyond the line"
        assert words.error(0.12) == "12 cm short"
        assert words.error(-0.12) == "12 cm too far toward the pit"

    def test_keep_ranges_of_shares_within_all_and_nothing(self):
        assert words.percents(Interval(-0.1, 1.2, 0.95)) == "0% to 100%"

    def test_never_say_minus_nought(self):
        assert words.number(-0.001, 2) == "0.00"

    @pytest.mark.parametrize(("language", "said"), [("en", "34.20 m"), ("de", "34,20 m")])
    def test_have_the_decimal_mark_of_the_reader(self, language: str, said: str):
        with translation.override(language):
            assert words.metres(34.2, 2) == said


@pytest.mark.parametrize("name", EVERY_ANSWER)
class TestEveryAnswer:
    def test_can_be_translated_whole(self, name: str, monkeypatch: pytest.MonkeyPatch):
        """With a language that puts every message in brackets, nothing stands outside of them."""
        active = "django.utils.translation._trans"
        monkeypatch.setattr(f"{active}.gettext", lambda message: f"[{message}]")
        monkeypatch.setattr(
            f"{active}.ngettext", lambda one, many, n: f"[{one if n == 1 else many}]"
        )

        question, found = answer_of(name)
        said = question.tell(found)

        texts = [said.text, *(each.text for each in said.reasons), *said.would_change]
        texts += [] if said.caution is None else [said.caution]
        assert [text for text in texts if depth_0_of(text).strip()] == []

    def test_leaves_no_gap_and_no_odd_number(self, name: str):
        question, found = answer_of(name)
        said = question.tell(found)

        for text in (said.text, *(each.text for each in said.reasons), *said.would_change):
            assert text[0].isupper(), text
            assert text.endswith("."), text
            assert not {"{", "}"} & set(text), text
            for odd in ("nan", "inf", "None", "-0", "  ", ".."):
                assert odd not in text, text

    def test_gives_each_reason_a_number(self, name: str):
        question, found = answer_of(name)

        for reason in question.tell(found).reasons:
            assert reason.numbers, reason.code


def test_every_question_is_among_them():
    """A module that answers a question has both functions; a new one belongs into QUESTIONS."""
    modules = [
        import_module(f"{answers.__name__}.{each.name}")
        for each in pkgutil.iter_modules(answers.__path__)
    ]

    questions = {each for each in modules if hasattr(each, "work_out") and hasattr(each, "tell")}

    # Those of a session, of more than one run-up, of none, and of a worker have tests of their own.
    assert questions == {
        *QUESTIONS,
        design,
        length_study,
        next_attempt,
        squad_season,
        warm_up,
        what_if,
    }


def test_the_caution_is_that_of_every_advice():
    assert told.caution() == cautions.COACH_DECIDES
