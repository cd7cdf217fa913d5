"""XML that names files of the machine or grows without end, in feeds and workbooks (ASVS 1.5.1, 5.2.3).

Each is read in a process of its own with 1 GB of address space and 30 s of processor time, so that a
bomb that goes off ends as a failed test and not as a machine that stands still.
"""

import http.server
import json
import resource
import subprocess
import sys
import threading
import zipfile
from collections.abc import Iterator
from pathlib import Path

import openpyxl
import pytest

from inbox.errors import InputError
from inbox.intake.table_rows import UNPACKED_LIMIT_BYTES, WHOLE_PARTS_LIMIT_BYTES, open_table

SECRET = "zanzibarred"
MEMORY_BYTES, SECONDS = 1_000_000_000, 30
LONGEST_ANSWER = 100_000
"""A bomb of ten levels grows to 3 GB; what is read of it stays far below."""

READ = """
import json, sys
from pathlib import Path
from inbox.errors import InboxError
from inbox.intake.feed import read_entry, read_feed
from inbox.intake.table_rows import open_table
path = Path(sys.argv[1])
try:
    if path.suffix == ".xlsx":
        with open_table(path, "xlsx") as table:
            said = [table.heads, [[str(cell) for cell in row.cells] for row in table.rows]]
    else:
        entries = [read_entry(entry) for entry in read_feed(path.read_bytes(), name="feed")]
        said = [getattr(one, "text", "") + one.raw.decode() for one in entries]
except InboxError as error:
    said = "refused: " + str(error)
print(json.dumps(said))
"""

BOMB = '<!ENTITY l0 "ha ha ha ha ">' + "".join(
    f'<!ENTITY l{level} "{f"&l{level - 1};" * 10}">' for level in range(1, 10)
)
SQUARE = f'<!ENTITY l9 "{"a" * 100_000}">'


def read_apart(path: Path) -> str:
    """What is read of the file, as JSON, by a process that may use only so much."""

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
        resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))

    done = subprocess.run(
        [sys.executable, "-c", READ, str(path)],
        preexec_fn=limit,
        capture_output=True,
        text=True,
        env={"OPENBLAS_NUM_THREADS": "1", "PATH": ""},
        cwd=Path(__file__).parents[2],
        timeout=300,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    json.loads(done.stdout)
    return done.stdout


def feed(path: Path, declared: str, named: str) -> Path:
    """A feed whose one comment holds an entity."""
    path.write_text(
        f'<?xml version="1.0" encoding="utf-8"?><!DOCTYPE feed [{declared}]>'
        '<feed xmlns="http://www.w3.org/2005/Atom"><title>t</title><id>urn:x:1</id><entry><title>c</title>'
        f"<id>urn:x:2</id><summary>The loaf sank {named}.</summary></entry></feed>"
    )
    return path


def workbook(path: Path, declared: str, named: str, *, part: str) -> Path:
    """A workbook one of whose parts declares entities and holds one of them."""
    plain = path.with_name("plain.xlsx")
    book = openpyxl.Workbook()
    for row in (("text", "stars"), ("The loaf sank MARK", 2)):
        book.active.append(row)
    book.save(plain)
    with zipfile.ZipFile(plain) as before, zipfile.ZipFile(path, "w") as after:
        for name in before.namelist():
            content = before.read(name).decode()
            if name == part:
                head, _, rest = content.rpartition("?>")
                content = f"{head}?>" if head else ""
                content += f"<!DOCTYPE x [{declared}]>{rest}"
            after.writestr(name, content.replace("MARK", named))
    return path


class _Listening(http.server.BaseHTTPRequestHandler):
    asked: list[str] = []  # noqa: RUF012 (one list for the one test that uses it)

    def do_GET(self) -> None:
        self.asked.append(self.path)
        self.send_response(200)
        self.end_headers()
        self.wfile.write(SECRET.encode())

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@pytest.fixture
def outside(tmp_path: Path) -> Iterator[dict[str, str]]:
    """A file of the machine and a page of the network, which an entity may name."""
    secret = tmp_path / "secret.txt"
    secret.write_text(SECRET)
    _Listening.asked.clear()
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), _Listening)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield {"file": secret.as_uri(), "page": f"http://127.0.0.1:{server.server_port}/secret"}
    server.shutdown()
    thread.join(5)
    server.server_close()


