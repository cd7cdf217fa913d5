"""Tables against the rules and examples of RFC 4180, section 2."""

from pathlib import Path

import pytest

from inbox.intake.table_rows import open_table


def rows(tmp_path: Path, text: str) -> list[tuple[object, ...]]:
    path = tmp_path / "table.csv"
    path.write_bytes(text.encode())
    with open_table(path, "csv") as table:
        return [table.heads, *(row.cells for row in table.rows if not row.broken)]


@pytest.mark.parametrize("end", ["\r\n", ""])
def test_last_line_break_is_optional(tmp_path: Path, end: str) -> None:
    assert rows(tmp_path, f"aaa,bbb,ccc\r\nzzz,yyy,xxx{end}") == [
        ("aaa", "bbb", "ccc"),
        ("zzz", "yyy", "xxx"),
    ]


def test_spaces_are_part_of_a_field(tmp_path: Path) -> None:
    assert rows(tmp_path, "aaa,bbb\r\n zzz , yyy\r\n")[1] == (" zzz ", " yyy")


def test_quoted_fields_hold_line_breaks_commas_and_doubled_quotes(tmp_path: Path) -> None:
    text = 'h1,h2,h3\r\n"aaa","b \r\nbb","ccc"\r\nzzz,yyy,xxx\r\n"aaa","b""bb","ccc"\r\n"a,a",b,c\r\n'
    assert rows(tmp_path, text)[1:] == [
        ("aaa", "b \r\nbb", "ccc"),
        ("zzz", "yyy", "xxx"),
        ("aaa", 'b"bb', "ccc"),
        ("a,a", "b", "c"),
    ]


def test_row_with_another_number_of_fields_is_broken(tmp_path: Path) -> None:
    assert rows(tmp_path, "aaa,bbb,ccc\r\nzzz,yyy\r\n1,2,3\r\n") == [("aaa", "bbb", "ccc"), ("1", "2", "3")]
