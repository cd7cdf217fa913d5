"""Whole ways through the pages, as a person goes them."""

import json
import re
import time
from datetime import UTC, datetime

import pytest
from sqlalchemy import select

from inbox.calendar import last_full_week
from inbox.digest.build import freeze, site_of
from inbox.intake.run import import_path
from inbox.intake.sources import ImportOptions
from inbox.pipeline.long_work import do_next
from inbox.pipeline.works import works
from inbox.records.accounts import accounts, sign_out_everywhere
from inbox.records.engine import make_sessions
from inbox.records.settle import set_hand_label
from inbox.records.tables import Message
from inbox.records.tables_out import Reply, Theme, ThemeMember
from inbox.settings import Settings

pytestmark = pytest.mark.browser


@pytest.fixture
def page(chromium):
    context = chromium.new_context(viewport={"width": 390, "height": 844})
    yield context.new_page()
    context.close()


def _now() -> datetime:
    return datetime.now(UTC)


def test_from_an_empty_place_to_the_first_digest(page, empty_site, tmp_path) -> None:
    page.goto(empty_site.address)
    page.get_by_label("Your first name").fill("Ines")
    page.get_by_label("A password").fill("rye and caraway")
    page.get_by_label("Name of your site").fill("Second Rise")
    page.get_by_label("Your time zone").fill("Europe/London")
    page.get_by_role("button", name="Begin").click()
    page.get_by_role("link", name="What readers wrote so far").click()

    lines = [
        json.dumps({"text": f"Made the rye loaf, number {number}", "received_at": "2026-11-18T10:00:00Z"})
        for number in range(40)
    ]
    page.get_by_label("A file with messages").set_input_files(
        {"name": "old.jsonl", "mimeType": "application/json", "buffer": "\n".join(lines).encode()}
    )
    page.get_by_role("button", name="Bring it in").click()
    page.wait_for_url(re.compile("/bring-in/work/"))
    seen: list[str] = []

    def bring_in(arguments, path, tell) -> str:
        for done in (10, 20):
            tell(done, 40)
            page.get_by_text(f"{done} of 40").wait_for()
            seen.append(page.locator("#progress").inner_text())
        options = ImportOptions(now=_now())
        return import_path(make_sessions(empty_site.engine), path, options=options).in_words

    do_next(make_sessions(empty_site.engine), {"import": bring_in}, clock=_now)
    page.get_by_text("40 stored").wait_for()
    assert len(seen) == 2

    page.goto(empty_site.address + "/setup")
    page.get_by_role("button", name="Make the first digest now").click()
    settings = Settings(timezone="Europe/London", site_name="Second Rise")

    def digest(arguments, path, tell) -> str:
        week = last_full_week(_now(), settings.zone)
        empty_site.change(
            lambda session: freeze(
                session, week, site=site_of(settings), caution=lambda _: ("", ""), now=_now()
            )
        )
        return "The digest is there."

    do_next(make_sessions(empty_site.engine), {"digest": digest}, clock=_now)
    page.get_by_text("The digest is there.").wait_for()
    page.get_by_role("link", name="This week").click()
    assert "Week" in page.locator("h1").inner_text()


def test_a_reader_writes_and_the_owner_sees_corrects_and_answers(page, site, chromium) -> None:
    reader = chromium.new_context(java_script_enabled=False).new_page()
    reader.goto(site.address + "/f/went_wrong/sharp-lemon-tart")
    reader.get_by_label("What went wrong").fill("Hot lemon soup in a biscuit case, what now?")
    reader.get_by_label("Your first name").fill("Maureen")
    reader.get_by_label("Your e-mail address").fill("maureen@example.org")
    reader.get_by_label("I would like an answer").check()
    time.sleep(3.2)  # as fast as a person can be; quicker posts are taken for a robot's
    reader.get_by_role("button", name="Send").click()
    assert "Thank you" in reader.locator("h1").inner_text()
    reader.context.close()

    page.goto(site.link())
    page.goto(site.address + "/messages?words=biscuit")
    page.get_by_role("link", name="Maureen").first.click()
    page.get_by_role("button", name="question", exact=True).click()
    page.get_by_text("Now: question.").wait_for()
    page.get_by_role("button", name="problem", exact=True).click()
    page.get_by_text("Now: problem, question.").wait_for()
    page.get_by_role("button", name="Undo").click()
    page.get_by_text("Undone.").wait_for()

    page.get_by_role("button", name="Write a reply").click()
    page.get_by_label("Your words").fill("Dear Maureen, what did the thermometer say?")
    page.get_by_text("Saved.").wait_for()
    page.get_by_role("button", name="Send", exact=True).click()
    page.get_by_text("It goes in 10 minutes").wait_for()
    reply = site.change(lambda session: session.scalars(select(Reply)).one().state)
    assert reply == "waiting"
    page.goto(site.address + "/replies/sent")
    page.get_by_role("button", name="Take it back").click()
    assert "thermometer" in page.get_by_label("Your words").input_value()


