"""Rows as they come: JSON objects (RFC 8259), and what is none."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from approaches.services import readings
from approaches.services.limits import MAX_ROW_COMMAS
from approaches.services.readings import ATTEMPTS, read_row
from tests.approaches.sent import GOOD, GOOD_LINE


class TestRow:
    @pytest.mark.parametrize(
        ("raw", "pointer", "code"),
        [
            (b'{"wind_mps": NaN}', "", "not_json"),
            (b'{"external_id": "\xff"}', "", "not_utf8"),
            (b'{"external_id": "\\ud800"}', "", "not_json"),
            (b"[" * 100_000, "", "row_too_large"),
            (b"[" * 60_000, "", "wrong_type"),
            (
                GOOD_LINE[:-1] + b', "footfalls": {"toe_m": [0.1, 1e999]}}',
                "/footfalls/toe_m/1",
                "number_out_of_range",
            ),
            (
                GOOD_LINE[:-1] + b', "gates": {"at_m": [null], "time_s": [1]}}',
                "/gates/at_m/0",
                "wrong_type",
            ),
            (GOOD_LINE[:-1] + b', "a/b~c": 1}', "/a~1b~0c", "unknown_field"),
            (GOOD_LINE[:-1] + b', "official_m": "six"}', "/official_m", "not_a_number"),
            # What was sent is repeated in the parser's words, and must not be taken for them.
            (GOOD_LINE[:-1] + b', "outcome": "unknown field"}', "/outcome", "unknown_value"),
            (b"{" + b"," * (MAX_ROW_COMMAS + 1) + b"}", "", "too_many_values"),
            (
                GOOD_LINE[:-1] + b', "footfalls": {"contact": ["toe"]}}',
                "/footfalls/contact/0",
                "unknown_value",
            ),
        ],
    )
    def test_names_what_is_wrong_and_where(self, raw: bytes, pointer: str, code: str):
        fault = read_row(raw, ATTEMPTS).fault

        assert fault is not None
        assert (fault.pointer, fault.code) == (pointer, code)

    @given(st.binary(max_size=200))
    def test_any_bytes_give_a_reading_or_a_fault(self, raw: bytes):
        row = read_row(raw, ATTEMPTS)

        assert (row.reading is None) != (row.fault is None)

    @given(
        st.recursive(
            st.none() | st.booleans() | st.floats() | st.text(),
            lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
            max_leaves=12,
        ),
        st.sampled_from(sorted(readings.Reading.__struct_fields__)),
    )
    def test_any_value_in_any_field_gives_a_reading_or_a_coded_fault(
        self, value: object, field: str
    ):
        row = read_row(json.dumps(GOOD | {field: value}).encode(), ATTEMPTS)

        assert row.fault is None or row.fault.code
