"""Every page in a real browser: axe-core finds nothing, nothing overflows, targets are large."""

from importlib.resources import files

import pytest
from sqlalchemy import select

from inbox.records.tables import Labels, Message
from inbox.records.tables_out import DigestRow, Theme
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
        theme = session.scalars(select(Theme.id).limit(1)).one()
        week = session.scalars(select(DigestRow.week)).one()
        open_draft(session, message, now=site.now, sender=Sender(address="ines@example.org"))
        return [
            f"/digests/{week}", "/digests", "/contents", "/requests", f"/requests/{theme}",
            f"/requests/{theme}/split", f"/requests/{theme}/brief", f"/requests/{theme}/tell", "/recipes",
            "/recipes/sharp-lemon-tart", "/hazards", f"/hazards/{hazard}", "/messages",
            "/messages?words=bread&kind=nonsense", f"/messages/{hazard}", "/replies", f"/replies/{message}",
            "/replies/sent", "/phrases", "/check", "/bring-in", "/set-aside", "/forms", "/forms/words",
            "/readers", "/readers/1", "/settings", "/setup", "/setup/mail", "/password", "/take-out",
            "/take-out/quotations", "/style", "/nowhere", "/f", "/f/made_it/sharp-lemon-tart",
            "/f/went_wrong/sharp-lemon-tart", "/f/please_make", "/f/thanks", "/f/privacy", "/unsubscribe/no",
        ]  # fmt: skip

    return site.change(find)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 390])
def test_every_page(chromium, site, scheme: str, width: int) -> None:
    axe = (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")
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
        for details in page.locator("details").all():
            details.evaluate("one => one.open = true")
        page.evaluate(axe)
        found = page.evaluate(
            "async tags => (await axe.run({runOnly: tags})).violations.map(one => "
            "one.id + ': ' + one.nodes.slice(0, 3).map(node => node.html.slice(0, 160)).join(' | '))",
            AXE,
        )
        troubles += [f"{address}: {words}" for words in found]
        if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
            troubles.append(f"{address}: wider than the window")
        small = page.evaluate(
            "least => [...document.querySelectorAll('button, select, textarea, summary, "
            "input:not([type=hidden], [type=checkbox], [type=radio])')].filter(one => one.checkVisibility() "
            "&& !one.closest('[aria-hidden]') && one.getBoundingClientRect().height < least)"
            ".map(one => one.outerHTML.slice(0, 120))",
            LEAST_TARGET,
        )
        troubles += [f"{address}: too low a target: {one}" for one in small]
        troubles += [f"{address}: {words}" for words in logged if "404" not in words]
    context.close()

    assert not troubles, "\n".join(troubles)
