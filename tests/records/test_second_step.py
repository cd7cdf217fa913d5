"""The second step: codes are used up, spare codes too, and guessing does not lock the person out."""

from datetime import datetime, timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.records import accounts, second_step
from inbox.records.door_book import KEPT_DAYS, drop_old_notes, newest, note
from inbox.records.second_step import code_at, give_code, step_of
from inbox.records.tables_out import Account, SpareCode

SECRET = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"


@pytest.fixture
def owner(any_session: Session, now: datetime) -> Account:
    return accounts.create_account(any_session, "Ines", "owner", "rye and caraway", now=now)


@pytest.fixture
def spares(any_session: Session, owner: Account, now: datetime) -> list[str]:
    """Spare codes of an owner whose second step is on; the code of this moment is used up."""
    code = code_at(SECRET, step_of(now))
    return second_step.switch_on(any_session, owner.id, SECRET, code, now=now, keep_sign_in=None)


def test_it_goes_on_only_with_a_code_that_fits(any_session: Session, owner: Account, now: datetime) -> None:
    for wrong in ("000000", "", "12345", "abcdef", "١٢٣٤٥٦"):
        with pytest.raises(InputError, match="does not fit"):
            second_step.switch_on(any_session, owner.id, SECRET, wrong, now=now, keep_sign_in=None)

    assert not second_step.is_on(any_session, owner.id)


def test_each_code_is_taken_once(
    any_session: Session, owner: Account, spares: list[str], now: datetime
) -> None:
    """RFC 6238, section 5.2; nor is one taken that is older than the last."""
    later = now + timedelta(minutes=5)
    code = code_at(SECRET, step_of(later))
    older = code_at(SECRET, step_of(later) - 1)
    assert give_code(any_session, owner.id, f" {code[:3]} {code[3:]}", "here", now=later) == "code_right"

    for used in (code, older):
        with pytest.raises(accounts.SignInRefusedError, match="used already"):
            give_code(any_session, owner.id, used, "here", now=later)


def test_the_code_that_switched_it_on_is_used_up(
    any_session: Session, owner: Account, spares: list[str], now: datetime
) -> None:
    with pytest.raises(accounts.SignInRefusedError):
        give_code(any_session, owner.id, code_at(SECRET, step_of(now)), "here", now=now)


def test_spare_codes_work_once_and_lie_as_hashes(
    any_session: Session, owner: Account, spares: list[str], now: datetime
) -> None:
    held = set(any_session.scalars(select(SpareCode.code_hash)))
    assert len(spares) == len(set(spares)) == len(held) == second_step.SPARE_CODES
    assert not any(spare.replace(" ", "") in held for spare in spares)

    typed = spares[0].upper().replace(" ", "-")
    assert give_code(any_session, owner.id, typed, "here", now=now) == "spare_code_used"
    with pytest.raises(accounts.SignInRefusedError):
        give_code(any_session, owner.id, typed, "here", now=now)
    assert second_step.count_spare_codes(any_session, owner.id) == second_step.SPARE_CODES - 1

    second_step.make_spare_codes(any_session, owner.id, now=now)
    with pytest.raises(accounts.SignInRefusedError):
        give_code(any_session, owner.id, spares[1], "here", now=now)


def test_spare_codes_are_as_random_as_a_plain_hash_needs() -> None:
    """ASVS 5.0, 6.5.2: below 112 bits a password hash would be asked for."""
    assert len(set(second_step._LETTERS)) ** second_step._SPARE_LENGTH >= 2**112


def test_one_persons_spare_code_is_not_anothers(
    any_session: Session, owner: Account, spares: list[str], now: datetime
) -> None:
    tom = accounts.create_account(any_session, "Tom", "helper", None, now=now)

    with pytest.raises(accounts.SignInRefusedError):
        give_code(any_session, tom.id, spares[0], "here", now=now)


def test_guessing_holds_up_the_guesser_and_spares_the_known_browser(
    any_session: Session, owner: Account, spares: list[str], now: datetime
) -> None:
    tries = max(second_step.TRIES_A_QUARTER_HOUR, second_step.ACCOUNT_TRIES_AN_HOUR)
    for number in range(tries):
        with pytest.raises(accounts.SignInRefusedError):
            give_code(any_session, owner.id, "000000", f"sender {number // 10}", now=now)

    for sender in ("sender 0", "a new place"):
        with pytest.raises(second_step.TooManyCodesError):
            give_code(any_session, owner.id, spares[0], sender, now=now)
    with pytest.raises(second_step.TooManyCodesError):
        give_code(any_session, owner.id, spares[0], "sender 0", now=now, known_sender=True)
    assert give_code(any_session, owner.id, spares[0], "home", now=now, known_sender=True)
    assert give_code(any_session, owner.id, spares[1], "a new place", now=now + timedelta(minutes=61))


def test_on_and_off_end_the_other_sign_ins(any_session: Session, owner: Account, now: datetime) -> None:
    """ASVS 5.0, 7.4.3."""
    here, other = (accounts.start_sign_in(any_session, owner.id, now=now, hours=9) for _ in range(2))
    mine = accounts.find_signed_in(any_session, here, now=now)
    assert mine is not None
    code = code_at(SECRET, step_of(now))
    second_step.switch_on(any_session, owner.id, SECRET, code, now=now, keep_sign_in=mine.sign_in_id)
    assert accounts.find_signed_in(any_session, here, now=now)
    assert accounts.find_signed_in(any_session, other, now=now) is None

    other = accounts.start_sign_in(any_session, owner.id, now=now, hours=9)
    second_step.switch_off(any_session, owner.id, keep_sign_in=mine.sign_in_id)
    assert accounts.find_signed_in(any_session, here, now=now)
    assert accounts.find_signed_in(any_session, other, now=now) is None
    assert second_step.count_spare_codes(any_session, owner.id) == 0


def test_the_door_book_forgets_after_its_days(any_session: Session, owner: Account, now: datetime) -> None:
    note(any_session, "signed_in", owner.id, "x", now=now - timedelta(days=KEPT_DAYS, hours=1))
    note(any_session, "signed_out", owner.id, "x", now=now)
    note(any_session, "password_wrong", None, "x", now=now)
    drop_old_notes(any_session, now=now)

    assert [row.what for row in newest(any_session, owner.id, limit=9)] == ["signed_out"]