@pytest.mark.parametrize("where", ["file", "page"])
@pytest.mark.parametrize(
    "declared",
    ['<!ENTITY e SYSTEM "{0}">', '<!ENTITY % p SYSTEM "{0}"> %p; <!ENTITY e "x">'],
    ids=["general", "parameter"],
)
def test_no_entity_leads_outside(tmp_path: Path, outside: dict[str, str], where: str, declared: str) -> None:
    declared = declared.format(outside[where])
    files = [
        feed(tmp_path / "feed.xml", declared, "&e;"),
        workbook(tmp_path / "a.xlsx", declared, "&e;", part="xl/sharedStrings.xml"),
        workbook(tmp_path / "b.xlsx", declared, "MARK", part="xl/worksheets/sheet1.xml"),
    ]
    for path in files:
        assert SECRET not in read_apart(path), path.name
    assert _Listening.asked == []


@pytest.mark.parametrize(
    ("declared", "named"), [(BOMB, "&l9;"), (SQUARE, "&l9;" * 30_000)], ids=["levels", "square"]
)
def test_entities_that_grow_do_not(tmp_path: Path, declared: str, named: str) -> None:
    files = [
        feed(tmp_path / "feed.xml", declared, named),
        workbook(tmp_path / "a.xlsx", declared, named, part="xl/sharedStrings.xml"),
        workbook(tmp_path / "b.xlsx", declared, named, part="xl/styles.xml"),
    ]
    for path in files:
        answer = read_apart(path)
        assert len(answer) < LONGEST_ANSWER + 3 * len(named), path.name
        assert "The loaf sank" in answer or "refused" in answer


def test_a_plain_workbook_and_feed_are_read_apart(tmp_path: Path) -> None:
    """What the tests above rest on."""
    assert "The loaf sank well" in read_apart(feed(tmp_path / "feed.xml", "", "well"))
    plain = workbook(tmp_path / "a.xlsx", "", "well", part="xl/sharedStrings.xml")
    assert "The loaf sank well" in read_apart(plain)


@pytest.mark.parametrize(
    ("member", "size", "said"),
    [
        ("xl/worksheets/sheet2.xml", UNPACKED_LIMIT_BYTES, "unpacks to more than 1,000,000,000"),
        ("xl/sharedStrings.xml", WHOLE_PARTS_LIMIT_BYTES, "more than 100,000,000 bytes beside its sheets"),
    ],
)
@pytest.mark.slow
def test_a_workbook_that_bursts_is_refused_before_it_is_unpacked(
    tmp_path: Path, member: str, size: int, said: str
) -> None:
    path = workbook(tmp_path / "a.xlsx", "", "", part="")
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        with archive.open(f"{member}{'' if 'sheet2' in member else '.more'}", "w", force_zip64=True) as burst:
            for _ in range(size // 10_000_000):
                burst.write(bytes(10_000_000))
    assert path.stat().st_size < size / 100

    with pytest.raises(InputError, match=said), open_table(path, "xlsx"):
        pass


def test_a_sheet_that_breaks_off_is_said_so(tmp_path: Path) -> None:
    path = workbook(tmp_path / "a.xlsx", "", "", part="")
    cut = tmp_path / "cut.xlsx"
    with zipfile.ZipFile(path) as before, zipfile.ZipFile(cut, "w") as after:
        for name in before.namelist():
            content = before.read(name)
            after.writestr(name, content[:-40] if name.startswith("xl/worksheets/") else content)

    assert "refused: The file cannot be read as xlsx" in read_apart(cut)
