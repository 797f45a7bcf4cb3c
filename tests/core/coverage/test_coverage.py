"""Intervals cover the truth as often as their kind should, and the page says what was measured."""

import pytest

from tests.core.coverage import page, studies

STUDIES = studies.list_studies()


class TestPage:
    def test_gives_every_figure_of_every_study(self):
        wanted = [(study.name, figure.name) for study in STUDIES for figure in study.figures]

        assert list(page.read()) == wanted

    def test_names_no_study_twice(self):
        names = [study.name for study in STUDIES]

        assert len(set(names)) == len(names)


@pytest.mark.slow
@pytest.mark.parametrize("study", STUDIES, ids=lambda study: study.name)
class TestStudies:
    def test_cover_within_their_band_and_as_the_page_says(self, study: studies.Study):
        written = page.read()

        measured = studies.measure(study)

        for figure, share in zip(study.figures, measured, strict=True):
            assert figure.low <= share <= figure.high, figure.name
            # Another version of a library may round an interval's end to the other side.
            assert share == pytest.approx(written[study.name, figure.name], abs=0.003)
