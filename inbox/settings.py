"""Every setting, in one class.

A value is taken from the first place that has it: the command's option, the
environment (`INBOX_` and the name in capitals), `settings.toml` in the data
folder, what the owner saved on the settings page, the default. Secrets come
from the environment only. Read `Settings` first, then `load`.
"""

import os
import tomllib
from collections.abc import Mapping
from dataclasses import Field, dataclass, field, fields, replace
from functools import cache
from pathlib import Path
from typing import Any, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from inbox.errors import InputError

PREFIX = "INBOX_"
FILE_NAME = "settings.toml"


def _setting(default: Any, help: str, *, owner: bool = False, secret: bool = False) -> Any:
    """Field of `Settings`: its default, one line of help, who may change it, whether it is a secret."""
    return field(default=default, metadata={"help": help, "owner": owner, "secret": secret})


@dataclass(frozen=True)
class Settings:
    """Values that one installation runs with.

    Raises
    ------
    InputError
        If a value cannot be used; the message names the setting, the value and what would do.
    """

    folder: Path = _setting(
        Path("second-batch"), "Folder that holds everything: database, outbox, model, backups."
    )
    database_url: str = _setting(
        "", "postgresql://... for several workers; empty means SQLite in the folder."
    )
    site_name: str = _setting("My recipes", "Name of the site, as readers know it.", owner=True)
    site_url: str = _setting("", "Address of the site, such as https://example.com.", owner=True)
    owner_name: str = _setting("", "First name that replies and forms speak with.", owner=True)
    owner_email: str = _setting("", "Address that the digest goes to and that replies come from.", owner=True)
    public_url: str = _setting("http://127.0.0.1:8765", "Address under which this service is reached.")
    timezone: str = _setting("UTC", "Owner's time zone, such as Europe/London.", owner=True)
    country: str = _setting(
        "", "Two letters, such as GB; decides which occasions and help numbers are shown.", owner=True
    )
    occasions: str = _setting(
        "",
        "Occasions to plan for, by code, with commas between; empty: the country's usual ones.",
        owner=True,
    )
    lead_time_weeks: int = _setting(6, "Weeks before an occasion at which its window opens.", owner=True)
    effort_weight: float = _setting(
        0.5, "How much the owner's effort estimate counts in the ranking (0: not at all).", owner=True
    )
    digest_weekday: int = _setting(0, "Day on which the digest is made: 0 Monday to 6 Sunday.", owner=True)
    digest_hour: int = _setting(7, "Hour of that day, in the owner's zone.", owner=True)
    form_ink: str = _setting("#2b2622", "Colour of the text on readers' forms.", owner=True)
    form_accent: str = _setting("#9c3d24", "Colour of the button on readers' forms.", owner=True)
    form_typeface: str = _setting("Georgia, serif", "Typeface of readers' forms.", owner=True)
    form_sites: str = _setting(
        "", "Addresses of sites that may frame the forms, with spaces between.", owner=True
    )
    bind: str = _setting("127.0.0.1", "Address that the web server listens on.")
    port: int = _setting(8765, "Port that the web server listens on.")
    trusted_proxies: int = _setting(0, "How many proxies in front of the server set X-Forwarded-* headers.")
    mail_by: str = _setting("file", "How mail leaves: file (into the folder's outbox) or smtp.")
    smtp_host: str = _setting("", "SMTP server.")
    smtp_port: int = _setting(587, "SMTP port; 465 speaks TLS from the start, others use STARTTLS.")
    smtp_tls: bool = _setting(True, "Whether SMTP must be encrypted.")
    smtp_user: str = _setting("", "SMTP user.")
    smtp_password: str = _setting("", "SMTP password.", secret=True)
    imap_host: str = _setting("", "IMAP server to read the owner's mailbox from; empty: none.")
    imap_port: int = _setting(993, "IMAP port.")
    imap_tls: bool = _setting(
        True, "Whether TLS begins with the IMAP connection; if not, it begins by STARTTLS."
    )
    imap_user: str = _setting("", "IMAP user.")
    imap_password: str = _setting("", "IMAP password.", secret=True)
    imap_folder: str = _setting("INBOX", "Mailbox folder to read.")
    imap_mark_seen: bool = _setting(False, "Whether messages that were read in are marked as seen.")
    feeds: str = _setting("", "Addresses of comment feeds to poll, with spaces between.", owner=True)
    learn_after_labels: int = _setting(
        25,
        "Messages put right by hand after which the program learns from them by itself; 0: only when asked.",
        owner=True,
    )
    reading_processes: int = _setting(
        0, "Processes that read a long archive, each of some 270 MB; 0: one for each core, at most 8."
    )
    poll_minutes: int = _setting(15, "Minutes between looks at the mailbox and the feeds.")
    reply_hold_minutes: int = _setting(
        10, "Minutes in which a sent reply can still be taken back.", owner=True
    )
    replies_a_day: int = _setting(200, "Most replies that leave in one day.", owner=True)
    form_posts_an_hour: int = _setting(12, "Most forms taken from one address in an hour.")
    upload_limit_bytes: int = _setting(2_000_000_000, "Largest file that an import page takes.")
    photo_limit_bytes: int = _setting(12_000_000, "Largest picture that is taken from a form or a mail.")
    keep_raw_days: int = _setting(
        0, "Days after which the raw originals are dropped; 0 keeps them.", owner=True
    )
    backup_keep_count: int = _setting(8, "Backups to keep.")
    session_hours: int = _setting(24 * 14, "Hours after which a sign-in ends.")
    metrics_token: str = _setting(
        "",
        "Token that Prometheus brings to /metrics, 16 or more characters; empty: no such page.",
        secret=True,
    )
    given: frozenset[str] = field(default=frozenset(), repr=False)
    """Names of the settings that were given from outside; what the owner saves does not replace them."""
    log_level: str = _setting("INFO", "How much is logged: DEBUG, INFO, WARNING or ERROR.")

    def __post_init__(self) -> None:
        try:
            ZoneInfo(self.timezone)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            raise InputError(
                f"Setting timezone is {self.timezone!r}, which is no time zone; "
                "use a name such as Europe/London."
            ) from None
        self._check_one_of("mail_by", ("file", "smtp"))
        self._check_one_of("log_level", ("DEBUG", "INFO", "WARNING", "ERROR"))
        self._check_between("digest_weekday", 0, 6)
        self._check_between("digest_hour", 0, 23)
        self._check_between("port", 0, 65535)
        self._check_between("lead_time_weeks", 0, 26)
        self._check_between("poll_minutes", 1, 24 * 60)
        self._check_between("reading_processes", 0, 256)
        self._check_between("learn_after_labels", 0, 100_000)
        if 0 < len(self.metrics_token) < 16:
            raise InputError("Setting metrics_token is too short; it must have 16 or more characters.")
        if self.mail_by == "smtp" and not self.smtp_host:
            raise InputError("Setting mail_by is smtp but smtp_host is empty; set INBOX_SMTP_HOST.")

    def _check_one_of(self, name: str, allowed: tuple[str, ...]) -> None:
        if getattr(self, name) not in allowed:
            raise InputError(
                f"Setting {name} is {getattr(self, name)!r}; it must be one of {', '.join(allowed)}."
            )

    def _check_between(self, name: str, low: int, high: int) -> None:
        if not low <= getattr(self, name) <= high:
            raise InputError(
                f"Setting {name} is {getattr(self, name)}; it must be a whole number from {low} to {high}."
            )

    @property
    def zone(self) -> ZoneInfo:
        """Owner's time zone."""
        return ZoneInfo(self.timezone)

    @property
    def engine_url(self) -> str:
        """SQLAlchemy address of the ledger."""
        if not self.database_url:
            return f"sqlite:///{self.folder / 'ledger.sqlite3'}"
        for scheme in ("postgresql://", "postgres://"):
            if self.database_url.startswith(scheme):
                return "postgresql+psycopg://" + self.database_url.removeprefix(scheme)
        return self.database_url

    @property
    def outbox_folder(self) -> Path:
        """Folder that mail is written to while `mail_by` is "file"."""
        return self.folder / "outbox"

    @property
    def model_folder(self) -> Path:
        """Folder that trained models are cached in."""
        return self.folder / "model"

    def with_saved(self, saved: Mapping[str, str]) -> Self:
        """Put what the owner saved under what was given from outside.

        Parameters
        ----------
        saved : mapping of str to str
            Names and texts, as the settings page stores them; unknown names are passed over.
        """
        wanted: dict[str, Any] = {
            name: parse_setting(name, saved[name])
            for name in owner_settings()
            if name in saved and name not in self.given
        }
        return replace(self, **wanted) if wanted else self


