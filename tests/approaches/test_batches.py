"""Bodies as they come: JSON (RFC 8259), newline-delimited JSON, tables (RFC 4180), and others."""

import contextlib
import json
import tracemalloc
from collections.abc import Callable
from functools import partial

import msgspec
import pytest

from approaches.errors import TooManyRowsError
from approaches.services import batches
from approaches.services.limits import MAX_BODY_BYTES, MAX_ROW_BYTES, MAX_ROWS
from approaches.services.readings import ATTEMPTS, Footfalls, Gates, Reading, Row
from common.errors import DomainError, InvalidColumnsError, UnreadableBodyError
from tests.approaches.sent import GOOD, GOOD_LINE
from tests.factories import csv_of

read_json = partial(batches.read_json_batch, shape=ATTEMPTS)
read_ndjson = partial(batches.read_ndjson_batch, shape=ATTEMPTS)
read_csv = partial(batches.read_csv_batch, shape=ATTEMPTS)


class TestJsonArray:
    def test_reads_each_item_with_its_raw_text(self):
        (row,) = read_json(b"[ " + GOOD_LINE + b" ]")

        assert (row.index, row.line, row.fault, row.external_id) == (0, None, None, "run-1")
        assert json.loads(bytes(row.raw)) == GOOD

    def test_reads_an_empty_array_as_no_rows(self):
        assert read_json(b"[]") == []

    @pytest.mark.parametrize(
        ("body", "words"),
        [
            (b"", "no JSON array"),
            (b"{}", "no JSON array"),
            (b"null", "no JSON array"),
            (b"[1, 2", "no JSON array"),
            (b"[NaN]", "no JSON array"),
            (b"[" * 100_000, "nested too deeply"),
        ],
    )
    def test_refuses_what_is_no_array(self, body: bytes, words: str):
        with pytest.raises(UnreadableBodyError, match=words):
            read_json(body)

    def test_one_bad_item_leaves_the_others_readable(self):
        rows = read_json(b"[" + GOOD_LINE + b', {"external_id": "run-2"}, 7]')

        assert [row.fault is None for row in rows] == [True, False, False]
        assert rows[1].external_id == "run-2"
        assert rows[1].fault is not None
        assert (rows[1].fault.pointer, rows[1].fault.code) == ("/athlete", "required")
        assert rows[2].fault is not None
        assert rows[2].fault.code == "wrong_type"

    def test_takes_as_many_rows_as_promised_and_no_more(self):
        many = b"[" + b",".join([b"{}"] * MAX_ROWS) + b"]"
        assert len(read_json(many)) == MAX_ROWS

        with pytest.raises(TooManyRowsError):
            read_json(b"[" + b",".join([b"{}"] * (MAX_ROWS + 1)) + b"]")

    def test_reads_a_full_batch_of_many_short_numbers(self):
        """So many values are decoded row by row, and read the same."""
        row = GOOD_LINE[:-1] + b', "footfalls": {"toe_m": ' + b"[%s]}}" % b",".join([b"null"] * 300)
        body = b"[" + b",".join([row] * MAX_ROWS) + b"]"

        rows = read_json(body)

        assert len(rows) == MAX_ROWS
        assert all(each.fault is None for each in rows)

    def test_a_comma_in_a_text_parts_no_items(self):
        name = json.dumps(GOOD | {"session": ',"]\\,{'}).encode()
        many_values = b"[" + b"7," * 1_000_000 + b"7]"

        rows = read_json(b"[" + b",".join([name, many_values]) + b"]")

        assert [row.index for row in rows] == [0, 1]
        assert rows[0].reading is not None
        assert rows[0].reading.session == ',"]\\,{'
        assert rows[1].fault is not None
        assert rows[1].fault.code == "row_too_large"


class TestNdjson:
    def test_numbers_lines_as_an_editor_does_and_skips_blank_ones(self):
        rows = read_ndjson(b"\n" + GOOD_LINE + b"\r\n\n" + GOOD_LINE)

        assert [(row.index, row.line) for row in rows] == [(0, 2), (1, 4)]
        assert all(row.fault is None for row in rows)

    def test_a_broken_line_is_one_refused_row(self):
        rows = read_ndjson(GOOD_LINE + b'\n{"external_id": "run-2\n' + GOOD_LINE)

        assert [row.fault is None for row in rows] == [True, False, True]
        assert rows[1].fault is not None
        assert (rows[1].line, rows[1].fault.code) == (2, "not_json")

    def test_an_empty_body_is_no_batch(self):
        with pytest.raises(UnreadableBodyError, match="empty"):
            read_ndjson(b"")

    def test_takes_as_many_lines_as_promised_and_no_more(self):
        assert len(read_ndjson(b"{}\n" * MAX_ROWS)) == MAX_ROWS

        with pytest.raises(TooManyRowsError):
            read_ndjson(b"{}\n" * (MAX_ROWS + 1))


