"""What readers are told in other languages: whole, with the same places, as it was checked in."""

import gettext
import io
import re
import string

import pytest
from django.conf import settings
from django.utils import translation

from config import translating
from config.translating import Message
from tests.answers.pages import EVERY_ANSWER, answer_of

LANGUAGES = [code for code, _name in settings.LANGUAGES if code != settings.LANGUAGE_CODE]
# Words that stand in nearly every English sentence and in no German one.
ENGLISH = frozenset({"the", "of", "is", "are", "from", "to", "at", "and", "that", "with", "by"})
HOW = "run `python -m config.translating`, and translate what it names"


def places_of(text: str) -> set[str]:
    """Return the names of the places that numbers and words are put in."""
    return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}


@pytest.mark.parametrize("language", LANGUAGES)
class TestCatalogue:
    def test_lacks_no_sentence_of_the_code(self, language: str):
        missing = {
            each.id: each.places
            for each in translating.up_to_date(language)
            if not each.is_translated
        }

        assert missing == {}, HOW

    def test_is_as_the_code_has_it_today(self, language: str):
        messages = translating.up_to_date(language)
        path = translating.catalogue_of(language)

        assert path.read_text(encoding="utf-8") == translating.write_po(messages, language), HOW
        assert path.with_suffix(".mo").read_bytes() == translating.compile_mo(messages, language), (
            HOW
        )

    def test_has_the_same_places_in_both_languages(self, language: str):
        other = {}
        for message in translating.up_to_date(language):
            said = (message.id, message.plural or message.id)
            for form, original in zip(message.forms, said, strict=False):
                if places_of(form) != places_of(original):
                    other[message.id] = form

        assert other == {}

    def test_ends_sentences_where_they_end(self, language: str):
        for message in translating.up_to_date(language):
            for form in message.forms:
                assert form.endswith((".", ":")) == message.id.endswith((".", ":")), form
                assert (form[0].isspace(), form[-1].isspace()) == (
                    message.id[0].isspace(),
                    message.id[-1].isspace(),
                ), form

    def test_is_read_by_others_as_it_is_written(self, language: str):
        """The reader of the standard library, which Django uses, is the other implementation."""
        mo = translating.catalogue_of(language).with_suffix(".mo").read_bytes()
        read = gettext.GNUTranslations(io.BytesIO(mo))

        for message in translating.up_to_date(language):
            if message.plural is None:
                assert read.gettext(message.id) == message.forms[0]
            else:
                said = [read.ngettext(message.id, message.plural, n) for n in (1, 0, 2)]
                assert said == [message.forms[0], message.forms[1], message.forms[1]]


class TestFormat:
    MESSAGES = (
        Message("short", None, ("a.py", "b.py"), ("kurz",)),
        Message('a "quote", a \\ and\na line end', None, ("a.py",), ('ein "Zitat"\n\\',)),
        Message("{n} step " * 30, "{n} steps", ("a.py",), ("{n} Schritt", "{n} Schritte")),
        Message("nobody said it yet", None, ("a.py",)),
    )

    def test_is_read_as_it_was_written(self):
        written = translating.write_po(self.MESSAGES, "de")

        read = translating.read_po(written)

        assert list(read) == [each.id for each in self.MESSAGES]
        for message in self.MESSAGES:
            found = read[message.id]
            assert (found.plural, found.places) == (message.plural, message.places)
            assert found.forms == (message.forms or ("",))
            assert found.is_translated is message.is_translated
        assert max(map(len, written.splitlines())) <= 101

    def test_leaves_out_what_nobody_translated(self):
        compiled = translating.compile_mo(self.MESSAGES, "de")

        read = gettext.GNUTranslations(io.BytesIO(compiled))

        assert read.gettext("short") == "kurz"
        assert read.gettext("nobody said it yet") == "nobody said it yet"
        assert b"nobody said it yet" not in compiled

    def test_refuses_what_is_no_catalogue(self):
        with pytest.raises(ValueError, match="no line of a catalogue"):
            translating.read_po('msgid "a"\nmsgstr b')

    def test_finds_what_the_code_marks(self, tmp_path):
        code = tmp_path / "said" / "some.py"
        code.parent.mkdir()
        code.write_text('_("one " "more")\nngettext("{n} a", "{n} b", 2)\nother("no")\n')

        found = translating.find_messages([code.parent])

        assert list(found) == ["one more", "{n} a"]
        assert found["{n} a"].plural == "{n} b"
        assert found["one more"].places == ("said/some.py",)

    def test_refuses_sentences_that_are_put_together(self, tmp_path):
        code = tmp_path / "some.py"
        code.write_text('_(f"one {more}")\n')

        with pytest.raises(ValueError, match=r"some\.py:1: what is translated is one plain string"):
            translating.find_messages([tmp_path])


@pytest.mark.parametrize("name", EVERY_ANSWER)
def test_every_answer_is_told_in_german(name: str):
    question, found = answer_of(name)

    with translation.override("de"):
        said = question.tell(found)

    for text in (said.text, *(each.text for each in said.reasons), *said.would_change):
        words = text.lower().replace(".", " ").replace(",", " ").replace(":", " ").split()
        assert not ENGLISH & set(words), text
        assert not {"{", "}"} & set(text), text
        assert not re.search(r"\d\.\d", text), text
