"""The command: what it prints, its exit codes, and one clear sentence for whatever is wrong."""

import json
import socket
import stat
from collections.abc import Callable
from pathlib import Path

import pytest

from inbox.cli.main import run

Cli = Callable[..., tuple[int, str, str]]


@pytest.fixture
def cli(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Cli:
    """Runs one command on a folder of its own; gives exit code, standard output and standard error."""

    def call(*arguments: str | Path, folder: Path = tmp_path / "site") -> tuple[int, str, str]:
        code = run(["--folder", str(folder), *map(str, arguments)])
        captured = capsys.readouterr()
        return code, captured.out, captured.err

    return call


def write(path: Path, *records: dict[str, object]) -> Path:
    path.write_text("".join(json.dumps(record) + "\n" for record in records), encoding="utf-8")
    return path


@pytest.fixture
def letters(tmp_path: Path) -> Path:
    return write(
        tmp_path / "letters.jsonl",
        {"id": "1", "text": "Made this and it sank.", "email": "ada@example.org", "recipe": "rye"},
        {"id": "2", "text": "Please do a gluten-free loaf."},
    )


def test_import_says_the_three_numbers_and_twice_is_once(cli: Cli, letters: Path) -> None:
    first = cli("import", "--no-read", letters)
    second = cli("import", "--no-read", letters)

    assert (first[0], second[0]) == (0, 0)
    assert "2 items: 2 stored, 0 already here, 0 set aside" in first[1]
    assert "2 items: 0 stored, 2 already here, 0 set aside" in second[1]


def test_what_cannot_be_taken_is_set_aside_with_its_reason(cli: Cli, tmp_path: Path) -> None:
    path = tmp_path / "letters.jsonl"
    path.write_text('{"id": "1", "text": "Lovely."}\n{"id": "2", "text": \n', encoding="utf-8")

    code, out, _ = cli("import", "--no-read", path)

    assert code == 1
    assert "2 items: 1 stored, 0 already here, 1 set aside" in out
    code, out, _ = cli("set-aside", "--json")
    (item,) = json.loads(out)
    assert code == 0
    assert item["bytes"] > 0
    assert cli("set-aside", "leave", str(item["number"]))[0] == 0
    assert cli("set-aside")[1] == "Nothing is set aside.\n"


def test_a_doubtful_pair_is_listed_and_decided(cli: Cli, tmp_path: Path) -> None:
    words = "The rye loaf sank in the middle although it was in the oven for an hour."
    one = {"id": "1", "text": words, "received_at": "2026-11-18T10:00:00Z", "email": "ada@example.org"}
    path = write(tmp_path / "letters.jsonl", one)
    table = tmp_path / "comments.csv"
    table.write_text(f"Date,Comment\n2026-11-18,{words}\n", encoding="utf-8")
    cli("import", "--no-read", path)
    cli("import", "--no-read", table)

    (pair,) = json.loads(cli("second-look", "--json")[1])
    assert pair["text"] == words
    assert "perhaps the same as" in cli("second-look")[1]
    assert cli("second-look", "one", str(pair["message"]))[0] == 0
    assert cli("second-look")[1] == "No two messages may be one.\n"
    assert cli("second-look", "let-in", str(pair["message"]))[0] == 0
    assert cli("second-look", "two", str(pair["message"]))[0] == 0
    assert cli("second-look", "one", str(pair["message"]))[0] == 2
    assert cli("second-look", "--json")[1] == "[]\n"


def test_no_refused_mention_is_said(cli: Cli, tmp_path: Path) -> None:
    cli("import", "--no-read", write(tmp_path / "one.jsonl", {"id": "1", "text": "It sank."}))

    assert cli("set-aside", "mentions")[1] == "No mention was refused.\n"
    assert cli("set-aside", "mentions", "7")[0] == 1


def test_a_handle_is_joined_to_an_address(cli: Cli, tmp_path: Path) -> None:
    lines = (
        {"id": "1", "text": "It sank.", "email": "ada@example.org"},
        {"id": "2", "text": "Lovely scones.", "handle": "ada_bakes", "channel": "social"},
    )
    cli("import", "--no-read", write(tmp_path / "letters.jsonl", *lines))

    assert cli("reader", "join", "ada@example.org", "social:ada_bakes")[0] == 0
    assert len(json.loads(cli("reader", "export", "ada@example.org")[1])["messages"]) == 2
    assert cli("reader", "join", "ada@example.org", "ada@example.org")[0] == 2


def test_an_import_can_be_taken_back_and_brought_in_again(cli: Cli, letters: Path) -> None:
    cli("import", "--no-read", letters)

    assert cli("take-back", "1")[0] == 0
    assert cli("messages", "--json")[1] == ""
    assert "2 stored" in cli("import", "--no-read", letters)[1]


def test_a_label_by_hand_is_exported_and_can_be_taken_back(cli: Cli, letters: Path) -> None:
    cli("import", "--no-read", letters)

    assert cli("label", "1", "kinds", "made_it", "problem")[0] == 0

    exported = [json.loads(line) for line in cli("export")[1].splitlines()]
    assert exported[0]["hand"] == {"kinds": ["made_it", "problem"]}
    assert cli("label", "1", "kinds", "--back")[0] == 0
    assert "hand" not in json.loads(cli("export")[1].splitlines()[0])


def test_backup_restores_into_an_empty_place(cli: Cli, letters: Path, tmp_path: Path) -> None:
    cli("import", "--no-read", letters)
    assert cli("backup", "--to", tmp_path / "kept")[0] == 0
    (made,) = (tmp_path / "kept").iterdir()

    code, out, _ = cli("restore", made, folder=tmp_path / "other")

    assert code == 0
    assert "2 messages" in out
    assert cli("export", folder=tmp_path / "other")[1] == cli("export")[1]


def test_check_of_a_sound_ledger(cli: Cli, letters: Path) -> None:
    cli("import", "--no-read", letters)

    code, out, err = cli("check")

    assert (code, err) == (0, "")
    assert out.startswith("All holds: database, imports add up, labels agree")


def test_reader_is_given_all_and_forgotten(cli: Cli, letters: Path) -> None:
    cli("import", "--no-read", letters)

    assert "ada@example.org" in cli("reader", "export", "ada@example.org")[1]
    assert cli("reader", "forget", "ada@example.org", "--yes")[0] == 0
    assert cli("reader", "export", "ada@example.org")[0] == 1
    assert "ada@example.org" not in cli("export")[1]


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("messages",), 2, "There is no ledger"),
        (("import", "--no-read", "missing.mbox"), 2, "does not exist"),
        (("bake",), 2, "No such command"),
        (("label", "1", "mood"), 2, "'mood' is not one of"),
        (("setup", "--link"), 2, "There is no ledger"),
    ],
)
def test_wrong_use_is_one_sentence_and_code_2(
    cli: Cli, arguments: tuple[str, ...], code: int, words: str
) -> None:
    found, out, err = cli(*arguments)

    assert (found, out) == (code, "")
    assert words in err
    assert "Traceback" not in err


