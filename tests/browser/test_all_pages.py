"""Every page in a real browser: axe-core finds nothing, nothing overflows, targets are large."""

from datetime import UTC, datetime
from importlib.resources import files
from io import BytesIO

import pytest
from sqlalchemy import select

from inbox.pipeline.long_work import HELD, ask
from inbox.pipeline.works import IMPORT, READ_AGAIN
from inbox.records import accounts
from inbox.records.second_step import code_at, step_of
from inbox.records.tables import Labels, Message, Reader, SetAside
from inbox.records.tables_out import DigestRow, Learning, LongWork, Theme
from inbox.replies.compose import Sender
from inbox.replies.drafts import open_draft

pytestmark = pytest.mark.browser

AXE = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
LEAST_TARGET = 44
"""Height of buttons and fields in CSS pixels (WCAG 2.2 SC 2.5.5, AAA)."""


def _addresses(site) -> list[str]:
    def find(session) -> list[str]:
        message = session.scalars(select(Message.id).where(Message.reply_wanted).limit(1)).one()
        hazard = session.scalars(select(Labels.message_id).where(Labels.hazard.is_not(None)).limit(1)).one()
        theme = session.scalars(select(Theme.id).order_by(Theme.id).limit(1)).one()
        paid = session.scalars(select(Theme.id).where(Theme.shelf == "published")).one()
        week = session.scalars(select(DigestRow.week)).one()
        open_draft(session, message, now=site.now, sender=Sender(address="ines@example.org"))
        going, table, aside = _works(session, site.now)
        _pair(session)
        tom = _helper_with_a_phone(session, site.now)
        return [
            f"/bring-in/work/{going}", f"/bring-in/table/{table}", f"/set-aside/{aside}", "/work",
            f"/digests/{week}", "/digests", "/contents", "/requests", f"/requests/{theme}",
            f"/requests/{paid}", "/requests?shelf=published",
            f"/requests/{theme}/split", f"/requests/{theme}/brief", f"/requests/{theme}/tell", "/recipes",
            "/recipes/sharp-lemon-tart", "/hazards", f"/hazards/{hazard}", "/messages",
            "/messages?words=bread&kind=nonsense", f"/messages/{hazard}", "/replies", f"/replies/{message}",
            "/replies/sent", "/phrases", "/check", "/bring-in", "/set-aside", "/second-look",
            "/forms", "/forms/words", "/readers", "/readers/1", "/settings", "/setup", "/setup/mail",
            "/password", "/your-sign-in", f"/settings/people/{tom}/second-step", "/take-out",
            "/take-out/quotations", "/style", "/nowhere", "/f", "/f/made_it/sharp-lemon-tart",
            "/f/went_wrong/sharp-lemon-tart", "/f/please_make", "/f/thanks", "/f/privacy", "/unsubscribe/no",
        ]  # fmt: skip

    return site.change(find)


def _helper_with_a_phone(session, now) -> int:
    """A helper with a second step; and the owner is signed in elsewhere too."""
    ines = next(row for row in accounts.accounts(session) if row.name == "Ines")
    accounts.start_sign_in(session, ines.id, now=now, hours=9)
    tom = accounts.create_account(session, "Tom", "helper", None, now=now)
    tom.code_secret = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"
    return tom.id


def _pair(session) -> None:
    """A message that may be one with another, by a reader who may be one with the other's."""
    first, second = session.scalars(
        select(Message)
        .join(Reader)
        .where(Reader.email.is_not(None), Reader.handle.is_(None))
        .order_by(Message.id)
        .limit(2)
    ).all()
    second.doubtful_twin_id = first.id
    second.reader = Reader(
        channel="social", handle="a_handle_without_a_space", first_seen_at=first.received_at
    )
    session.flush()


def _works(session, now) -> tuple[int, int, int]:
    """An import under way, a table that waits to be looked at, an item set aside; what was learned."""
    going = ask(session, IMPORT, {"name": "eleven years of letters.mbox"}, now=now)
    session.get_one(LongWork, going).started_at = session.get_one(LongWork, going).seen_alive_at = now
    session.get_one(LongWork, going).done_count, session.get_one(LongWork, going).of_count = 300, 1_000
    rows = (
        b"Timestamp,What would you like to tell us about this recipe?,Stars (1-5),Your e-mail address\n"
        b"03/04/2026,The cr\xfbmb was gummy and the crust so hard that it cut my gum,2,ada@example.org\n"
        b"04/04/2026,Lovely,5,a.very.long.address.of.a.reader.indeed@some-rather-long-host-name.example\n"
    )
    table = ask(session, HELD, {"name": "answers to the autumn form.csv"}, upload=BytesIO(rows), now=now)
    raw = b"From: nobody\nContent-Type: multipart/mixed\n\n" + b"unbroken" * 40
    aside = SetAside(
        door="mail", place="message 17 of letters.mbox", reason="The mail names no border between its parts.",
        fingerprint="17", raw=raw, set_aside_at=now,
    )  # fmt: skip
    session.add(aside)
    for taken in (True, False):
        session.add(
            Learning(tried_at=now, taken=taken, label_count=40, right_before=0.7, right_after=0.8, labels={})
        )
    done = ask(session, READ_AGAIN, {"name": "Reading everything again"}, now=now)
    session.get_one(LongWork, done).finished_at = now
    session.get_one(LongWork, done).result = "Read 150 messages; 3 themes are new."
    session.flush()
    return going, table, aside.id


