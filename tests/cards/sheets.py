"""Cards for tests, without a database, and what is read from their pages and sheets."""

import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import asdict, replace
from datetime import UTC, datetime
from functools import cache
from html.parser import HTMLParser
from typing import Any
from zoneinfo import ZoneInfo

from pypdf import PdfReader

from analytics.cards import approach_card
from analytics.cards.approach_card import Card
from analytics.core.simulator import Athlete
from analytics.selectors import CheckMark, Marks, Title
from tests.answers.run_ups import marks_of, simulated

VIENNA = ZoneInfo("Europe/Vienna")
STEADY = Athlete(unmeasured_no_jump_share=0.3)
LONG = replace(STEADY, n_steps=22)
# As long as a record takes them, with every letter as wide as can be.
LONGEST = {"given_name": "Bartholomäus-Wołodymyr " + "W" * 57, "family_name": "M" * 80}
# Texts that a reader of the page hears, and that the sheet holds as texts for its drawings.
SPOKEN = {"strip", "last_steps_drawing"}


def make_title(**fields: Any) -> Title:
    return Title(
        **{
            "athlete_code": "A-04",
            "given_name": "Mira",
            "family_name": "Ostwiek",
            "take_off_foot": "left",
            "approach_code": "LJ-16",
            "event": "long_jump",
            "start_style": "standing",
            "steps": 16,
            "valid_from": datetime(2026, 8, 11, 22, tzinfo=UTC),
            **fields,
        }
    )


def make_card(
    athlete: Athlete = STEADY,
    sessions: Sequence[int] = (6,) * 4,
    title: Title | None = None,
    **of_run_ups: Any,
) -> Card:
    run_ups = simulated(athlete, sessions, seed=2, **({"shoe_length_m": 0.258} | of_run_ups))
    return approach_card.fill_in(
        title or make_title(steps=athlete.n_steps),
        run_ups,
        approach_card.work_out(run_ups),
        zone=VIENNA,
    )


@cache
def usual_card() -> Card:
    """Return the card of 24 attempts; the same one each time."""
    return make_card()


def full_marks() -> Marks:
    """Return a plan of 22 steps with as many check marks as anybody lays."""
    marks = marks_of(LONG)
    assert marks.toe_m is not None
    toe_m = marks.toe_m.tolist()
    return replace(
        marks,
        check_marks=tuple(CheckMark(k, toe_m[k]) for k in (2, 4, 6, 8, 10, 13, 17, 20)),
    )


def full_card() -> Card:
    """Return the card with the most on it."""
    codes = {"athlete_code": "A" * 32, "approach_code": "LJ-22" + "-W" * 13}
    return make_card(LONG, title=make_title(**LONGEST, **codes, steps=22), marks=full_marks())


def texts_of(sheet: Any) -> list[str]:
    """Return every text of a card, but for the words that steer how it looks."""
    return [text for text in _walk(asdict(sheet)) if text]


def _walk(part: Any, name: str = "") -> Iterator[str]:
    if isinstance(part, dict):
        for key, inner in part.items():
            if key not in {"look", "lang", "title"} | SPOKEN:
                yield from _walk(inner, key)
    elif isinstance(part, (list, tuple)):
        for inner in part:
            yield from _walk(inner, name)
    elif isinstance(part, str):
        yield part


def squeezed(text: str) -> str:
    """Return a text without its spaces: where a line breaks is nobody's business."""
    return re.sub(r"\s", "", text)


def pdf_of(made: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(made))


def text_of_pdf(made: bytes) -> str:
    return "\n".join(page.extract_text() for page in pdf_of(made).pages)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.said: list[str] = []
        self._is_head = False

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self._is_head = tag in {"style", "title"}

    def handle_endtag(self, tag: str) -> None:
        self._is_head = False

    def handle_data(self, data: str) -> None:
        if not self._is_head:
            self.said.append(data)


def text_of_page(page: str) -> str:
    reader = _Reader()
    reader.feed(page)
    return " ".join(reader.said)


def sentences_of(part: Any) -> list[str]:
    """Return every `text` of an answer."""
    if isinstance(part, dict):
        own = [part["text"]] if "text" in part else []
        return own + [text for inner in part.values() for text in sentences_of(inner)]
    if isinstance(part, list):
        return [text for inner in part for text in sentences_of(inner)]
    return []
