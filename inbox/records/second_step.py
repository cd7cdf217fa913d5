"""The second step of a sign-in: a code from the person's phone (RFC 6238), or one of the spare codes.

The secret lies in the ledger as it is, since a code can only be checked with it; the signing key lies in
the same ledger, so that encrypting by it would keep nobody out. Spare codes are kept as hashes, since
they need only be compared. Read `give_code` first.
"""

import hmac
import secrets
from datetime import datetime, timedelta

import pyotp
from sqlalchemy import delete, func, or_, select, update
from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.records.accounts import SignInRefusedError, get_account, hash_token, sign_out_everywhere
from inbox.records.limits import count_tries, note_try
from inbox.records.tables_out import Account, SpareCode

STEP_SECONDS = 30
"""RFC 6238, section 5.2, recommends 30 s; it is also what the programs on phones take for granted."""

DRIFT_STEPS = 1
"""Steps that the phone's clock may be off, either way (RFC 6238, section 5.2: at most one for delay)."""

DIGITS = 6

SPARE_CODES = 10
"""Chosen: enough for years of lost phones, and still one small sheet."""

TRIES_A_QUARTER_HOUR = 10
"""Wrong codes from one sender before it has to wait; as for passwords."""

ACCOUNT_TRIES_AN_HOUR = 20
"""Wrong codes for one account from all senders. Three of 1,000,000 codes hold at a time, so a guesser who
has the password gets in within a day in 24 * 20 * 3 of 1,000,000 cases, which is 0.15 in 100."""

_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
"""Letters and figures that are not taken for one another."""

_SPARE_LENGTH = 24


def new_secret() -> str:
    """A random secret of 160 bits in base 32, as RFC 4226, section 4 (R6), recommends."""
    return pyotp.random_base32(32)


def address_for_phone(secret: str, *, name: str, site_name: str) -> str:
    """The `otpauth://` address that a QR code carries to a phone."""
    return pyotp.TOTP(secret, digits=DIGITS, interval=STEP_SECONDS).provisioning_uri(
        name=name, issuer_name=site_name
    )


def step_of(now: datetime) -> int:
    """Number of the time step, T of RFC 6238, section 4.2, counted from 1970 in UTC."""
    return int(now.timestamp()) // STEP_SECONDS


def code_at(secret: str, step: int) -> str:
    """The code of one time step: HOTP(K, T) of RFC 6238, by SHA-1, with six digits."""
    return pyotp.HOTP(secret, digits=DIGITS).at(step)


def find_step(secret: str, code: str, *, now: datetime, after: int | None = None) -> int | None:
    """The time step whose code this is, within the drift and later than `after`; None if there is none."""
    plain = "".join(code.split())
    if not (plain.isascii() and plain.isdecimal()):
        return None
    here = step_of(now)
    for step in range(here - DRIFT_STEPS, here + DRIFT_STEPS + 1):
        if (after is None or step > after) and hmac.compare_digest(code_at(secret, step), plain):
            return step
    return None


def is_on(session: Session, account_id: int) -> bool:
    """Whether this account's sign-in asks for a code."""
    return get_account(session, account_id).code_secret is not None


def switch_on(
    session: Session, account_id: int, secret: str, code: str, *, now: datetime, keep_sign_in: int | None
) -> list[str]:
    """Ask for codes by this secret from now on; every other sign-in of the account ends.

    Returns
    -------
    list of str
        The spare codes, which are shown only now.

    Raises
    ------
    InputError
        If the code is not one of this secret's, so that nobody locks himself out.
    """
    step = find_step(secret, code, now=now)
    if step is None:
        raise InputError(
            "That code does not fit. Type the six figures that the phone shows now; if they never fit, "
            "the clock of the phone or of this machine is wrong."
        )
    account = get_account(session, account_id)
    account.code_secret, account.code_step = secret, step
    sign_out_everywhere(session, account_id, but=keep_sign_in)
    return make_spare_codes(session, account_id, now=now)


def switch_off(session: Session, account_id: int, *, keep_sign_in: int | None = None) -> None:
    """Ask for no code any more; spare codes are dropped, and every other sign-in of the account ends."""
    account = get_account(session, account_id)
    account.code_secret = account.code_step = None
    session.execute(delete(SpareCode).where(SpareCode.account_id == account_id))
    sign_out_everywhere(session, account_id, but=keep_sign_in)
    session.flush()


