"""Set sheets of paper: content goes in as data, a PDF comes out.

The templates in `sheets/` never see markup from outside: the content is JSON that they read, so a
name is printed as it is written, whatever signs are in it.
"""

import json
import re
import threading
from dataclasses import asdict
from enum import StrEnum
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import typst
from django.utils.translation import gettext as _
from matplotlib.ft2font import FT2Font

from analytics.cards.sheet import Sheet

_SHEETS = Path(__file__).parent / "sheets"


class Paper(StrEnum):
    """What is in the printer."""

    A4 = "a4"
    LETTER = "letter"


# As the typesetter calls them.
_PAPERS = {Paper.A4: "a4", Paper.LETTER: "us-letter"}
# Tagged, with a title, a language and a text for each drawing, or the typesetter refuses: PDF/UA-1
# (ISO 14289-1).
_STANDARD = ["ua-1"]
_DOTS_PER_INCH = 110
# The signs that no text in a PDF/UA-1 may hold. A name that was kept long ago can begin with the
# first of them, a byte order mark, which nobody sees.
_NEVER_SET = dict.fromkeys((0xFEFF, 0xFFFE))
_FACES = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")
_STANDS_IN = "?"


class _Template:
    """A template with a typesetter that knows it: set again, it takes a few milliseconds.

    A typesetter serves one thread at a time.
    """

    def __init__(self, name: str) -> None:
        self._lock = threading.Lock()
        self._typesetter = typst.Compiler(
            input=str(_SHEETS / f"{name}.typ"),
            root=str(_SHEETS),
            font_paths=[str(_fonts())],
            ignore_system_fonts=True,  # a sheet looks the same wherever it is set
        )

    def set(self, sheet: Sheet, paper: Paper, **options: Any) -> bytes:
        content = json.dumps(asdict(sheet) | {"paper": _PAPERS[paper]}, ensure_ascii=False)
        given = {"content": _printable(content.translate(_NEVER_SET))}
        with self._lock:
            made = self._typesetter.compile(sys_inputs=given, **options)
        # Each page of a PNG is a file of its own; a PDF is one.
        first = made[0] if isinstance(made, list) else made
        if first is None:
            raise ValueError("The typesetter wrote its output somewhere else.")
        return first


def _printable(content: str) -> str:
    """Return content with a question mark for what the typeface does not have, and say so.

    The typesetter would draw empty boxes, without a word.
    """
    kept, n_gone = _unprintable().subn(_STANDS_IN, content)
    if not n_gone:
        return content
    filled = json.loads(kept)
    note = _("What stands as ? cannot be printed in this typeface: go by the code.")
    filled["basis"] = f"{filled['basis']} {note}"
    return json.dumps(filled, ensure_ascii=False)


@cache
def _unprintable() -> re.Pattern[str]:
    """Return what finds signs, one or several in a row, that one of the faces lacks."""
    faces = [set(FT2Font(str(_fonts() / face)).get_charmap()) for face in _FACES]
    shown = "".join(re.escape(chr(code)) for code in sorted(set.intersection(*faces)))
    return re.compile(f"[^{shown}\\x00-\\x1f]+")


@cache
def _template(name: str) -> _Template:
    return _Template(name)


def _fonts() -> Path:
    """Return the folder of the typeface: it comes with a library that draws."""
    found = find_spec("matplotlib")
    if found is None or not found.submodule_search_locations:
        raise FileNotFoundError("The typeface DejaVu Sans comes with matplotlib; install it.")
    return Path(found.submodule_search_locations[0]) / "mpl-data" / "fonts" / "ttf"


def print_sheet(sheet: Sheet, *, paper: Paper) -> bytes:
    """Return a sheet as a PDF."""
    return _template(sheet.template).set(sheet, paper, format="pdf", pdf_standards=_STANDARD)


def picture_sheet(sheet: Sheet, *, paper: Paper) -> bytes:
    """Return the first page of a sheet as a PNG, clear enough for a phone."""
    return _template(sheet.template).set(sheet, paper, format="png", ppi=_DOTS_PER_INCH)
