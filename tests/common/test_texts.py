"""Which signs a text may hold, against the character database that comes with Python."""

import re
import unicodedata

import pytest

from common import texts

# Common knowledge of each script, spelled as its people spell it.
SEEN = {
    "Latin": "Zoë Ångström-O’Brien",
    "combining marks": "Zoë Åse",
    "Vietnamese": "Nguyễn Thị Hương",
    "Arabic": "محمد علي",
    "Hebrew with points": "שָׂרָה",
    "Thai": "สมชาย ใจดี",
    "Hangul": "김민지",
    "kanji with a variant": "葛\U000e0100城",
    # UAX 31, section 2.3: A1, between letters that would join else; as in many Persian names.
    "Persian, not joined": "می\u200cخواهم",
    # A2 and B, after a virama: Malayalam and Sinhala.
    "Malayalam, not joined": "കാന\u0d4d\u200cവാസ്",
    "Sinhala, joined": "ශ\u0dca\u200dරී",
    # UTS 51: an emoji of several.
    "emoji": "Well done \U0001f3c3\U0001f3fd\u200d\u2640\ufe0f \U0001f469\u200d\U0001f52c",
    "spaces": "a\u00a0b\u3000c",
}
UNSEEN = {
    "turned round": ("Ida\u202emloH", "U+202E RIGHT-TO-LEFT OVERRIDE"),
    "isolated": ("\u2066Ida", "U+2066 LEFT-TO-RIGHT ISOLATE"),
    "zero width space": ("I\u200bda", "U+200B ZERO WIDTH SPACE"),
    "soft hyphen": ("I\u00adda", "U+00AD SOFT HYPHEN"),
    "byte order mark": ("\ufeffIda", "U+FEFF ZERO WIDTH NO-BREAK SPACE"),
    "blank letter": ("\u3164", "U+3164 HANGUL FILLER"),
    "tag": ("Ida\U000e0041", "U+E0041 TAG LATIN CAPITAL LETTER A"),
    "private use": ("\ue000", "U+E000"),
    "no character": ("Ida\U0001ffff", "U+1FFFF"),
    "line separator": ("Ida\u2028", "U+2028 LINE SEPARATOR"),
    "C1 control": ("Ida\u0085", "U+0085"),
    "NUL": ("I\0da", "U+0000"),
    "joiner in Latin": ("I\u200dda", "U+200D ZERO WIDTH JOINER"),
    "non-joiner in Latin": ("I\u200cda", "U+200C ZERO WIDTH NON-JOINER"),
    "non-joiner at the end": ("علي\u200c", "U+200C ZERO WIDTH NON-JOINER"),
    "joiner between Arabic letters": ("ع\u200dلي", "U+200D ZERO WIDTH JOINER"),
    "joiner at the start": ("\u200d\u2640", "U+200D ZERO WIDTH JOINER"),
    "two joiners": ("ශ\u0dca\u200d\u200dරී", "U+200D ZERO WIDTH JOINER"),
    "variant of nothing": ("\ufe0fIda", "U+FE0F VARIATION SELECTOR-16"),
    "two variants": ("葛\U000e0100\U000e0101", "U+E0101 VARIATION SELECTOR-18"),
}


@pytest.mark.parametrize("text", SEEN.values(), ids=SEEN)
def test_a_name_keeps_what_its_script_needs(text: str):
    assert texts.find_unseen(text) is None
    assert texts.find_unseen(texts.composed(text)) is None
    assert re.fullmatch(texts.ONE_LINE, text)


@pytest.mark.parametrize(("text", "name"), UNSEEN.values(), ids=UNSEEN)
def test_a_sign_that_nobody_sees_is_found_and_named(text: str, name: str):
    found = texts.find_unseen(text)

    assert found is not None
    assert texts.name_of(found) == name


def test_of_all_signs_those_are_refused_whose_category_says_so():
    """Categories: https://www.unicode.org/reports/tr44/#General_Category_Values."""
    joiners, breaks = "\u200c\u200d", "\n\r"
    # The planes between are not in use, and those behind are private.
    for code in (*range(0x32400), *range(0xDFF00, 0xF0010), *range(0xFFFF0, 0x110000, 257)):
        sign = chr(code)
        category = unicodedata.category(sign)
        if category == "Cs" or sign in joiners or sign in breaks:
            continue  # a lone surrogate gets through no door: the body would not be UTF-8
        is_no_character = code & 0xFFFE == 0xFFFE or 0xFDD0 <= code <= 0xFDEF
        is_refused = texts.find_unseen(f"é{sign}b") is not None
        if is_no_character or category in {"Cc", "Cf", "Co", "Zl", "Zp"}:
            assert is_refused, f"U+{code:04X}"
        elif category not in {"Cn", "Mn", "Lo", "So"}:
            assert not is_refused, f"U+{code:04X}"


def test_the_patterns_of_the_schema_say_no_more_than_the_rule():
    """A client that checks by them refuses nothing that the service takes."""
    for code in range(0x10000):
        sign = chr(code)
        if 0xD800 <= code <= 0xDFFF or sign in "\n\r":
            continue
        if not re.fullmatch(texts.ONE_LINE, sign):
            assert texts.find_unseen(f"é{sign}b") is not None, f"U+{code:04X}"


def test_what_is_no_text_of_one_line_does_not_end_in_a_line_break():
    assert re.search(texts.NOT_EMPTY_LINE, "run-1")
    assert not re.search(texts.NOT_EMPTY_LINE, "run-1\n")
    assert not re.search(texts.NOT_EMPTY_LINE, "")
    assert re.search(texts.NOT_EMPTY_LINES, "wet\nand cold\n")
