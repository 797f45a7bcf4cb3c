"""What every sheet has in common, be it shown as a page or printed on paper."""

from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet that is filled in: texts as they stand on it, and drawings as whole numbers.

    Attributes
    ----------
    template
        The name that its page and its paper have as templates.
    lang
        The language of its words.
    caution
        What every advice carries.
    """

    template: ClassVar[str]

    title: str
    lang: str
    labels: dict[str, str]
    basis: str
    caution: str
