"""Which signs a text may hold: what a reader can see, and what its script needs.

Signs that nobody sees make two names look like one, and those that turn the direction of writing
show a text otherwise than it is stored (Unicode Technical Report 36, section 2; Unicode Technical
Standard 39). Combining marks stay, and so do the joiners, where UAX 31 (section 2.3, contexts A1,
A2 and B) finds that they carry meaning, and in emoji (UTS 51).
"""

import re
import unicodedata
from itertools import pairwise

# As ranges that Python, PostgreSQL and JSON Schema (ECMA 262) read alike: nothing that lies beyond
# the basic plane. Formats (Cf), other signs that are shown as nothing
# (Default_Ignorable_Code_Point) or as a blank letter, the separators of lines and paragraphs,
# private use and what is no character.
HIDDEN = (
    r"\u00ad\u034f\u0600-\u0605\u061c\u06dd\u070f\u0890\u0891\u08e2\u115f\u1160\u17b4\u17b5\u180e"
    r"\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f\u2800\u3164\ufdd0-\ufdef\ue000-\uf8ff\ufeff"
    r"\uffa0\ufff0-\ufffb\ufffe\uffff"
)
CONTROLS = r"\x00-\x1f\x7f-\x9f"
ONE_LINE = rf"^[^{CONTROLS}{HIDDEN}]*$"
# Searched for by a library, and to Python "$" also stands before a line break at the end.
NOT_EMPTY_LINE = rf"^[^{CONTROLS}{HIDDEN}]+(?!\n)$"
LINES = rf"^[^\x00-\x09\x0b\x0c\x0e-\x1f\x7f-\x9f{HIDDEN}]*$"
NOT_EMPTY_LINES = LINES.replace("*", "+")

_HIDDEN = re.compile(f"[{HIDDEN}]")
_CONTROL = re.compile(r"[\x00-\x09\x0b\x0c\x0e-\x1f\x7f-\x9f]")
_JOINERS = "\u200c\u200d"
_JOINER, _NON_JOINER = "\u200d", "\u200c"
_VARIANTS = re.compile("[\ufe00-\ufe0f\u180b-\u180d\u180f\U000e0100-\U000e01ef]")
_VIRAMA = 9  # the canonical combining class


def find_unseen(text: str) -> str | None:
    """Return the first sign of `text` that it may not hold; None where there is none.

    Line breaks are left to whoever asks: a text of one line has none.
    """
    if text.isascii():
        found = _CONTROL.search(text)
        return None if found is None else found[0]
    for place, sign in enumerate(text):
        if _CONTROL.match(sign) or _is_hidden(sign):
            return sign
        if sign in _JOINERS and not _is_joiner_needed(text, place):
            return sign
    for before, sign in pairwise(f" {text}"):
        # It chooses the look of the sign before it: alone, or one after the other, it is nothing.
        if _VARIANTS.match(sign) and (before.isspace() or _VARIANTS.match(before)):
            return sign
    return None


def name_of(sign: str) -> str:
    """Return how a sign is called that nobody sees.

    >>> name_of("\\u202e")
    'U+202E RIGHT-TO-LEFT OVERRIDE'
    """
    return f"U+{ord(sign):04X} {unicodedata.name(sign, '')}".strip()


def composed(text: str) -> str:
    """Return a text in Unicode's Normalization Form C (UAX 15): one spelling of what looks alike.

    >>> composed("Zoe\\u0308") == "Zo\\u00eb"
    True
    """
    return unicodedata.normalize("NFC", text)


def _is_hidden(sign: str) -> bool:
    if sign <= "\uffff":
        return _HIDDEN.match(sign) is not None
    code = ord(sign)
    if 0xE0100 <= code <= 0xE01EF:
        return False  # variants of ideographs, as in names
    return (
        # Tags, and what is reserved to be shown as nothing; private planes; no characters.
        0xE0000 <= code <= 0xE0FFF
        or code >= 0xF0000
        or code & 0xFFFE == 0xFFFE
        or unicodedata.category(sign) == "Cf"
    )


def _is_joiner_needed(text: str, place: int) -> bool:
    after = text[place + 1 : place + 2]
    before = text[place - 1 : place]
    if not before or not after:
        return False
    if unicodedata.combining(before) == _VIRAMA:
        return _is_letter(after)
    if text[place] == _JOINER:
        # The skin's tone and the choice of a coloured look stand between (UTS 51).
        base = text[:place].rstrip("\ufe0f\U0001f3fb\U0001f3fc\U0001f3fd\U0001f3fe\U0001f3ff")[-1:]
        return _is_picture(base) and _is_picture(after)
    marked = text[:place]
    while marked and unicodedata.category(marked[-1]) == "Mn":
        marked = marked[:-1]
    # Letters of scripts that are written joined, as Persian names are.
    return _is_cursive(marked[-1:]) and _is_cursive(after)


def _is_letter(sign: str) -> bool:
    return unicodedata.category(sign).startswith("L")


def _is_picture(sign: str) -> bool:
    return bool(sign) and (unicodedata.category(sign) == "So" or sign in "\u2640\u2642")


def _is_cursive(sign: str) -> bool:
    # "Arabic letter": Arabic, Syriac and their like.
    return bool(sign) and unicodedata.bidirectional(sign) == "AL" and _is_letter(sign)