def only(rows: list[Row[Reading]]) -> Row[Reading]:
    (row,) = rows
    return row


class TestTable:
    def test_reads_what_json_reads(self):
        sent = GOOD | {
            "phases": ["acceleration", "transition"],
            "wind_mps": -0.8,
            "take_off_foot_ok": False,
            "official_m": "6.40",
            "footfalls": {
                "toe_m": [0.07, None, 4.58],
                "touchdown_s": [5.312, 5.080, 4.826],
                "contact": ["flat", None, "ball"],
            },
            "gates": {"at_m": [11, 6], "time_s": [4.154, 4.7]},
        }

        table = csv_of(sent)

        assert only(read_csv(table)).reading == only(read_json(json.dumps([sent]).encode())).reading

    def test_has_a_column_for_every_field_of_a_reading(self):
        columns = ATTEMPTS.columns
        scalars = set(columns.fields)
        arrays = {(array.within, array.name) for array in columns.arrays.values()}

        for field in msgspec.structs.fields(Reading):
            inner = {"footfalls": Footfalls, "gates": Gates}.get(field.name)
            if inner is not None:
                assert {(field.name, name) for name in inner.__struct_fields__} <= arrays
            else:
                assert field.name in scalars or ("", field.name) in arrays
        assert set(columns.required) == {
            field.name for field in msgspec.structs.fields(Reading) if field.required
        }

    @pytest.mark.parametrize("line_break", ["\n", "\r\n"])
    def test_ends_lines_as_the_standard_says_or_as_others_do(self, line_break: str):
        table = csv_of(GOOD, GOOD | {"external_id": "run-2"}, line_break=line_break)

        assert [row.external_id for row in read_csv(table)] == ["run-1", "run-2"]
        assert len(read_csv(table.removesuffix(line_break.encode()))) == 2

    def test_counts_the_line_breaks_in_cells(self):
        lines = b"external_id,athlete,approach,session,started_at,finish,official_m\n"
        lines += b'"of ""Gate 1"",\r\nlane 2",ext:A-17,LJ-16,today,soon,jump,\n'
        lines += b"\n"
        lines += b"run-2,ext:A-17,LJ-16,today,2026-05-02T09:14:07Z,jump,six\n"

        first, second = read_csv(lines)

        assert first.fault is not None
        assert (first.line, first.fault.pointer, first.fault.code) == (
            2,
            "/external_id",
            "control_character",
        )
        assert json.loads(bytes(first.raw))["external_id"] == 'of "Gate 1",\r\nlane 2'
        assert second.fault is not None
        assert (second.index, second.line, second.external_id) == (1, 5, "run-2")
        assert (second.fault.pointer, second.fault.code) == ("/official_m", "not_a_number")

    @pytest.mark.parametrize(
        ("cells", "pointer", "code"),
        [
            ({"wind_mps": "0,8"}, "/wind_mps", "not_a_number"),
            ({"wind_mps": "NaN"}, "/wind_mps", "not_a_number"),
            ({"wind_mps": " 0.8"}, "/wind_mps", "not_a_number"),
            ({"wind_mps": ".8"}, "/wind_mps", "not_a_number"),
            ({"wind_mps": "1e999"}, "/wind_mps", "number_out_of_range"),
            ({"official_m": "6.4\u0661"}, "/official_m", "not_a_number"),
            ({"take_off_foot_ok": "yes"}, "/take_off_foot_ok", "wrong_type"),
            ({"toe_m_2": "far"}, "/footfalls/toe_m/2", "not_a_number"),
            ({"toe_m_0": "0,07"}, "/footfalls/toe_m/0", "not_a_number"),
            ({"toe_m_0": "0,07", "toe_m_1": "2.21"}, "/footfalls/toe_m/0", "not_a_number"),
            ({"contact_0": "toe"}, "/footfalls/contact/0", "unknown_value"),
            ({"gate_at_m_0": "11"}, "/gates/time_s", "required"),
            ({"gate_at_m_0": "11", "gate_time_s_1": "4"}, "/gates/at_m/1", "wrong_type"),
            ({"phases_1": "attack"}, "/phases/0", "wrong_type"),
            ({"athlete": ""}, "/athlete", "required"),
            ({"started_at": "02.05.2026 09:14"}, "/started_at", "not_a_time"),
        ],
    )
    def test_names_what_is_wrong_and_where(self, cells: dict[str, str], pointer: str, code: str):
        row = only(read_csv(csv_of(GOOD | cells)))

        assert row.fault is not None
        assert (row.fault.pointer, row.fault.code) == (pointer, code)
        assert (row.line, row.external_id) == (2, "run-1")

    @pytest.mark.parametrize(
        ("cells", "field", "value"),
        [
            ({"wind_mps": "+0.8"}, "wind_mps", 0.8),
            ({"take_off_foot_ok": "TRUE"}, "take_off_foot_ok", True),
            ({"toe_m_1": "2.2"}, "footfalls", Footfalls(toe_m=[None, 2.2])),
            (
                {"toe_m_0": "0.1", "touchdown_s_1": "5"},
                "footfalls",
                Footfalls(toe_m=[0.1, None], touchdown_s=[None, 5.0]),
            ),
            ({"toe_m_0": "", "contact_3": ""}, "footfalls", None),
        ],
    )
    def test_takes_cells_as_people_write_them(
        self, cells: dict[str, str], field: str, value: object
    ):
        row = only(read_csv(csv_of(GOOD | cells)))

        assert row.fault is None
        assert getattr(row.reading, field) == value

    def test_a_ragged_line_is_one_refused_row(self):
        lines = csv_of(*[GOOD | {"external_id": f"run-{number}"} for number in range(1, 8)])
        broken = lines.splitlines(keepends=True)
        broken[6] = broken[6].rstrip() + b",\r\n"

        rows = read_csv(b"".join(broken))

        assert [row.index for row in rows if row.fault is not None] == [5]
        fault = rows[5].fault
        assert fault is not None
        assert (rows[5].line, fault.code) == (7, "wrong_cell_count")
        assert rows[5].raw == broken[6].rstrip()

    def test_a_line_in_other_letters_is_one_refused_row(self):
        table = csv_of(GOOD, GOOD | {"session": "M\u00e4rz"}).replace("\u00e4".encode(), b"\xe4")

        first, second = read_csv(table)

        assert first.fault is None
        assert second.fault is not None
        assert second.fault.code == "not_utf8"

    def test_a_line_that_is_too_large_is_one_refused_row(self):
        table = csv_of(GOOD | {"session": "x" * MAX_ROW_BYTES}, GOOD)

        assert [row.fault and row.fault.code for row in read_csv(table)] == ["row_too_large", None]

    @pytest.mark.parametrize(
        ("header", "pointer", "code"),
        [
            (b"wind", "/wind", "unknown_column"),
            (b"Wind_mps", "/Wind_mps", "unknown_column"),
            (b" wind_mps", "/ wind_mps", "unknown_column"),
            (b"toe_m", "/toe_m", "unknown_column"),
            (b"toe_m_40", "/toe_m_40", "unknown_column"),
            (b"toe_m_01", "/toe_m_01", "unknown_column"),
            ("toe_m_\u0661".encode(), "/toe_m_\u0661", "unknown_column"),
            (b"phases_3", "/phases_3", "unknown_column"),
            (b"a/b~c", "/a~1b~0c", "unknown_column"),
            (b"", "/", "unknown_column"),
            (b"finish", "/finish", "repeated_column"),
            (b"toe_m_0,toe_m_0", "/toe_m_0", "repeated_column"),
        ],
    )
    def test_refuses_a_column_that_it_does_not_know(self, header: bytes, pointer: str, code: str):
        with pytest.raises(InvalidColumnsError) as refused:
            read_csv(b"external_id,athlete,approach,session,started_at,finish," + header + b"\n")

        (fault,) = refused.value.faults
        assert (fault.pointer, fault.code) == (pointer, code)

    def test_says_which_columns_are_missing(self):
        with pytest.raises(InvalidColumnsError) as refused:
            read_csv(b"external_id;athlete\nrun-1;ext:A-17\n")

        assert "parted by commas" in refused.value.detail
        assert [fault.code for fault in refused.value.faults].count("missing_column") == 6

    @pytest.mark.parametrize(
        ("body", "words"),
        [
            (b"", "empty"),
            (b"\r\n\n", "no header"),
            (b"\xff\xfee\x00x\x00", "not UTF-8"),
            (b"x" * (MAX_ROW_BYTES + 1), "at most"),
            (csv_of(GOOD) + b'run-2,5" board\n' + csv_of(GOOD), "line 3 is not closed"),
            (csv_of(GOOD) + b'run-2,"5"" board"x"",\n', "Line 3: a cell with a quote"),
            (csv_of(GOOD) + b"run-2,a\rb\n", "Line 3: a cell with a quote or a line break"),
            (csv_of(GOOD) + b'"' + b"x\n" * MAX_ROW_BYTES + b'"', "line 3 is not closed"),
        ],
    )
    def test_refuses_what_is_no_table(self, body: bytes, words: str):
        with pytest.raises(UnreadableBodyError, match=words):
            read_csv(body)

    def test_takes_a_header_without_lines_as_no_rows(self):
        assert read_csv(csv_of(GOOD).splitlines()[0]) == []

    def test_takes_as_many_lines_as_promised_and_no_more(self):
        header, line = csv_of(GOOD).splitlines(keepends=True)
        assert len(read_csv(header + line * MAX_ROWS)) == MAX_ROWS

        with pytest.raises(TooManyRowsError):
            read_csv(header + line * (MAX_ROWS + 1))