@cache
def setting_fields() -> tuple[Field[Any], ...]:
    """Every setting with its type, default and help, in the order of the class."""
    return tuple(item for item in fields(Settings) if item.name != "given")


def _field(name: str) -> Field[Any]:
    return next(item for item in setting_fields() if item.name == name)


@cache
def owner_settings() -> tuple[str, ...]:
    """Names of the settings that the owner may change on the settings page."""
    return tuple(item.name for item in setting_fields() if item.metadata["owner"])


def help_of(name: str) -> str:
    """One line of help for the setting `name`."""
    return str(_field(name).metadata["help"])


def is_secret(name: str) -> bool:
    """Whether the setting `name` is never shown and only read from the environment."""
    return bool(_field(name).metadata["secret"])


def parse_setting(name: str, text: str) -> object:
    """Value of the setting `name` from what a person typed; raises InputError as `load` does."""
    return _parsed(name, _field(name).type, text, "the settings page")


def _parsed(name: str, kind: Any, value: object, origin: str) -> object:
    """`value` as the type of the setting `name`, or an error that says what was found where."""
    try:
        if kind is bool:
            if isinstance(value, bool):
                return value
            text = str(value).strip().lower()
            if text in ("1", "true", "yes", "on"):
                return True
            if text in ("0", "false", "no", "off", ""):
                return False
            raise ValueError
        if kind is Path:
            return Path(str(value)).expanduser()
        if kind in (int, float):
            return kind(str(value))
        return str(value)
    except ValueError:
        wanted = {int: "a whole number", float: "a number", bool: "yes or no"}[kind]
        raise InputError(f"Setting {name} from {origin} is {value!r}; it must be {wanted}.") from None


