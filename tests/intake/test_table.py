from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import openpyxl
import pytest
from sqlalchemy import Engine, select

from inbox.errors import InputError
from inbox.intake.run import RunResult, import_path
from inbox.intake.set_aside import try_again
from inbox.intake.sources import ImportOptions
from inbox.intake.table import preview
from inbox.intake.table_columns import recognise_columns
from inbox.intake.table_rows import ENCODINGS, open_table
from inbox.intake.table_values import date_order, to_moment, to_stars
from inbox.records.engine import make_sessions
from inbox.records.tables import Message, Reader, SetAside
from tests.makers import make_recipe


def bring_in(engine: Engine, path: Path, now: datetime, **facts: object) -> RunResult:
    return import_path(make_sessions(engine), path, options=ImportOptions(now=now, **facts))  # type: ignore[arg-type]


def texts(engine: Engine) -> list[str]:
    with make_sessions(engine).begin() as session:
        return list(session.scalars(select(Message.text).order_by(Message.id)))


@pytest.mark.parametrize(
    ("content", "encoding"),
    [
        ("Comment,Name\r\n\"Crisp, and \"\"sharp\"\"\",Ada\r\nSecond,Bo", "utf-8"),
        ("\ufeffComment;Name\n\"Crisp, and \"\"sharp\"\"\";Ada\nSecond;Bo\n", "utf-8"),
        ("Comment\tName\n\"Crisp, and \"\"sharp\"\"\"\tAda\nSecond\tBo\n", "utf-16"),
        ("sep=;\nComment;Name\n\"Crisp, and \"\"sharp\"\"\";Ada\nSecond;Bo\n", "cp1252"),
        ("Comment,Name\r\"Crisp, and \"\"sharp\"\"\",Ada\rSecond,Bo\r", "utf-8"),
    ],
)  # fmt: skip
def test_dialects_and_encodings(
    fresh_engine: Engine, tmp_path: Path, now: datetime, content: str, encoding: str
) -> None:
    path = tmp_path / "table.csv"
    path.write_bytes(content.encode(encoding))
    assert bring_in(fresh_engine, path, now).stored == 2
    assert texts(fresh_engine) == ['Crisp, and "sharp"', "Second"]


def test_umlauts_in_windows_1252(fresh_engine: Engine, tmp_path: Path, now: datetime) -> None:
    path = tmp_path / "table.csv"
    path.write_bytes("Message;Name\nKöstlich – “süß”;Jörg\n".encode("cp1252"))
    bring_in(fresh_engine, path, now)
    assert texts(fresh_engine) == ["Köstlich – “süß”"]


def test_broken_rows_cost_only_themselves(fresh_engine: Engine, tmp_path: Path, now: datetime) -> None:
    path = tmp_path / "table.csv"
    path.write_text('Comment,Name\nfine,Ada\n"never closed,Bo\ntoo,many,cells\n,Cy\nalso fine,Di\n')
    result = bring_in(fresh_engine, path, now)
    assert (result.stored, result.set_aside, result.total) == (2, 3, 5)
    assert texts(fresh_engine) == ["fine", "also fine"]
    with make_sessions(fresh_engine).begin() as session:
        reasons = list(session.scalars(select(SetAside.reason).order_by(SetAside.id)))
        raws = list(session.scalars(select(SetAside.raw).order_by(SetAside.id)))
    assert "opened and not closed" in reasons[0]
    assert raws[0] == b'"never closed,Bo\n'
    assert "3 cells where the heads have 2" in reasons[1]
    assert "has nothing in column 'Comment'" in reasons[2]


def test_rows_twice_are_once_and_alike_rows_stay_apart(
    fresh_engine: Engine, tmp_path: Path, now: datetime
) -> None:
    path = tmp_path / "table.csv"
    path.write_text("Comment\nLove it\nLove it\nNice\n")
    assert bring_in(fresh_engine, path, now).stored == 3
    assert bring_in(fresh_engine, path, now).already_here == 3
    path.write_text("Comment\nNice\nLove it\nLove it\nLove it\n")
    result = bring_in(fresh_engine, path, now)
    assert (result.stored, result.already_here) == (1, 3)