def test_a_hazard_is_on_top_of_every_page_until_dealt_with(page, site) -> None:
    page.goto(site.link())
    number = site.change(lambda session: session.scalars(select(Message.id).order_by(Message.id)).first())
    site.change(
        lambda session: set_hand_label(session, number, "hazard", "allergen", account_id=None, now=_now())
    )

    page.goto(site.address + "/recipes")
    page.get_by_role("link", name=re.compile("look at (it|them) first")).click()
    page.get_by_role("link", name=re.compile("^Allergen")).first.click()
    assert "usual caution" in page.locator("main").inner_text()
    page.get_by_role("button", name="Dealt with").click()
    page.get_by_text("It stays in the list of hazards").wait_for()


def test_themes_are_merged_and_an_old_address_leads_on(page, site) -> None:
    page.goto(site.link())
    first, second = site.change(
        lambda session: [
            (row.id, row.name) for row in session.scalars(select(Theme).order_by(Theme.id).limit(2))
        ]
    )
    page.goto(f"{site.address}/requests/{first[0]}")
    page.get_by_text("It is the same as another theme").click()
    page.get_by_label("The other theme").select_option(str(second[0]))
    page.get_by_role("button", name="Make them one").click()
    page.get_by_text("Merged").wait_for()
    page.goto(f"{site.address}/requests/{second[0]}")
    assert page.url.endswith(f"/requests/{first[0]}")


def test_merged_by_hand_is_kept_after_grouping_again(page, site, kitchen) -> None:
    """The owner merges two themes, asks for grouping again, sees it go on, and finds the two still one."""
    page.goto(site.link())
    first, second, members = site.change(_two_themes)
    page.goto(f"{site.address}/requests/{first}")
    page.get_by_text("It is the same as another theme").click()
    page.get_by_label("The other theme").select_option(str(second))
    page.get_by_role("button", name="Make them one").click()
    page.get_by_text("Merged").wait_for()
    page.get_by_text("It is being reckoned anew").wait_for()

    page.goto(site.address + "/work")
    page.get_by_role("button", name="Group the requests again").click()
    page.get_by_text("It begins in a moment").wait_for()
    sessions = make_sessions(site.engine)
    settings = Settings(timezone="Europe/London", country="GB", site_name="Second Rise")
    kinds = works(sessions, kitchen, settings, clock=_now)
    while do_next(sessions, kinds, clock=_now) is not None:
        pass
    page.get_by_text("Nothing goes on now").wait_for()  # without reloading
    page.reload()
    page.get_by_text(re.compile(r"Placed \d+ requests")).first.wait_for()

    page.goto(f"{site.address}/requests/{second}")
    assert page.url.endswith(f"/requests/{first}")
    assert page.get_by_text("It is being reckoned anew").count() == 0
    assert site.change(lambda session: _members(session, first)) >= members
    assert site.change(lambda session: _members(session, second)) == set()


def _two_themes(session) -> tuple[int, int, set[int]]:
    first, second = session.scalars(select(Theme.id).order_by(Theme.id).limit(2)).all()
    return first, second, _members(session, first) | _members(session, second)


def _members(session, theme_id: int) -> set[int]:
    return set(session.scalars(select(ThemeMember.message_id).where(ThemeMember.theme_id == theme_id)))