def make_spare_codes(session: Session, account_id: int, *, now: datetime) -> list[str]:
    """New spare codes in the place of the old ones; only their hashes are kept.

    Each has 24 letters of 31, which is 118 random bits: enough for a plain hash (ASVS 5.0, 6.5.2,
    asks for a password hash below 112).
    """
    session.execute(delete(SpareCode).where(SpareCode.account_id == account_id))
    made = ["".join(secrets.choice(_LETTERS) for _ in range(_SPARE_LENGTH)) for _ in range(SPARE_CODES)]
    session.add_all(
        SpareCode(account_id=account_id, code_hash=_spare_hash(account_id, code), made_at=now)
        for code in made
    )
    session.flush()
    return [" ".join(code[at : at + 4] for at in range(0, _SPARE_LENGTH, 4)) for code in made]


def count_spare_codes(session: Session, account_id: int) -> int:
    """Spare codes that were not used yet."""
    found = select(func.count()).where(SpareCode.account_id == account_id, SpareCode.used_at.is_(None))
    return session.scalar(found) or 0


def give_code(
    session: Session,
    account_id: int,
    code: str,
    sender_hash: str,
    *,
    now: datetime,
    known_sender: bool = False,
) -> str:
    """Check a code of the phone or a spare code, and use it up.

    Parameters
    ----------
    known_sender : bool, default=False
        Whether this browser signed in with this name before; such a one is not held up by others' guesses.

    Returns
    -------
    str
        "code_right" or "spare_code_used".

    Raises
    ------
    SignInRefusedError
        If it is wrong, was used, or too many were tried. The try is recorded in the session, so it
        must be committed all the same.
    """
    _check_tries(session, account_id, sender_hash, now=now, known_sender=known_sender)
    account = get_account(session, account_id)
    if account.code_secret is not None:
        step = find_step(account.code_secret, code, now=now, after=account.code_step)
        if step is not None and _use_step(session, account_id, step):
            return "code_right"
    if _use_spare_code(session, account_id, code, now=now):
        return "spare_code_used"
    note_try(session, "code", sender_hash, now=now)
    note_try(session, "code_account", str(account_id), now=now)
    raise SignInRefusedError(
        "That code does not fit, or was used already. Wait for the phone's next one, or use a spare code."
    )


def _check_tries(
    session: Session, account_id: int, sender_hash: str, *, now: datetime, known_sender: bool
) -> None:
    quarter, hour = now - timedelta(minutes=15), now - timedelta(hours=1)
    too_many = count_tries(session, "code", sender_hash, quarter) >= TRIES_A_QUARTER_HOUR
    if not known_sender:
        tries = count_tries(session, "code_account", str(account_id), hour)
        too_many = too_many or tries >= ACCOUNT_TRIES_AN_HOUR
    if too_many:
        raise TooManyCodesError(
            "Too many codes were tried. Wait a quarter of an hour; after an hour any browser may try again."
        )


class TooManyCodesError(SignInRefusedError):
    """Too many wrong codes came from one place, or for one account."""


def _use_step(session: Session, account_id: int, step: int) -> bool:
    """Use up a time step and those before it; False if another request was faster (RFC 6238, section 5.2)."""
    used = update(Account).where(
        Account.id == account_id, or_(Account.code_step.is_(None), Account.code_step < step)
    )
    return bool(session.execute(used.values(code_step=step)).rowcount)  # type: ignore[attr-defined]


def _use_spare_code(session: Session, account_id: int, code: str, *, now: datetime) -> bool:
    used = update(SpareCode).where(
        SpareCode.account_id == account_id,
        SpareCode.code_hash == _spare_hash(account_id, code),
        SpareCode.used_at.is_(None),
    )
    return bool(session.execute(used.values(used_at=now)).rowcount)  # type: ignore[attr-defined]


def _spare_hash(account_id: int, code: str) -> str:
    plain = "".join(code.casefold().replace("-", " ").split())
    return hash_token(f"spare code:{account_id}:{plain}")