def test_page_is_found_by_title_short_name_or_address(
    fresh_engine: Engine, tmp_path: Path, now: datetime
) -> None:
    with make_sessions(fresh_engine).begin() as session:
        make_recipe(session, slug="rye-loaf", title="Seeded Rye  Loaf", url="https://k.example/bread/rye")
    path = tmp_path / "table.csv"
    cells = ("seeded rye loaf", "rye-loaf", "http://www.k.example/bread/rye/", "Something Else")
    path.write_text("Page,Comment\n" + "".join(f"{cell},words {n}\n" for n, cell in enumerate(cells)))
    bring_in(fresh_engine, path, now)
    with make_sessions(fresh_engine).begin() as session:
        pages = session.scalars(select(Message.page_recipe_id).order_by(Message.id)).all()
    assert [page is not None for page in pages] == [True, True, True, False]


def test_unknown_columns_are_named(fresh_engine: Engine, tmp_path: Path, now: datetime) -> None:
    path = tmp_path / "table.csv"
    path.write_text("A,B\nhello there,2\n")
    with pytest.raises(InputError, match="the table has 'A', 'B'"):
        bring_in(fresh_engine, path, now)
    assert bring_in(fresh_engine, path, now, columns={"text": "A"}).stored == 1
    # What was said is remembered for the next export with the same heads.
    path.write_text("A,B\nand another one,3\n")
    assert bring_in(fresh_engine, path, now).stored == 1


def test_open_dates_are_asked_about(fresh_engine: Engine, tmp_path: Path, now: datetime) -> None:
    path = tmp_path / "table.csv"
    path.write_text("Comment,Date\nfine,03/04/2026\nso so,05/06/2026\n")
    with pytest.raises(InputError, match="could be day first or month first"):
        bring_in(fresh_engine, path, now)
    assert preview(path, "csv").date_order == "open"
    bring_in(fresh_engine, path, now, day_first=True)
    with make_sessions(fresh_engine).begin() as session:
        moments = list(session.scalars(select(Message.received_at).order_by(Message.id)))
    assert [(moment.month, moment.day) for moment in moments] == [(4, 3), (6, 5)]


def test_dates_that_show_their_order_are_not(fresh_engine: Engine, tmp_path: Path, now: datetime) -> None:
    path = tmp_path / "table.csv"
    path.write_text("Comment,Date\nfine,03/04/2026 10:30\nso so,25/04/2026 09:00\n")
    assert bring_in(fresh_engine, path, now, zone=ZoneInfo("Europe/Berlin")).stored == 2
    with make_sessions(fresh_engine).begin() as session:
        assert session.scalar(select(Message.received_at)) == datetime(2026, 4, 3, 8, 30, tzinfo=UTC)


def test_xlsx(fresh_engine: Engine, tmp_path: Path, now: datetime) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["Timestamp", "Your name", "Which recipe?", "Star rating", "Your comments"])
    sheet.append([datetime(2026, 4, 3, 8, 30), "Ada", "Lemon loaf", 4, "Rose well."])  # noqa: DTZ001
    sheet.append([None, None, None, None, None])
    sheet.append([datetime(2026, 4, 4, 8, 30), "Bo", "Lemon loaf", 2, "Sank."])  # noqa: DTZ001
    path = tmp_path / "answers.xlsx"
    book.save(path)
    assert bring_in(fresh_engine, path, now).stored == 2
    with make_sessions(fresh_engine).begin() as session:
        first = session.scalars(select(Message).order_by(Message.id)).first()
        assert first is not None
        assert (first.text, first.stars) == ("Rose well.", 4.0)
        assert first.received_at == datetime(2026, 4, 3, 8, 30, tzinfo=UTC)
        assert first.page_url == "Lemon loaf"


