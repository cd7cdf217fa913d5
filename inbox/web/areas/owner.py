"""Settings and accounts, the first steps, and the forms to copy into a site."""

from dataclasses import replace
from ipaddress import ip_address

from flask import Blueprint, abort, g, request
from sqlalchemy.orm import Session

from inbox.errors import InboxError, InputError
from inbox.intake.forms import FORMS
from inbox.pipeline.long_work import ask
from inbox.pipeline.works import DIGEST
from inbox.records import accounts, second_step
from inbox.records.door_book import note
from inbox.records.limits import hash_sender
from inbox.records.saved import save_settings
from inbox.settings import owner_settings
from inbox.web.access import account, may, see_other, settings
from inbox.web.areas.entry import with_token
from inbox.web.form_words import WORDS, load_words, save_words
from inbox.web.installation import installation
from inbox.web.notices import say
from inbox.web.page import Answer, Refusal
from inbox.web.pages.choices import recipe_choices
from inbox.web.pages.entry import PasswordPage
from inbox.web.pages.owner import (
    FormsPage,
    MailPage,
    SettingsPage,
    load_form_words,
    load_second_step,
    load_settings,
    load_setup,
)
from inbox.web.pages.reader_forms import find_recipe

area = Blueprint("owner", __name__)


def _settings_page(session: Session, **more: dict[str, str]) -> SettingsPage:
    return load_settings(session, settings(), account().account_id, **more)


@area.get("/settings")
@may("owner")
def show_settings(session: Session) -> Answer:
    """What the owner may change."""
    return _settings_page(session)


@area.post("/settings")
@may("owner")
def keep_settings(session: Session) -> Answer:
    """Keep what was typed, all of it or nothing."""
    typed = {
        name: request.form[name].strip()
        for name in owner_settings()
        if name in request.form and name not in settings().given
    }
    wrong = {}
    for name, text in typed.items():
        try:
            settings().with_saved({name: text})
        except InputError as error:
            wrong[name] = str(error)
    if wrong:
        return Refusal(_settings_page(session, typed=typed, wrong=wrong))
    changed = {name: text for name, text in typed.items() if text != str(getattr(settings(), name))}
    save_settings(session, installation().settings, changed, now=g.now)
    say("Kept." if changed else "Nothing was changed.")
    return see_other("/settings")


@area.post("/settings/people")
@may("owner")
def add_person(session: Session) -> Answer:
    """Add a helper or another owner; they come in by a one-time link and choose a password."""
    try:
        made = accounts.create_account(
            session, request.form.get("person", ""), request.form.get("role", "helper"), None, now=g.now
        )
    except InboxError as error:
        session.rollback()
        return Refusal(replace(_settings_page(session), troubles=[("person", str(error))]))
    return _with_link(session, made.id)


@area.post("/settings/people/<int:account_id>")
@may("owner")
def change_person(session: Session, account_id: int) -> Answer:
    """Make a new link for somebody, sign them out everywhere, or let them in no more."""
    person, wish = accounts.get_account(session, account_id), request.form.get("do")
    if wish == "link":
        return _with_link(session, person.id)
    if wish == "sign-out":
        accounts.sign_out_everywhere(session, person.id)
        _note_for(session, person.id, "ended_by_owner")
        say(f"Every sign-in of {person.name} has ended.")
    if wish == "close":
        accounts.close_account(session, person.id, now=g.now)
        _note_for(session, person.id, "let_in_no_more")
        say(f"{person.name} can sign in no more.")
    return see_other("/settings#people")


@area.get("/settings/people/<int:account_id>/second-step")
@may("owner")
def show_second_step(session: Session, account_id: int) -> Answer:
    """Before somebody else's second step is switched off."""
    return load_second_step(session, account_id, account().account_id)


@area.post("/settings/people/<int:account_id>/second-step")
@may("owner")
def switch_off_second_step(session: Session, account_id: int) -> Answer:
    """Switch the second step of a lost phone off for somebody else; the owner's own password comes first."""
    me, sender = account(), hash_sender(session, request.remote_addr or "", now=g.now)
    person = accounts.get_account(session, account_id)
    try:
        accounts.confirm_password(session, me.account_id, request.form.get("password", ""), sender, now=g.now)
    except accounts.SignInRefusedError as error:
        return Refusal(load_second_step(session, person.id, me.account_id, str(error)), keep=True)
    if person.id != me.account_id and second_step.is_on(session, person.id):
        second_step.switch_off(session, person.id)
        _note_for(session, person.id, "code_off_by_owner")
        say(f"{person.name} is asked for no code any more, and is signed out everywhere.")
    return see_other("/settings#people")


def _note_for(session: Session, account_id: int, what: str) -> None:
    """Note what an owner changed about somebody else's way in, with both of them."""
    sender = hash_sender(session, request.remote_addr or "", now=g.now)
    note(session, what, account_id, sender, now=g.now, known_browser=True)
    note(session, "other_changed", account().account_id, sender, now=g.now, known_browser=True)


def _with_link(session: Session, account_id: int) -> SettingsPage:
    """The page with a one-time link, which is shown only now."""
    token = accounts.make_link(session, account_id, now=g.now)
    _note_for(session, account_id, "link_made")
    link = f"{settings().public_url.rstrip('/')}/enter/{token}?then=/password"
    return replace(_settings_page(session), link=link)


