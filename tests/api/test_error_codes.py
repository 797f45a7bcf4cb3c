"""Every code in the source is documented, and every documented code exists."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from django.urls import get_resolver

from approaches.services import checking, readings
from common.api import errors, problems  # noqa: F401  # their classes must exist to be found
from common.errors import DomainError

ROOT = Path(__file__).parent.parent.parent
PAGE = (ROOT / "docs" / "api" / "errors.md").read_text()
APPS = ("common", "clubs", "athletes", "approaches", "analytics")

# Codes that the REST framework gives for fields; they are in its source, not in ours.
OF_FRAMEWORK = {
    "invalid",
    "invalid_choice",
    "null",
    "blank",
    "min_value",
    "max_value",
    "min_length",
    "max_length",
    "not_a_list",
    "not_a_dict",
    "empty",
    "null_characters_not_allowed",
    "surrogate_characters_not_allowed",
    "max_string_length",
    "make_aware",
    "date",
    "datetime",
    "overflow",
    "required",
}


def documented() -> set[str]:
    rows = [line for line in PAGE.splitlines() if line.startswith("| `")]
    return {code for row in rows for code in re.findall(r"`([a-z0-9_]+)`", row.split("|")[1])}


def in_source() -> set[str]:
    get_resolver().url_patterns  # noqa: B018  # which loads every view, and with it every refusal
    codes = {each.code for each in _subclasses(DomainError)} | {DomainError.code}
    codes |= set(checking.RULES) | {code for _, code in readings._CODES}
    for app in APPS:
        for path in (ROOT / app).rglob("*.py"):
            codes |= set(_fault_codes(ast.parse(path.read_text())))
    return codes


def _subclasses(of: type[DomainError]) -> Iterator[type[DomainError]]:
    for each in of.__subclasses__():
        yield each
        yield from _subclasses(each)


def _fault_codes(tree: ast.AST) -> Iterator[str]:
    """Return the codes in `Fault(pointer, code, ...)`, `ErrorDetail(text, code)`, `fail(code)`."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            place = {"Fault": 1, "ErrorDetail": 1, "fail": 0}.get(name)
            if place is not None and len(node.args) > place:
                code = node.args[place]
                if isinstance(code, ast.Constant) and isinstance(code.value, str):
                    yield code.value


def test_every_code_of_the_source_is_documented():
    assert in_source() - documented() == set()


def test_every_documented_code_exists():
    assert documented() - in_source() - OF_FRAMEWORK == set()