def load(
    options: Mapping[str, object] | None = None, environ: Mapping[str, str] | None = None
) -> tuple[Settings, dict[str, str]]:
    """Read the settings of this installation.

    Parameters
    ----------
    options : mapping of str to object, optional
        Values given on the command line; None values are passed over.
    environ : mapping of str to str, optional
        The environment, by default the process's own.

    Returns
    -------
    settings : Settings
    origins : dict of str to str
        For each name: "option", "environment", "settings.toml" or "default".

    Raises
    ------
    InputError
        If a file or value cannot be used, or the file has an unknown name.
    """
    environ = os.environ if environ is None else environ
    given = {name: value for name, value in (options or {}).items() if value is not None}
    folder = Path(str(given.get("folder") or environ.get(PREFIX + "FOLDER") or "second-batch")).expanduser()
    from_file = _read_file(folder / FILE_NAME)
    values: dict[str, Any] = {"folder": folder}
    origins = {"folder": _origin_of_folder(given, environ)}
    for item in setting_fields():
        if item.name == "folder":
            continue
        variable = PREFIX + item.name.upper()
        if item.name in given:
            value, origin = given[item.name], "option"
        elif variable in environ:
            value, origin = environ[variable], "environment"
        elif item.name in from_file:
            value, origin = from_file[item.name], FILE_NAME
        else:
            origins[item.name] = "default"
            continue
        values[item.name] = _parsed(item.name, item.type, value, origin)
        origins[item.name] = origin
    given_names = frozenset(name for name, origin in origins.items() if origin != "default")
    return Settings(**values, given=given_names), origins


def _origin_of_folder(given: Mapping[str, object], environ: Mapping[str, str]) -> str:
    if "folder" in given:
        return "option"
    return "environment" if PREFIX + "FOLDER" in environ else "default"


def _read_file(path: Path) -> dict[str, object]:
    """Names and values in the settings file; empty where there is none."""
    try:
        with path.open("rb") as file:
            found = tomllib.load(file)
    except FileNotFoundError:
        return {}
    except (OSError, tomllib.TOMLDecodeError) as error:
        raise InputError(f"{path} cannot be read as TOML: {error}. Mend it or remove it.") from error
    known = {item.name: item for item in setting_fields()}
    for name in found:
        if name not in known or name == "folder":
            raise InputError(f"{path} has a setting {name!r} that is not known; see README.md, Settings.")
        if known[name].metadata["secret"]:
            raise InputError(
                f"{path} holds {name}; secrets come from the environment only: set {PREFIX}{name.upper()}."
            )
    return found
