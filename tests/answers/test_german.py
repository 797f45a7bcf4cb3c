"""The German catalogue keeps to its words (docs/operations/german.md), sides and cases."""

import re
from functools import cache

import pytest

from config import translating
from tests.docs.pages import CHECKOUT

PAGE = CHECKOUT / "docs" / "operations" / "german.md"
ROW = re.compile(r"^\| (?P<english>[^|]+) \| (?P<german>[^|]+) \|(?P<never>[^|]*)\|$", re.MULTILINE)
# Said of one and of several, `words` gives "1 Schritt", "12 Schritte": right in the nominative and
# the accusative alone.
UNBENT = (
    "attempts|steps|jumps|run_throughs|early_steps|late_steps|toes|distances|n_before|n_after|"
    "n_first|n_last|acceleration"
)
DATIVE = re.compile(
    rf"\b(?i:ab|aus|bei|mit|nach|seit|von|vor|zu)\s+\{{(?:{UNBENT})\}}(?! [A-ZÄÖÜ])"
)
SIDES = {
    "behind the line": ("vor der Linie",),
    "beyond the line": ("über der Linie",),
    "tail wind": ("Rückenwind",),
    "head wind": ("Gegenwind",),
    "toward the pit": ("zur Grube hin", "näher an der Grube"),
    "nearer the pit": ("näher an der Grube",),
    "from the pit": ("weg von der Grube", "von der Grube weg"),
}


@cache
def said() -> tuple[tuple[str, str], ...]:
    """Return each English sentence with its German one, of one and of several."""
    return tuple(
        pair
        for message in translating.up_to_date("de")
        for pair in zip((message.id, message.plural or message.id), message.forms, strict=False)
    )


def table() -> dict[str, tuple[str, list[str]]]:
    """Return of each English term the German one, and what is not said for it."""
    rows = ROW.findall(PAGE.read_text(encoding="utf-8"))
    return {
        english: (german, [each.strip() for each in never.split(",") if each.strip()])
        for english, german, never in rows[1:]
    }


def test_the_table_is_read():
    words = table()

    assert len(words) > 40
    assert words["start mark"] == ("Ablaufmarke", ["Anlaufmarke", "Startmarke"])


def test_every_word_of_the_table_is_said():
    whole = " ".join(german for _, german in said())

    assert [word for word, _ in table().values() if word.lower() not in whole.lower()] == []


def test_nothing_is_said_that_the_table_rules_out():
    ruled_out = {each for _, never in table().values() for each in never}
    patterns = [re.compile(rf"\b{re.escape(each)}", re.IGNORECASE) for each in ruled_out]

    assert [
        (pattern.pattern, german)
        for _, german in said()
        for pattern in patterns
        if pattern.search(german)
    ] == []


def test_nobody_is_called_sie():
    """Inside of a sentence a capital letter is the only sign of it."""
    polite = re.compile(r"(?<![.:?!] )(?<!^)\b(Sie|Ihnen|Ihr|Ihre[mnrs]?)\b")

    assert [german for _, german in said() if polite.search(german)] == []


@pytest.mark.parametrize("english", SIDES)
def test_each_side_is_the_same_side(english: str):
    pairs = [(one, other) for one, other in said() if english in one.lower()]

    assert pairs
    assert [pair for pair in pairs if not any(word in pair[1] for word in SIDES[english])] == []


def test_no_side_is_said_that_is_not_said_in_english():
    for english, german in said():
        if "über der Linie" in german:
            assert "beyond" in english, german
        if "näher an der Grube" in german:
            assert re.search(r"nearer|toward the pit", english), german


def test_no_phrase_stands_where_it_would_have_to_bend():
    assert [german for _, german in said() if DATIVE.search(german)] == []


@pytest.mark.parametrize("wrong", ["Aus {attempts} in {sessions}", "nach {steps}, dann"])
def test_such_a_place_would_be_found(wrong: str):
    assert DATIVE.search(wrong)


def test_the_caution_ends_the_session_and_leaves_it_to_who_is_there():
    (caution,) = [german for english, german in said() if "lightning" in english]

    for word in ("Schmerzen", "Wachstumsschub", "nasser", "unebener", "Grube", "Gewitter"):
        assert word in caution
    assert "wird die Einheit beendet" in caution
    assert caution.startswith("Es entscheidet, wer als Trainerin oder Trainer vor Ort ist.")
    assert "gehen vor" in caution
