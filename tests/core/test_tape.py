"""Feet, inches and shoe lengths: against their definitions, by properties."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.core import tape

ON_A_RUNWAY = st.floats(0, 60)


class TestFeetAndInches:
    @pytest.mark.parametrize(
        ("distance_m", "said"),
        [
            # 1 ft = 0.3048 m and 1 in = 0.0254 m exactly, 1959.
            (0.0, "0 ft 0 in"),
            (0.9144, "3 ft 0 in"),
            (1.22, "4 ft 0 in"),
            (40.0, "131 ft 2 3/4 in"),
            (0.3047, "1 ft 0 in"),
        ],
    )
    def test_by_definition(self, distance_m: float, said: str):
        assert str(tape.feet_and_inches(distance_m)) == said

    @given(distance_m=ON_A_RUNWAY)
    def test_leads_back_to_within_an_eighth_of_an_inch(self, distance_m: float):
        found = tape.feet_and_inches(distance_m)

        assert 0 <= found.inches < 12
        assert (found.inches * 4).denominator == 1
        back = found.feet * 0.3048 + float(found.inches) * 0.0254
        assert back == pytest.approx(distance_m, abs=0.0254 / 8 + 1e-12)

    def test_of_a_part_names_the_fraction(self):
        assert tape.feet_and_inches(0.3048 + 0.0254 / 2).inches == Fraction(1, 2)


class TestShoeLengths:
    @given(distance_m=ON_A_RUNWAY, shoe=st.floats(0.15, 0.40))
    def test_are_within_a_quarter_of_a_shoe(self, distance_m: float, shoe: float):
        found = tape.shoe_lengths(distance_m, shoe_length_m=shoe)

        assert found * 2 == int(found * 2)
        assert found * shoe == pytest.approx(distance_m, abs=shoe / 4 + 1e-9)

    @pytest.mark.parametrize("shoe", [0.0, -0.3, float("nan"), float("inf")])
    def test_of_no_shoe_are_refused(self, shoe: float):
        with pytest.raises(ValueError, match="shoe_length_m"):
            tape.shoe_lengths(10.0, shoe_length_m=shoe)


@pytest.mark.parametrize("distance_m", [-0.01, float("nan"), float("inf")])
def test_no_distance_is_refused(distance_m: float):
    with pytest.raises(ValueError, match="distance_m"):
        tape.feet_and_inches(distance_m)
    with pytest.raises(ValueError, match="distance_m"):
        tape.shoe_lengths(distance_m, shoe_length_m=0.3)