@pytest.mark.parametrize(
    ("name", "content"),
    [("empty.csv", b""), ("picture.png", b"\x89PNG\r\n\x1a\n" + bytes(40)), ("empty.mbox", b"")],
    ids=["empty table", "picture", "empty mbox"],
)
def test_a_file_of_no_use_is_one_sentence_and_code_2(
    cli: Cli, tmp_path: Path, name: str, content: bytes
) -> None:
    path = tmp_path / name
    path.write_bytes(content)

    code, _, err = cli("import", "--no-read", path)

    assert code == 2
    assert name in err
    assert len(err.strip().splitlines()) == 1


def test_unknown_columns_say_what_to_do(cli: Cli, tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    path.write_text("alpha,beta\n1,2\n", encoding="utf-8")

    code, _, err = cli("import", "--no-read", path)

    assert code == 2
    assert "--column" in err


def test_wrong_setting_names_it(cli: Cli, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("INBOX_PORT", "high")

    code, _, err = cli("settings")

    assert code == 2
    assert "Setting port from environment is 'high'" in err


def test_settings_hide_secrets(cli: Cli, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("INBOX_SMTP_PASSWORD", "pepper-and-salt")

    code, out, _ = cli("settings")

    assert code == 0
    assert "smtp_password = (set)  (environment)" in out
    assert "pepper-and-salt" not in out


def test_a_port_in_use_is_said_in_words(cli: Cli) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()

        code, _, err = cli("serve", "--port", str(taken.getsockname()[1]))

    assert code == 1
    assert "choose another with --port" in err


def test_a_folder_that_cannot_be_made(cli: Cli, tmp_path: Path, letters: Path) -> None:
    (tmp_path / "file").write_text("in the way")

    code, _, err = cli("import", letters, folder=tmp_path / "file")

    assert code == 2
    assert "is a file" in err


@pytest.mark.skipif("__import__('os').geteuid() == 0", reason="root may write anywhere")
def test_a_read_only_folder(cli: Cli, tmp_path: Path, letters: Path) -> None:
    cli("import", "--no-read", letters)
    (tmp_path / "site").chmod(stat.S_IRUSR | stat.S_IXUSR)

    code, _, err = cli("label", "1", "hazard")

    (tmp_path / "site").chmod(stat.S_IRWXU)
    assert code == 1
    assert "cannot be written" in err
