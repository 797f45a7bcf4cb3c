"""Every example of the schema does what it shows."""

import pytest

from tests.contract.openapi import Example, list_operations
from tests.contract.stage import Stage

EXAMPLES = [example for operation in list_operations() for example in operation.examples()]


class TestExamples:
    def test_there_are_some(self):
        assert len(EXAMPLES) >= 12

    @pytest.mark.parametrize("example", EXAMPLES, ids=str)
    def test_is_answered_with_a_success_that_is_documented(self, stage: Stage, example: Example):
        operation = example.operation

        answer = stage.send(operation, token=stage.tokens["admin"], example=example)

        assert answer.status_code in operation.successes, answer.content[:500]
        body = operation.described["responses"][str(answer.status_code)].get("content", {})
        if body:
            assert answer["Content-Type"].partition(";")[0] in body
        if "rows" in (said := answer.json() if body else {}):
            assert said["rows"] == []  # a batch is answered with 200 whatever became of its rows
