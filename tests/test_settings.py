"""Settings come from the first place that has them, and a wrong one is named."""

from pathlib import Path

import pytest

from inbox.errors import InputError
from inbox.settings import Settings, load


def test_option_before_environment_before_file(tmp_path: Path) -> None:
    (tmp_path / "settings.toml").write_text('port = 1\nbind = "b"\nsite_name = "file"\n')
    environ = {"INBOX_FOLDER": str(tmp_path), "INBOX_PORT": "2", "INBOX_BIND": "environment"}

    settings, origins = load({"port": 3}, environ)

    assert (settings.port, settings.bind, settings.site_name) == (3, "environment", "file")
    assert (origins["port"], origins["bind"], origins["site_name"], origins["country"]) == (
        "option",
        "environment",
        "settings.toml",
        "default",
    )


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("port = [", "cannot be read as TOML"),
        ('prot = "x"', "'prot' that is not known"),
        ('smtp_password = "x"', "set INBOX_SMTP_PASSWORD"),
        ('port = "high"', "port from settings.toml is 'high'"),
        ("port = 70000", "from 0 to 65535"),
        ('mail_by = "pigeon"', "must be one of file, smtp"),
        ('mail_by = "smtp"', "smtp_host is empty"),
    ],
)
def test_a_wrong_file_is_refused_in_words(tmp_path: Path, text: str, reason: str) -> None:
    (tmp_path / "settings.toml").write_text(text)

    with pytest.raises(InputError, match=reason):
        load({"folder": tmp_path}, {})


@pytest.mark.parametrize(("text", "value"), [("yes", True), ("0", False), ("off", False), ("True", True)])
def test_yes_and_no(text: str, value: bool, tmp_path: Path) -> None:
    assert load({"folder": tmp_path}, {"INBOX_SMTP_TLS": text})[0].smtp_tls is value


def test_postgresql_address_names_the_driver() -> None:
    assert Settings(database_url="postgresql://u@h/d").engine_url == "postgresql+psycopg://u@h/d"
    assert Settings(folder=Path("x")).engine_url == "sqlite:///x/ledger.sqlite3"
