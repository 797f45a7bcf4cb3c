"""The service does what the schema says, whatever is sent: requests are drawn from the schema.

Half of them keep to it and half break it. Each runs against the prepared club, as its admin, and is
undone. What is drawn is the same in every run; `--slow` draws more.
"""

import copy
from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from django.core import signals
from django.core.handlers.wsgi import WSGIHandler
from django.db import close_old_connections
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.checks import CHECKS, load_all_checks, not_a_server_error
from schemathesis.core.result import Ok
from schemathesis.specs.openapi import checks

from tests.contract.openapi import CHECKED_IN, PREFIX, find_operation, read_schema
from tests.contract.stage import Stage, fill_in, undone

SEED = 20260502
FEW, MANY = 4, 150

CHECKED = [
    not_a_server_error,
    checks.status_code_conformance,
    checks.content_type_conformance,
    checks.response_headers_conformance,
    checks.response_schema_conformance,
    checks.negative_data_rejection,
    checks.missing_required_header,
]
# What the tool could check besides, and why it does not do so here.
NOT_CHECKED = {
    "positive_data_acceptance": "some rules compare fields, which no schema can say; the examples "
    "show what is accepted",
    "unsupported_method": "tests/api/test_methods.py asks every address for every other method",
    "allow_header_conformance": "the same, and OPTIONS beside it",
    "ignored_auth": "tests/api/test_rights.py and test_isolation.py ask with every kind of token",
    "object_level_authorization": "the same",
    "use_after_free": "the requests here are undone one by one",
    "ensure_resource_availability": "the same",
}
# What is left out for one operation, a mode or a check, each with its reason.
_ROWS = "a batch is answered with 200, and counts the rows that break the schema as rejected"
LEFT_OUT = {
    ("GET /api/v1/clubs/{club}/", "negative"): "it takes one text, so nothing can be sent that "
    "breaks the schema",
    ("GET /api/v1/clubs/{club}/alert-rules/", "negative"): "the same",
    ("POST /api/v1/clubs/{club}/attempts/batch/", "negative_data_rejection"): _ROWS,
    ("POST /api/v1/clubs/{club}/gate-runs/batch/", "negative_data_rejection"): _ROWS,
}

SCHEMA = schemathesis.openapi.from_path(str(CHECKED_IN))
SCHEMA.app = WSGIHandler()
# The caller's token is given with each request.
SCHEMA.config.generation.update(with_security_parameters=False)
OPERATIONS = {
    found.ok().label: found.ok() for found in SCHEMA.get_all_operations() if isinstance(found, Ok)
}
CASES = [
    pytest.param(label, mode, id=f"{mode.value} {label}")
    for label in OPERATIONS
    for mode in GenerationMode
    if (label, mode.value) not in LEFT_OUT
]


@pytest.fixture(autouse=True)
def one_connection() -> Iterator[None]:
    """Keep the test's connection over the end of a request, as Django's own test client does."""
    ends = (signals.request_started, signals.request_finished)
    for signal in ends:
        signal.disconnect(close_old_connections)
    yield
    for signal in ends:
        signal.connect(close_old_connections)


def draw_cases(operation: Any, mode: GenerationMode, stage: Stage) -> st.SearchStrategy[Any]:
    """Draw requests, most of them about rows that the club has."""
    known = {"club": stage.club.slug, **{name: str(id_) for name, id_ in stage.ids.items()}}
    named = {each.name for each in operation.path_parameters}
    own = {name: value for name, value in known.items() if name in named}
    cases: st.SearchStrategy[Any] = st.one_of(
        operation.as_strategy(mode, path_parameters=own),
        operation.as_strategy(mode, path_parameters=own),
        operation.as_strategy(mode, path_parameters={"club": stage.club.slug}),
    )
    if mode is GenerationMode.NEGATIVE:
        return cases
    described = find_operation(operation.method.upper(), operation.path.removeprefix(PREFIX))
    examples = [] if described is None else described.examples()
    values = [fill_in(each.value, stage.ids) for each in examples]
    return cases.flatmap(lambda case: st.builds(mix, st.just(case), _parts_of(values)))


def _parts_of(values: list[Any]) -> st.SearchStrategy[dict[str, Any]]:
    """Draw some fields of an example: without them no drawn body gets past the first rule."""
    objects = [value[0] if isinstance(value, list) else value for value in values]
    fields = [value for value in objects if isinstance(value, dict)]
    if not fields:
        return st.just({})
    names = sorted(fields[0])
    return st.sets(st.sampled_from(names) if names else st.nothing()).map(
        lambda chosen: {name: copy.deepcopy(fields[0][name]) for name in chosen}
    )


def mix(case: Any, fields: dict[str, Any]) -> Any:
    """Put the fields of an example into the drawn body, or into each of its items."""
    items = case.body if isinstance(case.body, list) else [case.body]
    for item in items:
        if isinstance(item, dict):
            item.update(fields)
    return case


def check_drawn(stage: Stage, operation: Any, mode: GenerationMode, *, examples: int) -> None:
    headers = {"Authorization": f"Bearer {stage.tokens['admin']}"}
    checked = [each for each in CHECKED if (operation.label, each.__name__) not in LEFT_OUT]

    @seed(SEED)
    @settings(
        max_examples=examples,
        deadline=None,
        database=None,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=draw_cases(operation, mode, stage))
    def check(case: Any) -> None:
        with undone():
            answer = case.call(headers=headers)
        case.validate_response(answer, checks=checked, headers=headers)

    check()


class TestWhatIsChecked:
    def test_is_all_that_can_be_but_for_what_is_listed(self):
        load_all_checks()

        available = {each.__name__ for each in CHECKS.get_all()}

        assert available == {each.__name__ for each in CHECKED} | set(NOT_CHECKED)

    def test_leaves_out_nothing_that_is_gone(self):
        assert {label for label, _ in LEFT_OUT} <= OPERATIONS.keys()
        assert len(OPERATIONS) == sum(len(item) for item in read_schema()["paths"].values())
        print(f"\n{len(OPERATIONS)} operations, sound and broken; left out: {LEFT_OUT}")


@pytest.mark.parametrize(("label", "mode"), CASES)
class TestEveryOperation:
    def test_answers_as_the_schema_says(self, stage: Stage, label: str, mode: GenerationMode):
        check_drawn(stage, OPERATIONS[label], mode, examples=FEW)

    @pytest.mark.slow
    def test_does_so_many_times(self, stage: Stage, label: str, mode: GenerationMode):
        check_drawn(stage, OPERATIONS[label], mode, examples=MANY)
