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

    @pytest.mark.parametrize(
        ("field", "sent", "words"),
        [
            ("finish", "long jump", "One of run_through, pop_up, jump is expected."),
            ("phases", ["start"], "One of acceleration, transition, attack is expected."),
            ("official_m", "5,61", "A number is written as 5.61, with a point and without a unit."),
            ("footfalls", {"toe_m": ["0,07"]}, "Expected is a number or null, not a text."),
            ("footfalls", {"toe_m": 0.07}, "Expected is a list or null, not a number."),
            ("start_mark_m", "105 ft", "Expected is a number or null, not a text."),
            ("started_at", "20.11.2026 10:00", "A time is written as 2026-05-02T09:14:07+02:00."),
            (
                "started_at",
                "2026-11-20T10:00:00",
                "The time lacks its offset from UTC: 2026-05-02T09:14:07+02:00 has one.",
            ),
            ("athlete", "", "A text has 1 to 64 characters."),
            (
                "athlete",
                "A\n04",
                "A text has no control characters, and no signs that nobody sees.",
            ),
            ("wind", 1.2, "There is no such field."),
        ],
    )
    def test_says_what_to_write_instead(self, field: str, sent: object, words: str):
        fault = read_row(json.dumps(GOOD | {field: sent}).encode(), ATTEMPTS).fault

        assert fault is not None
        assert fault.detail == words

    def test_says_that_a_field_is_missing(self):
        row = {name: value for name, value in GOOD.items() if name != "started_at"}

        fault = read_row(json.dumps(row).encode(), ATTEMPTS).fault

        assert fault is not None
        assert (fault.pointer, fault.detail) == ("/started_at", "This field is missing.")

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
        # The parser's own words mark names with backticks.
        assert row.fault is None or "`" not in row.fault.detail
