"""Your sign-in: the second step switched on and off, spare codes, where one is signed in, the last events."""

from flask import Blueprint, g, request
from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.records import second_step
from inbox.records.accounts import (
    SignInRefusedError,
    confirm_password,
    end_sign_in,
    sign_out_everywhere,
)
from inbox.records.door_book import note
from inbox.records.limits import hash_sender
from inbox.web.access import account, may, see_other, settings
from inbox.web.notices import say
from inbox.web.page import Answer, Refusal
from inbox.web.pages.your_sign_in import PhonePage, SpareCodesPage, load_your_sign_in, phone_page
from inbox.web.proof import make_proof, read_proof
from inbox.web.row_numbers import row_number

area = Blueprint("your_sign_in", __name__)
_PURPOSE = "secret shown"


@area.get("/your-sign-in")
@may("owner", "helper")
def show(session: Session) -> Answer:
    """How the signed-in person signs in, and what happened lately."""
    return load_your_sign_in(session, account(), now=g.now)


@area.post("/your-sign-in")
@may("owner", "helper")
def change(session: Session) -> Answer:
    """Begin the second step, switch it off, or make new spare codes; the password comes first."""
    me, sender = account(), hash_sender(session, request.remote_addr or "", now=g.now)
    if refused := _password_refused(session, me.account_id, sender):
        return Refusal(load_your_sign_in(session, me, now=g.now, trouble=refused), keep=True)
    wish, is_on = request.form.get("do", ""), second_step.is_on(session, me.account_id)
    if wish == "begin" and not is_on:
        secret = second_step.new_secret()
        return _phone(secret, make_proof(_PURPOSE, {"account": me.account_id, "secret": secret}))
    if wish == "renew" and is_on:
        codes = second_step.make_spare_codes(session, me.account_id, now=g.now)
        note(session, "spare_codes_made", me.account_id, sender, now=g.now, known_browser=True)
        return SpareCodesPage(codes)
    if wish == "off" and is_on:
        second_step.switch_off(session, me.account_id, keep_sign_in=me.sign_in_id)
        note(session, "code_off", me.account_id, sender, now=g.now, known_browser=True)
        say("No code is asked for any more, and every other sign-in of yours has ended.")
    return see_other("/your-sign-in")


@area.post("/your-sign-in/ended")
@may("owner", "helper")
def end(session: Session) -> Answer:
    """End one other sign-in of this person, or all others; the password comes first (ASVS 5.0, 7.5.2)."""
    me, sender = account(), hash_sender(session, request.remote_addr or "", now=g.now)
    if refused := _password_refused(session, me.account_id, sender):
        return Refusal(load_your_sign_in(session, me, now=g.now, ending_trouble=refused), keep=True)
    which = request.form.get("which", "")
    if which == "others":
        sign_out_everywhere(session, me.account_id, but=me.sign_in_id)
        note(session, "sign_ins_ended", me.account_id, sender, now=g.now, known_browser=True)
        say("Every other sign-in of yours has ended.")
    elif (number := row_number(which)) and number != me.sign_in_id:
        if end_sign_in(session, me.account_id, number):
            note(session, "sign_in_ended", me.account_id, sender, now=g.now, known_browser=True)
        say("That sign-in has ended.")
    return see_other("/your-sign-in")


@area.post("/your-sign-in/phone")
@may("owner", "helper")
def switch_on(session: Session) -> Answer:
    """Switch the second step on, once the phone has shown a code that fits."""
    me, sender = account(), hash_sender(session, request.remote_addr or "", now=g.now)
    proof = request.form.get("proof", "")
    facts = read_proof(_PURPOSE, proof)
    if facts is None or facts["account"] != me.account_id or second_step.is_on(session, me.account_id):
        trouble = "That took too long; begin once more."
        return Refusal(load_your_sign_in(session, me, now=g.now, trouble=trouble))
    try:
        codes = second_step.switch_on(
            session,
            me.account_id,
            facts["secret"],
            request.form.get("code", ""),
            now=g.now,
            keep_sign_in=me.sign_in_id,
        )
    except InputError as error:
        return Refusal(_phone(facts["secret"], proof, str(error)))
    note(session, "code_on", me.account_id, sender, now=g.now, known_browser=True)
    return SpareCodesPage(codes)


def _phone(secret: str, proof: str, trouble: str = "") -> PhonePage:
    return phone_page(secret, proof, name=account().name, site_name=settings().site_name, trouble=trouble)


def _password_refused(session: Session, account_id: int, sender: str) -> str:
    """Why the password that came along does not count; empty where it does."""
    try:
        confirm_password(session, account_id, request.form.get("password", ""), sender, now=g.now)
    except SignInRefusedError as error:
        return str(error)
    return ""