@area.get("/password")
@may("owner", "helper")
def show_password(session: Session) -> Answer:
    """Where a password is chosen."""
    return PasswordPage(has_one=accounts.has_password(session, account().account_id))


@area.post("/password")
@may("owner", "helper")
def change_password(session: Session) -> Answer:
    """Choose a new password; every other sign-in of this person ends."""
    me, form = account(), request.form
    sender = hash_sender(session, request.remote_addr or "", now=g.now)
    has_one = accounts.has_password(session, me.account_id)
    try:
        if has_one:
            accounts.confirm_password(session, me.account_id, form.get("present", ""), sender, now=g.now)
        if form.get("password") != form.get("again"):
            raise InputError("The two new passwords differ; type the same one twice.")
        accounts.change_password(
            session, me.account_id, form.get("password", ""), now=g.now, keep_sign_in=me.sign_in_id
        )
    except InputError as error:
        return Refusal(PasswordPage(has_one=has_one, trouble=str(error)), keep=True)
    note(session, "password_changed", me.account_id, sender, now=g.now, known_browser=True)
    say("The password is changed, and every other sign-in of yours has ended.")
    return see_other("/contents")


def check_may_begin() -> None:
    """The first owner is made from this machine or this network, not by whoever finds the page first."""
    try:
        near = ip_address(request.remote_addr or "").is_private
    except ValueError:
        near = False
    if not near:
        abort(403, "Begin on the machine that this runs on, or with the command second-batch setup there.")


@area.get("/setup")
@may("anyone")
def show_setup(session: Session) -> Answer:
    """The first steps."""
    if accounts.has_owner(session):
        if not g.account or g.account.role != "owner":
            return see_other("/sign-in", then="/setup")
    else:
        check_may_begin()
    return load_setup(session, settings())


@area.post("/setup")
@may("anyone")
def begin(session: Session) -> Answer:
    """Make the owner's account, keep the first settings, and sign in."""
    if accounts.has_owner(session):
        abort(403, "There is an owner already; sign in instead.")
    check_may_begin()
    typed = {name: request.form.get(name, "").strip() for name in FIRST_SETTINGS}
    troubles = _first_troubles(typed)
    if troubles:
        return Refusal(load_setup(session, settings(), typed=typed, troubles=troubles))
    values = {name: text for name, text in typed.items() if text}
    save_settings(session, installation().settings, values, now=g.now)
    made = accounts.create_account(
        session, typed["owner_name"], "owner", request.form.get("password", ""), now=g.now
    )
    token = accounts.start_sign_in(session, made.id, now=g.now, hours=settings().session_hours)
    sender = hash_sender(session, request.remote_addr or "", now=g.now)
    note(session, "signed_in", made.id, sender, now=g.now)
    say("That is the first step. The others can be done in any order, or later.")
    return with_token(see_other("/setup"), token)


FIRST_SETTINGS = ("owner_name", "site_name", "site_url", "timezone", "country")


def _first_troubles(typed: dict[str, str]) -> list[tuple[str, str]]:
    troubles = []
    if not typed["owner_name"]:
        troubles.append(("owner_name", "Write your first name; replies and forms speak with it."))
    for name in ("timezone", "site_name"):
        try:
            settings().with_saved({name: typed[name]} if typed[name] else {})
        except InputError as error:
            troubles.append((name, str(error)))
    try:
        accounts.check_password(request.form.get("password", ""), typed["owner_name"])
    except InputError as error:
        troubles.append(("password", str(error)))
    return troubles


@area.post("/setup/digest")
@may("owner")
def first_digest(session: Session) -> Answer:
    """Make the digest of the last full week now."""
    work = ask(session, DIGEST, {"name": "The first digest"}, now=g.now)
    return see_other(f"/bring-in/work/{work}")


@area.get("/setup/mail")
@may("owner")
def show_mail(session: Session) -> Answer:
    """How mail is set up."""
    counted = settings()
    return MailPage(counted.mail_by, counted.smtp_host, counted.imap_host, counted.outbox_folder.name)


@area.get("/forms")
@may("owner", "helper")
def show_forms(session: Session) -> Answer:
    """Forms to copy into the site, for one recipe or for all."""
    slug = request.args.get("recipe", "")
    recipe = find_recipe(session, slug)
    counted = settings()
    return FormsPage(
        base=counted.public_url.rstrip("/"),
        slug=slug,
        recipe=recipe.title if recipe else "",
        recipes=recipe_choices(session, "the whole site"),
        words=load_words(session),
        forms=[form for form in FORMS if recipe or form not in ("made_it", "went_wrong")],
        frame_sites=[site for site in (counted.site_url, *counted.form_sites.split()) if site],
    )


@area.get("/forms/words")
@may("owner")
def show_form_words(session: Session) -> Answer:
    """The texts on the forms."""
    return load_form_words(session)


@area.post("/forms/words")
@may("owner")
def keep_form_words(session: Session) -> Answer:
    """Keep the owner's own texts."""
    typed = {code: request.form[code] for code in WORDS if code in request.form}
    try:
        save_words(session, typed, now=g.now)
    except InputError as error:
        session.rollback()
        return Refusal(load_form_words(session, typed, str(error)))
    say("Kept.")
    return see_other("/forms/words")
