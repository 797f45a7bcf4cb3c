"""A distance along the runway, as a coach without a metric tape lays it out."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

INCH_M = 0.0254
"""Exact by the international agreement of 1959 (NIST SP 811, from memory)."""


@dataclass(frozen=True, slots=True)
class FeetAndInches:
    """A distance in feet and inches, to the nearest quarter of an inch.

    Attributes
    ----------
    feet
        Whole feet, 0 or more.
    inches
        From 0 to less than 12, in quarters.
    """

    feet: int
    inches: Fraction

    def __str__(self) -> str:
        whole, part = divmod(self.inches, 1)
        return f"{self.feet} ft {whole}{f' {part}' if part else ''} in"


def feet_and_inches(distance_m: float) -> FeetAndInches:
    """Return a distance in feet and inches, to the nearest quarter of an inch.

    Parameters
    ----------
    distance_m
        Metres, finite and 0 or more.

    Raises
    ------
    ValueError
        A distance below 0 or not finite.

    Notes
    -----
    A quarter of an inch is 6 mm: as fine as a mark beside a runway is laid.

    Examples
    --------
    >>> str(feet_and_inches(34.20)), str(feet_and_inches(0.3048))
    ('112 ft 2 1/2 in', '1 ft 0 in')
    """
    _check(distance_m)
    quarters = round(distance_m / (INCH_M / 4))
    feet, left = divmod(quarters, 48)
    return FeetAndInches(feet=feet, inches=Fraction(left, 4))


def shoe_lengths(distance_m: float, *, shoe_length_m: float) -> float:
    """Return a distance in the athlete's shoe lengths, to the nearest half.

    Parameters
    ----------
    distance_m
        Metres, finite and 0 or more.
    shoe_length_m
        Heel to toe of the shoe that the athlete paces with, metres, above 0.

    Raises
    ------
    ValueError
        A distance below 0, a shoe without length, or either not finite.

    Examples
    --------
    >>> shoe_lengths(34.20, shoe_length_m=0.295)
    116.0
    """
    _check(distance_m)
    if not 0 < shoe_length_m < float("inf"):
        raise ValueError(f"shoe_length_m must be above 0 and finite, got {shoe_length_m}")
    return round(2 * distance_m / shoe_length_m) / 2


def _check(distance_m: float) -> None:
    if not 0 <= distance_m < float("inf"):
        raise ValueError(f"distance_m must be finite and 0 or more, got {distance_m}")
