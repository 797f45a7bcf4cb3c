"""What the answers of whoever runs past gates have in common."""

import jsonschema  # type: ignore[import-untyped]  # no stubs among the pins
import pytest

from tests.api.conftest import World
from tests.api.gated import GatedSeason
from tests.contract.openapi import find_operation, read_schema


@pytest.mark.parametrize("what", ["speed", "wind-table", "length-advice", "length-study"])
class TestEveryAnswer:
    def test_is_what_the_schema_says(
        self, world: World, gated_season: GatedSeason, fresh_gated: GatedSeason, what: str
    ):
        described = find_operation("GET", "approaches/{approach_id}/" + what)
        assert described is not None
        schema = described.described["responses"]["200"]["content"]["application/json"]["schema"]

        for asked, n in ((gated_season, 24), (fresh_gated, 0)):
            answer = world.as_("admin").get(f"{asked.path}/{what}").json()
            jsonschema.validate(answer, {**read_schema(), **schema})
            assert answer["n"] == n
            assert (answer["through_attempt"] is None) == (n == 0)

    def test_is_the_same_until_an_attempt_comes(
        self, world: World, gated_season: GatedSeason, what: str
    ):
        admin, path = world.as_("admin"), f"{gated_season.path}/{what}"
        first = admin.get(path)
        same = admin.get(path, **{"If-None-Match": first["ETag"]})
        gated_season.add([1], seed=9)
        changed = admin.get(path, **{"If-None-Match": first["ETag"]})

        assert (same.status_code, changed.status_code, changed.json()["n"]) == (304, 200, 25)


@pytest.mark.parametrize("what", ["length-advice", "length-study"])
def test_answers_on_length_take_no_options(world: World, gated_season: GatedSeason, what: str):
    answer = world.as_("admin").get(f"{gated_season.path}/{what}?finish=run_through")

    assert answer.status_code == 400