def test_work_is_stopped_and_moves_without_script(chromium, site) -> None:
    """Without script the page fetches itself anew; the press on stop is heard at the next step."""
    context = chromium.new_context(java_script_enabled=False, viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(site.link())
    page.goto(site.address + "/work")
    page.get_by_role("button", name="Read everything again").click()
    sessions = make_sessions(site.engine)

    def read(arguments, path, tell) -> str:
        tell(40, 150)
        page.get_by_text("Going on: 40 of 150").wait_for()  # the page came again by itself
        page.get_by_role("button", name=re.compile("Stop it")).click()
        tell(50, 150)
        raise AssertionError("went on after the wish to stop")

    do_next(sessions, {"read again": read}, clock=_now)
    page.get_by_text("Nothing goes on now").wait_for()
    assert page.get_by_text("Stopped after 50").count() >= 1
    context.close()


def test_the_main_path_works_without_script_and_with_the_keyboard(chromium, site) -> None:
    context = chromium.new_context(java_script_enabled=False, viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(site.link())
    page.goto(site.address + "/messages")
    page.keyboard.press("Tab")
    assert page.locator(":focus").inner_text() == "To the text"
    page.locator(".entries a").first.focus()
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/messages/\d+"))
    page.get_by_role("button", name="junk", exact=True).focus()
    page.keyboard.press("Enter")
    page.get_by_text("Now: junk.").wait_for()
    page.get_by_role("button", name="Undo").click()
    page.get_by_text("Undone.").wait_for()
    context.close()


def test_keys_move_open_and_correct(page, site) -> None:
    page.goto(site.link())
    page.goto(site.address + "/messages")
    page.keyboard.press("?")
    assert page.locator("#keys").get_attribute("open") is not None
    page.locator("body").click(position={"x": 2, "y": 2})
    page.keyboard.press("j")
    page.keyboard.press("j")
    assert page.locator(".entries > li[aria-current]").count() == 1
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/messages/\d+"))
    page.keyboard.press("d")
    page.get_by_text("Now: junk.").wait_for()
    page.keyboard.press("u")
    page.get_by_text("Undone.").wait_for()


def test_filters_stay_in_the_address_and_back_leads_back(page, site) -> None:
    page.goto(site.link())
    page.goto(site.address + "/messages")
    page.get_by_label("Words", exact=True).fill("bread")
    page.get_by_label("Kind").select_option("request")
    page.get_by_role("button", name="Find", exact=True).click()
    address = page.url
    assert "words=bread" in address
    assert "kind=request" in address
    page.locator(".entries a").first.click()
    page.go_back()
    assert page.url == address
    assert page.get_by_label("Words", exact=True).input_value() == "bread"


def _begin_draft(page, site) -> int:
    by_mail = select(Message.id).where(Message.channel == "email").order_by(Message.id)
    number = site.change(lambda session: session.scalars(by_mail).first())
    page.goto(f"{site.address}/messages/{number}")
    page.get_by_role("button", name=re.compile("Write a reply|Go on with the draft")).click()
    return int(number)


def test_two_tabs_on_one_draft_lose_no_word(page, site) -> None:
    page.goto(site.link())
    number = _begin_draft(page, site)
    other = page.context.new_page()
    other.goto(f"{site.address}/replies/{number}")
    page.get_by_label("Your words").fill("Words of the first tab")
    page.get_by_role("button", name="Keep as a draft").click()
    other.get_by_label("Your words").evaluate("one => { one.value = 'Words of the second tab'; }")
    other.get_by_role("button", name="Keep as a draft").click()

    text = other.locator("main").inner_text()
    assert "changed in another window" in text
    assert "Words of the first tab" in text
    assert other.get_by_label("Your words").input_value() == "Words of the second tab"


def test_a_sign_in_that_ends_in_the_middle_of_a_draft_loses_no_word(page, site) -> None:
    page.goto(site.link())
    number = _begin_draft(page, site)
    site.change(lambda session: sign_out_everywhere(session, accounts(session)[0].id))
    page.get_by_label("Your words").fill("A long answer that must not be lost")
    page.get_by_text("You were signed out").wait_for()
    page.get_by_role("button", name="Keep as a draft").click()
    page.get_by_label("Your name").fill("Ines")
    page.get_by_label("Password").fill("rye and caraway")
    page.get_by_role("button", name="Sign in").click()
    assert page.locator("textarea[name=body]").input_value() == "A long answer that must not be lost"
    page.get_by_role("button", name="Go on").click()
    page.wait_for_url(re.compile(f"/replies/{number}"))
    assert page.get_by_label("Your words").input_value() == "A long answer that must not be lost"


def test_zoomed_to_twice_the_size_nothing_is_cut(chromium, site) -> None:
    """A window of 1280 CSS pixels at 200 % has the layout of one of 640."""
    context = chromium.new_context(viewport={"width": 640, "height": 450}, device_scale_factor=2)
    page = context.new_page()
    page.goto(site.link())
    for path in ("/messages", "/recipes", "/requests", "/replies", "/settings", "/bring-in"):
        page.goto(site.address + path)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), path
    context.close()