def test_damaged_xlsx_is_refused(fresh_engine: Engine, tmp_path: Path, now: datetime) -> None:
    path = tmp_path / "answers.xlsx"
    path.write_bytes(b"PK\x03\x04 not really")
    with pytest.raises(InputError, match=r"cannot be read as xlsx|damaged"):
        bring_in(fresh_engine, path, now)


@pytest.mark.parametrize(
    ("heads", "expected"),
    [
        (
            ["comment_ID", "comment_author", "comment_author_email", "comment_date_gmt", "comment_content"],
            {
                "id": "comment_ID",
                "name": "comment_author",
                "email": "comment_author_email",
                "received_at": "comment_date_gmt",
                "text": "comment_content",
            },
        ),
        (
            ["Submission Date", "Your E-mail Address", "What happened?", "Star Rating (1-5)"],
            {
                "received_at": "Submission Date",
                "email": "Your E-mail Address",
                "text": "What happened?",
                "stars": "Star Rating (1-5)",
            },
        ),
        (
            ["Which recipe did you make?", "What would you like to tell us about this recipe?"],
            {
                "recipe": "Which recipe did you make?",
                "text": "What would you like to tell us about this recipe?",
            },
        ),
        (["Foo", "Bar"], {}),
    ],
)
def test_heads_are_recognised(heads: list[str], expected: dict[str, str]) -> None:
    assert recognise_columns(heads) == expected


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("2026-11-02", datetime(2026, 11, 2, 12, tzinfo=UTC)),
        ("2026-11-02 10:00", datetime(2026, 11, 2, 10, tzinfo=UTC)),
        ("2026-11-02T10:00:00Z", datetime(2026, 11, 2, 10, tzinfo=UTC)),
        ("2026-11-02T10:00:00.123+01:00", datetime(2026, 11, 2, 9, tzinfo=UTC)),
        ("2/11/2026 3:05 pm", datetime(2026, 11, 2, 15, 5, tzinfo=UTC)),
        ("2.11.2026, 15:05", datetime(2026, 11, 2, 15, 5, tzinfo=UTC)),
        ("2 November 2026 15:05", datetime(2026, 11, 2, 15, 5, tzinfo=UTC)),
        ("Nov 2, 2026 at 12:05 AM", datetime(2026, 11, 2, 0, 5, tzinfo=UTC)),
        ("Mon, 02 Nov 2026 10:00:00 -0500", datetime(2026, 11, 2, 15, tzinfo=UTC)),
        ("1793613600", datetime(2026, 11, 2, 10, tzinfo=UTC)),
        ("1793613600000", datetime(2026, 11, 2, 10, tzinfo=UTC)),
        ("31/31/2026", None),
        ("yesterday", None),
        ("", None),
    ],
)
def test_moments(cell: str, expected: datetime | None) -> None:
    assert to_moment(cell, day_first=True, zone=ZoneInfo("UTC")) == expected


@pytest.mark.parametrize(
    ("cells", "order"),
    [
        (["1/2/2026", "13/2/2026"], "day_first"),
        (["1/2/2026", "2/13/2026"], "month_first"),
        (["1/2/2026"], "open"),
        (["13/2/2026", "2/13/2026"], "mixed"),
        (["2026-02-13"], "none"),
    ],
)
def test_date_order(cells: list[str], order: str) -> None:
    assert date_order(cells) == order


@pytest.mark.parametrize(
    ("cell", "scale", "stars"),
    [
        ("4", 5, 4),
        ("4,5", 5, 4.5),
        ("4/5", 5, 4),
        ("10", 10, 5),
        ("1", 10, 1),
        ("80%", 5, 4.2),
        ("50", 100, 3),
        ("★★★★☆", 5, 4),
        ("five stars", 5, 5),
        (3, 5, 3),
        ("0", 5, None),
        ("", 5, None),
        ("lovely", 5, None),
        ("7", 5, None),
    ],
)
def test_stars_of_any_scale(cell: object, scale: float, stars: float | None) -> None:
    assert to_stars(cell, scale) == stars  # type: ignore[arg-type]


