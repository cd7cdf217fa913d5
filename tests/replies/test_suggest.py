"""What a reply may be written from: the owner's own words, put right for this reader."""

import re
from collections.abc import Sequence
from datetime import datetime, timedelta

import pytest
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.reading.cautions import caution_for
from inbox.records.tables import Message, MessageFault, Recipe
from inbox.records.tables_out import Mended, Reply, ThemeMember
from inbox.replies.drafts import open_draft, save_draft
from inbox.replies.phrases import all_phrases, delete_phrase, fill, first_name, save_phrase, unfilled
from inbox.replies.suggest import Suggestion, suggestions, word_similarity
from inbox.words import HAZARDS
from tests.makers import make_message, make_reader, make_recipe, make_theme
from tests.replies.outbox import SENDER, label


def asked(
    session: Session,
    text: str,
    *kinds: str,
    name: str = "Ada",
    recipe: Recipe | None = None,
    hazard: str | None = None,
) -> Message:
    reader = make_reader(session, name=name)
    message = make_message(session, channel="email", reader_id=reader.id, text=text)
    recipe_id = recipe.id if recipe else None
    return label(session, message, *(kinds or ("question",)), recipe_id=recipe_id, hazard=hazard)


def answer(session: Session, message: Message, body: str, now: datetime) -> Reply:
    reply = open_draft(session, message.id, now=now, sender=SENDER)
    save_draft(session, reply.id, reply.subject, body, now)
    reply.state, reply.sent_at = "sent", now
    session.flush()
    return reply


def of_kind(found: list[Suggestion], kind: str) -> list[Suggestion]:
    return [one for one in found if one.kind == kind]


def test_the_nearest_earlier_answer_comes_with_what_differs(any_session: Session, now: datetime) -> None:
    rye = make_recipe(any_session, title="Rye loaf", url="https://kitchen.example/rye")
    cake = make_recipe(any_session, title="Lemon cake", url="https://kitchen.example/lemon")
    old = asked(any_session, "Can I freeze the rye loaf once it is sliced?", name="Ada Ames", recipe=rye)
    answer(
        any_session,
        old,
        "Hello Ada,\nyes, freeze the Rye loaf sliced: https://kitchen.example/rye\nSam",
        now,
    )
    other = asked(any_session, "Which salt do you use?", recipe=rye)
    answer(any_session, other, "Hello, fine sea salt.", now)
    new = asked(any_session, "Can I freeze the cake once it is iced?", name="Bo", recipe=cake)

    (first, *_) = of_kind(suggestions(any_session, new.id), "earlier")

    assert first.body == "Hello Bo,\nyes, freeze the Lemon cake sliced: https://kitchen.example/lemon\nSam"
    assert first.their_words == "Can I freeze the rye loaf once it is sliced?"
    assert "That was about Rye loaf, this is about Lemon cake." in first.differs
    assert first.similarity is not None
    assert 0.25 < first.similarity < 1


def test_kinds_must_agree_and_a_draft_is_no_earlier_answer(session: Session, now: datetime) -> None:
    praise = asked(session, "Can I freeze it? Made it, lovely.", "made_it")
    answer(session, praise, "Hello, how nice.", now)
    draft = open_draft(session, asked(session, "Can I freeze it?").id, now=now, sender=SENDER)
    save_draft(session, draft.id, "x", "Not sent yet.", now)
    new = asked(session, "Can I freeze it?")

    assert of_kind(suggestions(session, new.id), "earlier") == []


def test_answers_in_the_owners_own_mail_are_a_voice_from_day_one(session: Session, now: datetime) -> None:
    old = asked(session, "Can I freeze the dough overnight?")
    make_message(
        session,
        channel="email",
        text="Hello, yes, wrap it well.",
        kept_apart="own_mail",
        answers_message_id=old.id,
    )
    new = asked(session, "Can I freeze the dough for a week?")

    (first,) = of_kind(suggestions(session, new.id), "earlier")

    assert first.body == "Hello, yes, wrap it well."
    assert first.differs == ()


def test_meaning_finds_what_words_do_not(session: Session, now: datetime) -> None:
    split = asked(session, "Could one keep the loaf in the freezer?")
    answer(session, split, "Hello, yes, sliced.", now)
    salt = asked(session, "Which oven shelf do you use?")
    answer(session, salt, "Hello, the middle one.", now)
    new = asked(session, "Is it all right to freeze bread?")

    assert word_similarity(new.text, [split.text]) == [0.0]
    assert of_kind(suggestions(session, new.id, similarity=word_similarity), "earlier") == []
    found = of_kind(suggestions(session, new.id), "earlier")
    assert [one.body for one in found] == ["Hello, yes, sliced."]


def test_the_same_fault_brings_answers_nearer(session: Session, now: datetime) -> None:
    old, new = (
        asked(session, "The custard split on me.", "problem"),
        asked(session, "Mine curdled.", "problem"),
    )
    answer(session, old, "Hello, lower the heat.", now)

    def few_in_common(text: str, others: Sequence[str]) -> list[float]:
        return [0.15] * len(others)

    assert of_kind(suggestions(session, new.id, similarity=few_in_common), "earlier") == []
    for message in (old, new):
        session.add(MessageFault(message_id=message.id, fault="curdled", probability=0.9))
    session.flush()
    session.expire_all()
    found = of_kind(suggestions(session, new.id, similarity=few_in_common), "earlier")
    assert [one.body for one in found] == ["Hello, lower the heat."]