def is_refused(read: Callable[[bytes], list[Row[Reading]]], body: bytes) -> bool:
    try:
        return all(row.reading is None for row in read(body))
    except (UnreadableBodyError, InvalidColumnsError):
        return True


@pytest.mark.parametrize(
    ("read", "body"),
    [
        (read_json, b"[" + GOOD_LINE + b"]"),
        (read_ndjson, GOOD_LINE),
        (read_csv, csv_of(GOOD)),
    ],
)
class TestByteOrderMark:
    def test_may_stand_before_any_body(
        self, read: Callable[[bytes], list[Row[Reading]]], body: bytes
    ):
        marked = read(b"\xef\xbb\xbf" + body)

        assert only(marked).reading == only(read(body)).reading is not None

    def test_is_no_mark_a_second_time(
        self, read: Callable[[bytes], list[Row[Reading]]], body: bytes
    ):
        assert is_refused(read, b"\xef\xbb\xbf" * 2 + body)


HALF, THIRD = MAX_BODY_BYTES // 2, MAX_BODY_BYTES // 3
FULL_ROW = GOOD_LINE[:-1] + b', "footfalls": {"toe_m": ' + b"[%s]}}" % b",".join([b"1.5"] * 380)


@pytest.mark.parametrize(
    ("read", "body", "most_mb"),
    [
        pytest.param(read_json, b"[" + b"1," * (HALF - 2) + b"1]", 27, id="numbers"),
        pytest.param(read_json, b"[" + b"1," * 999_999 + b"1]", 80, id="numbers taken at once"),
        pytest.param(read_json, b"[" + b"{}," * (THIRD - 2) + b"1]", 27, id="objects"),
        pytest.param(read_json, b"[" * MAX_BODY_BYTES, 27, id="depth"),
        pytest.param(read_ndjson, b"1\n" * HALF, 27, id="lines"),
        pytest.param(read_ndjson, b"\n".join([FULL_ROW] * 5_000), 90, id="full rows"),
        pytest.param(read_csv, b"a," * HALF, 27, id="columns"),
        pytest.param(read_csv, b"a\n" * HALF, 27, id="lines of a cell"),
        pytest.param(read_csv, b'"' + b"\n" * (MAX_BODY_BYTES - 1), 27, id="an open quote"),
        pytest.param(read_csv, csv_of(GOOD) + b"a,\n" * (THIRD - 100), 27, id="ragged lines"),
        # Tracing every allocation takes a quarter of a minute in these.
        *(
            pytest.param(read, body, 27, id=name, marks=pytest.mark.slow)
            for read, body, name in (
                (read_json, b"[[" + b"1," * (HALF - 3) + b"1]]", "one row"),
                (read_json, b"[" + (b"[" + b"1," * 30_000 + b"1],") * 170 + b"1]", "long rows"),
                (read_ndjson, b"\n" * MAX_BODY_BYTES, "blank lines"),
                (read_csv, b"\n" * MAX_BODY_BYTES, "table of blank lines"),
            )
        ),
    ],
)
class TestMemory:
    def test_stays_flat_whatever_the_body_holds(
        self, read: Callable[[bytes], list[Row[Reading]]], body: bytes, most_mb: int
    ):
        """All decoded at once, five million numbers took 337 MB."""
        assert len(body) <= MAX_BODY_BYTES
        tracemalloc.start()
        try:
            with contextlib.suppress(DomainError):
                read(body)
            _, peak = tracemalloc.get_traced_memory()
        finally:
            tracemalloc.stop()

        assert peak < most_mb * 1e6