POLISH = "Imię,Comment,Date\nŁukasz,Chléb był świetny,2026-04-03\nŻaneta,Za słony,2026-04-04\n"


def test_encoding_that_only_the_owner_knows_is_said_and_remembered(
    fresh_engine: Engine, tmp_path: Path, now: datetime
) -> None:
    path = tmp_path / "table.csv"
    path.write_bytes(POLISH.encode("cp1250"))
    guessed = preview(path, "csv")
    assert (guessed.encoding, guessed.heads[0]) == ("cp1252", "Imiê")
    assert "£ukasz" in guessed.odd_cells
    looked = preview(path, "csv", encoding="cp1250")
    assert (looked.heads[0], looked.rows[0][0], looked.source) == ("Imię", "Łukasz", guessed.source)

    columns = {"text": "Comment", "name": "Imię"}
    bring_in(fresh_engine, path, now, encoding="cp1250", columns=columns)
    path.write_bytes(POLISH.replace("Za słony", "Trochę za słony").encode("cp1250"))
    with make_sessions(fresh_engine).begin() as session:
        assert preview(path, "csv", session=session).encoding == "cp1250"
    assert bring_in(fresh_engine, path, now).stored >= 1
    with make_sessions(fresh_engine).begin() as session:
        texts = set(session.scalars(select(Message.text)))
        names = set(session.scalars(select(Reader.name)))
    assert {"Chléb był świetny", "Za słony", "Trochę za słony"} <= texts
    assert {"Łukasz", "Żaneta"} >= names


def test_file_that_shows_its_encoding_is_not_asked_about(
    fresh_engine: Engine, tmp_path: Path, now: datetime
) -> None:
    """What was remembered of one export does not spoil the next, which is UTF-8."""
    path = tmp_path / "table.csv"
    text = POLISH.replace("Imię", "Name")
    path.write_bytes(text.encode("cp1250"))
    bring_in(fresh_engine, path, now, encoding="cp1250")
    for encoding in ("utf-8", "utf-8-sig", "utf-16"):
        path.write_bytes(text.replace("świetny", f"świetny {encoding}").encode(encoding))
        with make_sessions(fresh_engine).begin() as session:
            found = preview(path, "csv", session=session)
        assert (found.encoding, found.odd_cells) == (None, ())
        assert found.rows[0][0] == "Łukasz"
        bring_in(fresh_engine, path, now)
        with make_sessions(fresh_engine).begin() as session:
            assert f"Chléb był świetny {encoding}" in set(session.scalars(select(Message.text)))


def test_broken_row_is_tried_again_in_its_encoding(
    fresh_engine: Engine, tmp_path: Path, now: datetime
) -> None:
    path = tmp_path / "table.csv"
    path.write_bytes("Name,Comment\nŁukasz,świetny,za dużo\n".encode("cp1250"))
    assert bring_in(fresh_engine, path, now, encoding="cp1250").set_aside == 1
    with make_sessions(fresh_engine).begin() as session:
        row = session.scalars(select(SetAside)).one()
        assert row.raw.decode("cp1250").startswith("Łukasz,świetny")
        row.raw = "Łukasz,świetny\n".encode("cp1250")
        session.flush()
        taken = session.get_one(Message, try_again(session, row.id, now=now).message_id)
        assert taken.text == "świetny"


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_every_encoding_that_is_offered_is_one(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "table.csv"
    path.write_bytes("Name,Comment\nAda,It sank\n".encode(encoding))
    with open_table(path, "csv", encoding) as table:
        assert [row.cells for row in table.rows] == [("Ada", "It sank")]


def test_unknown_encoding_is_said(tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    path.write_text("Name,Comment\nAda,It sank\n")
    with pytest.raises(InputError, match="no encoding of tables here"), open_table(path, "csv", "klingon"):
        pass
