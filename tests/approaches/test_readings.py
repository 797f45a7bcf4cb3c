"""Bodies as they come: JSON (RFC 8259), newline-delimited JSON, and what is neither."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from approaches.errors import TooManyRowsError, UnreadableBodyError
from approaches.services import readings
from approaches.services.readings import read_json_batch, read_ndjson_batch, read_row

GOOD = {
    "external_id": "run-1",
    "athlete": "ext:A-17",
    "approach": "LJ-16",
    "session": "2026-05-02-am",
    "started_at": "2026-05-02T09:14:07.250+02:00",
    "finish": "jump",
}
GOOD_LINE = json.dumps(GOOD).encode()


class TestJsonArray:
    def test_reads_each_item_with_its_raw_text(self):
        (row,) = read_json_batch(b"[ " + GOOD_LINE + b" ]")

        assert (row.index, row.line, row.fault, row.external_id) == (0, None, None, "run-1")
        assert json.loads(bytes(row.raw)) == GOOD

    def test_reads_an_empty_array_as_no_rows(self):
        assert read_json_batch(b"[]") == []

    @pytest.mark.parametrize(
        ("body", "words"),
        [
            (b"", "no JSON array"),
            (b"{}", "no JSON array"),
            (b"null", "no JSON array"),
            (b"[1, 2", "no JSON array"),
            (b"[NaN]", "no JSON array"),
            (b"\xef\xbb\xbf[]", "byte order mark"),
            (b"[" * 100_000, "nested too deeply"),
        ],
    )
    def test_refuses_what_is_no_array(self, body: bytes, words: str):
        with pytest.raises(UnreadableBodyError, match=words):
            read_json_batch(body)

    def test_one_bad_item_leaves_the_others_readable(self):
        rows = read_json_batch(b"[" + GOOD_LINE + b', {"external_id": "run-2"}, 7]')

        assert [row.fault is None for row in rows] == [True, False, False]
        assert rows[1].external_id == "run-2"
        assert rows[1].fault is not None
        assert (rows[1].fault.pointer, rows[1].fault.code) == ("/athlete", "required")
        assert rows[2].fault is not None
        assert rows[2].fault.code == "wrong_type"

    def test_takes_as_many_rows_as_promised_and_no_more(self):
        many = b"[" + b",".join([b"{}"] * readings.MAX_ROWS) + b"]"
        assert len(read_json_batch(many)) == readings.MAX_ROWS

        with pytest.raises(TooManyRowsError):
            read_json_batch(b"[" + b",".join([b"{}"] * (readings.MAX_ROWS + 1)) + b"]")


class TestNdjson:
    def test_numbers_lines_as_an_editor_does_and_skips_blank_ones(self):
        rows = read_ndjson_batch(b"\n" + GOOD_LINE + b"\r\n\n" + GOOD_LINE)

        assert [(row.index, row.line) for row in rows] == [(0, 2), (1, 4)]
        assert all(row.fault is None for row in rows)

    def test_a_broken_line_is_one_refused_row(self):
        rows = read_ndjson_batch(GOOD_LINE + b'\n{"external_id": "run-2\n' + GOOD_LINE)

        assert [row.fault is None for row in rows] == [True, False, True]
        assert rows[1].fault is not None
        assert (rows[1].line, rows[1].fault.code) == (2, "not_json")

    def test_forgives_a_byte_order_mark_before_the_first_line(self):
        (row,) = read_ndjson_batch(b"\xef\xbb\xbf" + GOOD_LINE)

        assert row.fault is None


class TestRow:
    @pytest.mark.parametrize(
        ("raw", "pointer", "code"),
        [
            (b'{"wind_mps": NaN}', "", "not_json"),
            (b'{"external_id": "\xff"}', "", "not_json"),
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
            (
                GOOD_LINE[:-1] + b', "footfalls": {"contact": ["toe"]}}',
                "/footfalls/contact/0",
                "unknown_value",
            ),
        ],
    )
    def test_names_what_is_wrong_and_where(self, raw: bytes, pointer: str, code: str):
        fault = read_row(raw).fault

        assert fault is not None
        assert (fault.pointer, fault.code) == (pointer, code)

    @given(st.binary(max_size=200))
    def test_any_bytes_give_a_reading_or_a_fault(self, raw: bytes):
        row = read_row(raw)

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
        row = read_row(json.dumps(GOOD | {field: value}).encode())

        assert row.fault is None or row.fault.code