def test_similarity_of_words_lies_between_nothing_and_the_same() -> None:
    assert word_similarity("freeze the loaf", ["freeze the loaf", "salted fish"]) == pytest.approx([1.0, 0.0])
    assert word_similarity("", ["a"]) == [0.0]
    assert word_similarity("?!", ["..", "!"]) == [0.0, 0.0]


def test_phrases_are_filled_from_the_message(session: Session, now: datetime) -> None:
    rye = make_recipe(session, title="Rye loaf", url="https://kitchen.example/rye")
    save_phrase(session, "too dense", "Hello {first name}, {question} See {recipe}: {link}", now=now)
    message = asked(session, "It came out dense.", "problem", name="Ames, Ada", recipe=rye)

    (lacking,) = of_kind(suggestions(session, message.id), "phrase")
    session.add(MessageFault(message_id=message.id, fault="dense", probability=0.9))
    session.flush()
    session.expire_all()
    found = suggestions(session, message.id)
    (known,), asking = of_kind(found, "phrase"), of_kind(found, "ask_back")

    assert 1 <= len(asking) <= 2
    assert all(one.body.endswith("?") for one in asking)
    assert known.body == f"Hello Ada, {asking[0].body} See Rye loaf: https://kitchen.example/rye"
    assert lacking.body.startswith("Hello Ada, {question} See")
    assert lacking.why == "A saved phrase; {question} is not known here."


def test_phrases_are_kept_replaced_and_deleted(session: Session, now: datetime) -> None:
    save_phrase(session, "thanks", "Thank you {First_Name}.", now=now)
    save_phrase(session, " thanks ", "Thank you.", now=now + timedelta(days=1))
    (phrase,) = all_phrases(session)
    assert (phrase.name, phrase.body) == ("thanks", "Thank you.")

    with pytest.raises(InputError, match=r"has a field \{price\}; the fields are \{first name\}"):
        save_phrase(session, "price", "That is {price}.", now=now)
    with pytest.raises(InputError, match="needs a name and a text"):
        save_phrase(session, "empty", " ", now=now)
    delete_phrase(session, phrase.id)
    assert all_phrases(session) == []
    with pytest.raises(NotFoundError):
        delete_phrase(session, phrase.id)


def test_words_in_braces_that_are_no_field_are_left_alone() -> None:
    assert fill("{first name} {set} {}", {"first name": "Ada"}) == "Ada {set} {}"
    assert unfilled("{set} {FIRST  NAME} {link}") == ["first name", "link"]


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("Ada Ames", "Ada"),
        ("ada", "Ada"),
        ("Ames, Ada B.", "Ada"),
        ("", ""),
        (None, ""),
        ("ada@x.example", ""),
    ],
)
def test_first_names(name: str | None, expected: str) -> None:
    assert first_name(name) == expected


def test_the_recorded_answer_to_a_repeated_question(session: Session, now: datetime) -> None:
    rye = make_recipe(session, title="Rye loaf")
    session.add_all(
        [
            Mended(recipe_id=rye.id, what="question:can I freeze it", note="Sliced.", mended_at=now),
            Mended(recipe_id=rye.id, what="question:which flour", note="Type 1150.", mended_at=now),
            Mended(recipe_id=rye.id, what="wrong_time", note="40 minutes", mended_at=now),
        ]
    )
    message = asked(session, "Could one freeze this loaf?", recipe=rye)

    (found,) = of_kind(suggestions(session, message.id), "recorded")

    assert (found.title, found.body) == ("can I freeze it", "Sliced.")


@pytest.mark.parametrize("shelf", ["published", "open"])
def test_a_request_that_is_answered_already_gets_the_pointer(
    session: Session, now: datetime, shelf: str
) -> None:
    rye = make_recipe(session, title="Rye crackers", url="https://kitchen.example/crackers")
    theme = make_theme(
        session,
        name="crackers with rye",
        shelf=shelf,
        recipe_id=rye.id if shelf == "published" else None,
        coverage=0.0 if shelf == "published" else 0.8,
        covered_by_id=None if shelf == "published" else rye.id,
    )
    message = asked(session, "Please do rye crackers.", "request")
    session.add(ThemeMember(message_id=message.id, theme_id=theme.id, similarity=1.0, joined_at=now))
    session.flush()

    (found,) = of_kind(suggestions(session, message.id), "pointer")

    assert found.body == "Rye crackers: https://kitchen.example/crackers"
    theme.shelf, theme.coverage = "open", 0.2
    session.flush()
    assert of_kind(suggestions(session, message.id), "pointer") == []


def test_a_caution_stands_first_with_its_source_and_whom_to_ask(session: Session) -> None:
    message = asked(session, "I was ill.", "problem", hazard="illness")

    found = suggestions(session, message.id, country="GB")

    caution = caution_for("illness", "GB")
    assert found[0].kind == "caution"
    assert found[0].body.startswith(caution.words)
    assert caution.defer in found[0].body
    assert [line.number in found[0].body for line in caution.help_lines] == [True] * len(caution.help_lines)
    assert caution.source_in_words in found[0].why


@pytest.mark.parametrize("hazard", HAZARDS)
def test_the_draft_for_a_hazard_holds_the_caution_and_no_reassurance(
    session: Session, now: datetime, hazard: str
) -> None:
    message = asked(session, "The words do not matter here.", "problem", hazard=hazard)

    reply = open_draft(session, message.id, now=now, sender=SENDER)

    caution = caution_for(hazard, "GB")
    assert caution.words in reply.body
    assert caution.defer in reply.body
    assert not re.search(
        r"\b(?:it is|you are|you're|are) (?:quite |perfectly )?(?:safe|fine)\b|don't worry|no need to worry",
        reply.body,
        re.IGNORECASE,
    )