def _axe() -> str:
    return (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")


def _troubles(page, axe: str) -> list[str]:
    """What is wrong with the page as it stands."""
    for details in page.locator("details").all():
        details.evaluate("one => one.open = true")
    page.evaluate(axe)
    troubles = page.evaluate(
        "async tags => (await axe.run({runOnly: tags})).violations.map(one => "
        "one.id + ': ' + one.nodes.slice(0, 3).map(node => node.html.slice(0, 160)).join(' | '))",
        AXE,
    )
    if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
        troubles.append("wider than the window")
    small = page.evaluate(
        "least => [...document.querySelectorAll('button, select, textarea, summary, "
        "input:not([type=hidden], [type=checkbox], [type=radio])')].filter(one => one.checkVisibility() "
        "&& !one.closest('[aria-hidden]') && one.getBoundingClientRect().height < least)"
        ".map(one => one.outerHTML.slice(0, 120))",
        LEAST_TARGET,
    )
    return troubles + [f"too low a target: {one}" for one in small]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 390])
def test_every_page(chromium, site, scheme: str, width: int) -> None:
    axe = _axe()
    context = chromium.new_context(
        viewport={"width": width, "height": 900}, color_scheme=scheme, reduced_motion="reduce"
    )
    page = context.new_page()
    logged: list[str] = []
    page.on(
        "console", lambda entry: logged.append(entry.text) if entry.type in ("error", "warning") else None
    )
    page.goto(site.link())
    troubles = []
    for address in _addresses(site):
        logged.clear()
        page.goto(site.address + address)
        troubles += [f"{address}: {words}" for words in _troubles(page, axe)]
        troubles += [f"{address}: {words}" for words in logged if "404" not in words]
    logged.clear()
    page.goto(site.address + "/messages")
    for box in page.locator("input[name=pick]").all()[:3]:
        box.check()
    page.locator("#several button").last.click()
    page.get_by_role("heading", level=1).wait_for()
    assert page.locator("input[name=pick]").count() == 3
    troubles += [f"several at once: {words}" for words in [*_troubles(page, axe), *logged]]
    context.close()

    assert not troubles, "\n".join(troubles)


@pytest.fixture(params=[("light", 1280), ("light", 390), ("dark", 1280), ("dark", 390)])
def stranger(request, chromium):
    """The window of somebody who is not signed in."""
    scheme, width = request.param
    context = chromium.new_context(
        viewport={"width": width, "height": 900}, color_scheme=scheme, reduced_motion="reduce"
    )
    context.set_default_timeout(8_000)
    yield context.new_page()
    context.close()


def test_signing_in(stranger, site) -> None:
    axe, troubles = _axe(), []
    for address in ("/enter/used-before", "/sign-in?then=/messages"):
        stranger.goto(site.address + address)
        troubles += [f"{address}: {words}" for words in _troubles(stranger, axe)]
    stranger.get_by_label("Your name").fill("Ines")
    stranger.get_by_label("Password").fill("not rye and caraway")
    stranger.get_by_role("button", name="Sign in").click()
    stranger.locator("[role=alert]").wait_for()
    troubles += [f"refused: {words}" for words in _troubles(stranger, axe)]

    assert not troubles, "\n".join(troubles)


def test_the_second_step(stranger, site) -> None:
    axe, troubles = _axe(), []

    def look(name: str) -> None:
        stranger.get_by_role("heading", level=1, name=name).wait_for()
        troubles.extend(f"{name}: {words}" for words in _troubles(stranger, axe))

    stranger.goto(site.address + "/sign-in")
    stranger.get_by_label("Your name").fill("Ines")
    stranger.get_by_label("Password").fill("rye and caraway")
    stranger.get_by_role("button", name="Sign in").click()
    stranger.get_by_role("button", name="Sign out").wait_for()
    stranger.goto(site.address + "/your-sign-in")
    look("Your sign-in")
    stranger.get_by_label("Present password").fill("rye and caraway")
    stranger.get_by_role("button", name="Set it up").click()
    look("Your phone")
    secret = stranger.locator("main code").first.inner_text().replace(" ", "")
    stranger.get_by_label("Code that the phone shows").fill(code_at(secret, step_of(datetime.now(UTC))))
    stranger.get_by_role("button", name="Switch it on").click()
    look("Spare codes")
    spare = stranger.locator("main code").first.inner_text()
    stranger.get_by_role("link", name="I have them").click()
    look("Your sign-in")
    stranger.get_by_role("button", name="Sign out").click()
    stranger.goto(site.link())
    look("The code from your phone")
    stranger.get_by_label("Code").fill("000000")
    stranger.get_by_role("button", name="Go on").click()
    stranger.locator("[role=alert]").wait_for()
    look("The code from your phone")
    stranger.get_by_label("Code").fill(spare)
    stranger.get_by_role("button", name="Go on").click()
    stranger.get_by_role("button", name="Sign out").wait_for()

    assert not troubles, "\n".join(troubles)


def test_the_first_setup(stranger, empty_site) -> None:
    axe = _axe()
    stranger.goto(empty_site.address + "/setup")
    troubles = _troubles(stranger, axe)
    stranger.get_by_label("A password").fill("short")
    stranger.locator("form").first.evaluate("one => { one.noValidate = true; }")
    stranger.get_by_role("button", name="Begin").click()
    stranger.locator("[role=alert]").wait_for()
    troubles += [f"refused: {words}" for words in _troubles(stranger, axe)]

    assert not troubles, "\n".join(troubles)
