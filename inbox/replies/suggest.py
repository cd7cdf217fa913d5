"""What a reply may be written from: the owner's own earlier words, saved phrases, recorded answers.

Nothing is made up: each suggestion is something that the owner wrote, or a caution with
its published source. Start with `suggestions`.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from nltk.stem.snowball import SnowballStemmer
from sklearn.feature_extraction.text import ENGLISH_STOP_WORDS, TfidfVectorizer
from sqlalchemy import or_, select
from sqlalchemy.orm import Session, aliased, selectinload

from inbox.errors import NotFoundError
from inbox.ranking.causes import questions_to_ask
from inbox.reading.cautions import caution_for
from inbox.reading.encoder import encode
from inbox.records.tables import Labels, Message, Reader, Recipe
from inbox.records.tables_out import Mended, Reply, Theme, ThemeMember
from inbox.replies.drafts import caution_text, recipe_of
from inbox.replies.phrases import all_phrases, fill, first_name, unfilled

Similarity = Callable[[str, Sequence[str]], Sequence[float]]
"""How near a text is to each of several others, from 0 to 1."""

NEAREST: Final = 3
"""How many earlier replies are offered. Chosen: what fits above the text on a phone."""

NEAR_ENOUGH: Final = 0.30
"""Least nearness of an earlier reply: of any two questions of the training messages about one pair in a
hundred lies above it (python -m tests.bench.nearness)."""

NEAR_ENOUGH_HERE: Final = 0.20
"""The same for the few answers recorded on one recipe's page. Chosen."""

LOOKED_AT: Final = 400
"""Newest earlier replies whose words are compared."""

COMPARED: Final = 8
"""Of them, those with most in common, whose meaning is compared. Chosen: each costs some 15 ms."""

COMPARED_CHARACTERS: Final = 300

COVERED: Final = 0.5
"""Coverage from which a request is pointed to the recipe that answers it. Chosen."""

KINDS: Final = ("made_it", "problem", "request", "question", "comment")


_STEMMER: Final = SnowballStemmer("english")


@dataclass(frozen=True, slots=True)
class Suggestion:
    """Words that may be put into a draft.

    Attributes
    ----------
    kind : str
        "earlier" (an earlier reply), "phrase", "recorded" (the recorded answer to a repeated
        question), "pointer" (a recipe that answers the request), "ask_back", "caution".
    why : str
        One line on where it comes from.
    their_words : str or None
        For an earlier reply: what that reader had written.
    differs : tuple of str
        For an earlier reply: in what this message differs from that one.
    """

    kind: str
    title: str
    body: str
    why: str
    their_words: str | None = None
    differs: tuple[str, ...] = ()
    similarity: float | None = None


def word_similarity(text: str, others: Sequence[str]) -> Sequence[float]:
    """Cosine of the tf-idf weights of the words' stems, from 0 to 1."""
    if not others or not text.strip():
        return [0.0] * len(others)
    try:
        weights = TfidfVectorizer(analyzer=_stems, sublinear_tf=True).fit_transform([text, *others])
    except ValueError:  # no text holds a word
        return [0.0] * len(others)
    return [float(value) for value in (weights[1:] @ weights[0].T).toarray().ravel()]


def _stems(text: str) -> list[str]:
    """Stems of the words that carry meaning."""
    words = re.findall(r"[^\W_]+", text.casefold())
    return [_STEMMER.stem(word) for word in words if word not in ENGLISH_STOP_WORDS]


def nearness(text: str, others: Sequence[str]) -> Sequence[float]:
    """How near texts are by meaning and by words: the mean of both cosines, from 0 to 1.

    The encoder knows "curdled" from "split", the words hold fast to names.
    """
    if not others:
        return []
    short = [one[:COMPARED_CHARACTERS] for one in (text, *others)]
    vectors = encode(short)
    meaning = np.clip(vectors[1:] @ vectors[0], 0.0, 1.0)
    return [float(value) for value in (meaning + np.asarray(word_similarity(text, others))) / 2]


def suggestions(
    session: Session,
    message_id: int,
    *,
    similarity: Similarity = nearness,
    country: str = "",
) -> list[Suggestion]:
    """What the answer to a message may be written from, most pressing first.

    Parameters
    ----------
    similarity : callable
        How near earlier messages are.
    country : str
        Two letters, for whom to ask about a hazard.
    """
    message = session.get(Message, message_id)
    if message is None:
        raise NotFoundError(f"There is no message {message_id}.")
    recipe = recipe_of(session, message)
    labels = message.labels
    questions = questions_to_ask([row.fault for row in labels.faults] if labels else [], message.text, most=2)
    values = fields_of(message, recipe, questions[0] if questions else None)
    found = []
    if labels is not None and labels.hazard:
        why = caution_for(labels.hazard, country).source_in_words
        text = caution_text(labels.hazard, country)
        found.append(Suggestion("caution", "The usual caution", text, f"Published by: {why}."))
    found += _pointer(session, message)
    found += _recorded(session, message, recipe, similarity)
    found += [
        Suggestion("ask_back", "A question to ask back", question, "What usually decides the cause.")
        for question in questions
    ]
    found += _earlier(session, message, recipe, similarity)
    found += [_phrase(phrase.name, phrase.body, values) for phrase in all_phrases(session)]
    return found


def fields_of(message: Message, recipe: Recipe | None, question: str | None) -> Mapping[str, str]:
    """Values of the fields of a phrase for this message; empty where not known."""
    return {
        "first name": first_name(message.reader.name if message.reader else None),
        "recipe": recipe.title if recipe else "",
        "link": (recipe.url or "") if recipe else "",
        "question": question or "",
    }


def _phrase(name: str, body: str, values: Mapping[str, str]) -> Suggestion:
    filled = fill(body, values)
    missing = unfilled(filled)
    why = f"A saved phrase; {{{missing[0]}}} is not known here." if missing else "A saved phrase."
    return Suggestion("phrase", name, filled, why)


def _pointer(session: Session, message: Message) -> list[Suggestion]:
    theme = session.scalar(
        select(Theme)
        .join(ThemeMember, ThemeMember.theme_id == Theme.id)
        .where(ThemeMember.message_id == message.id)
    )
    if theme is None:
        return []
    recipe = theme.recipe if theme.shelf == "published" else None
    why = f"“{theme.name}” is published."
    if recipe is None and theme.covered_by is not None and theme.coverage >= COVERED:
        recipe, why = theme.covered_by, theme.coverage_why or f"It already answers “{theme.name}”."
    if recipe is None:
        return []
    body = f"{recipe.title}: {recipe.url}" if recipe.url else recipe.title
    return [Suggestion("pointer", recipe.title, body, why)]


def _recorded(
    session: Session, message: Message, recipe: Recipe | None, similarity: Similarity
) -> list[Suggestion]:
    """The recorded answer to the question that this message repeats, if the recipe has one."""
    if recipe is None or message.labels is None or not message.labels.is_question:
        return []
    rows = session.scalars(
        select(Mended)
        .where(Mended.recipe_id == recipe.id, Mended.what.startswith("question:"), Mended.note.is_not(None))
        .order_by(Mended.mended_at.desc())
    ).all()
    asked = [f"{row.what.removeprefix('question:')} {row.note}" for row in rows]
    near = similarity(message.text, asked)
    best = max(range(len(rows)), key=lambda index: near[index], default=None)
    if best is None or near[best] < NEAR_ENOUGH_HERE:
        return []
    question = rows[best].what.removeprefix("question:")
    why = f"You answered “{question}” on the page of {recipe.title}."
    return [Suggestion("recorded", question, rows[best].note or "", why, similarity=near[best])]


@dataclass(frozen=True, slots=True)
class _Answered:
    """An earlier message with the owner's answer to it."""

    their_words: str
    reader_name: str | None
    answer: str
    recipe: Recipe | None
    kinds: tuple[str, ...]
    faults: frozenset[str]


def _earlier(
    session: Session, message: Message, recipe: Recipe | None, similarity: Similarity
) -> list[Suggestion]:
    kinds = message.labels.kinds if message.labels is not None else ()
    answered = _answered(session, message, kinds)
    text = _words(message.subject, message.text)
    faults = {row.fault for row in message.labels.faults} if message.labels is not None else set()
    alike = [
        0.2 * bool(faults & one.faults) + 0.1 * (recipe is not None and one.recipe is recipe)
        for one in answered
    ]
    common = np.asarray(word_similarity(text, [one.their_words for one in answered])) + alike
    compared = [int(index) for index in np.argsort(-common, kind="stable")[:COMPARED]]
    near = similarity(text, [answered[index].their_words for index in compared])
    scored = [
        (value + alike[index], value, answered[index])
        for value, index in zip(near, compared, strict=True)
        if value + alike[index] >= NEAR_ENOUGH
    ]
    best = sorted(scored, key=lambda one: -one[0])[:NEAREST]
    return [_adapted(message, recipe, kinds, one, value) for _, value, one in best]


def _answered(session: Session, message: Message, kinds: Sequence[str]) -> list[_Answered]:
    """Newest answers to messages of the same kinds: sent from here, and found among the owner's own mail."""
    same_kind = [getattr(Labels, f"is_{kind}") for kind in kinds if kind in KINDS]
    if not same_kind:
        return []
    base = (
        select(Message.subject, Message.text, Labels, Reader.name, Recipe)
        .join(Labels, Labels.message_id == Message.id)
        .outerjoin(Reader, Reader.id == Message.reader_id)
        .outerjoin(Recipe, Recipe.id == Labels.recipe_id)
        .where(or_(*same_kind), Message.id != message.id)
        .options(selectinload(Labels.faults))
    )
    sent = (
        base.add_columns(Reply.body)
        .join(Reply, Reply.message_id == Message.id)
        .where(Reply.state.in_(("sent", "by_hand")), Reply.telling_id.is_(None))
        .order_by(Reply.sent_at.desc())
        .limit(LOOKED_AT)
    )
    own = aliased(Message)
    written = (
        base.add_columns(own.text)
        .join(own, own.answers_message_id == Message.id)
        .where(own.kept_apart == "own_mail")
        .order_by(own.received_at.desc())
        .limit(LOOKED_AT)
    )
    return [
        _Answered(
            _words(subject, text),
            name,
            answer,
            about,
            labels.kinds,
            frozenset(row.fault for row in labels.faults),
        )
        for rows in (sent, written)
        for subject, text, labels, name, about, answer in session.execute(rows)
        if answer.strip()
    ]


def _words(subject: str | None, text: str) -> str:
    return f"{subject}\n{text}" if subject else text


def _adapted(
    message: Message, recipe: Recipe | None, kinds: Sequence[str], earlier: _Answered, near: float
) -> Suggestion:
    """The earlier answer with names and recipe put right, and what differs said."""
    body, differs = earlier.answer, []
    then, now = first_name(earlier.reader_name), first_name(message.reader.name if message.reader else None)
    if then and now and then != now:
        body = re.sub(rf"\b{re.escape(then)}\b", lambda _: now, body)
    if earlier.recipe is not recipe:
        was = earlier.recipe.title if earlier.recipe else "no recipe"
        differs.append(
            f"That was about {was}, this is about {recipe.title if recipe else 'no known recipe'}."
        )
        if earlier.recipe is not None and recipe is not None:
            body = body.replace(earlier.recipe.title, recipe.title)
            if earlier.recipe.url and recipe.url:
                body = body.replace(earlier.recipe.url, recipe.url)
    more = [kind.replace("_", " ") for kind in kinds if kind not in earlier.kinds]
    less = [kind.replace("_", " ") for kind in earlier.kinds if kind not in kinds]
    if more:
        differs.append(f"This one is also a {' and a '.join(more)}.")
    if less:
        differs.append(f"That one was also a {' and a '.join(less)}.")
    new_words = _own_words(message.text, earlier.their_words)
    if new_words:
        differs.append(f"Only here: {', '.join(new_words)}.")
    why = f"You answered a message like this one (similarity {near:.2f})."
    return Suggestion("earlier", _first_line(body), body, why, earlier.their_words, tuple(differs), near)


def _own_words(text: str, other: str, most: int = 6) -> list[str]:
    """Longer words and numbers that stand in `text` and not in `other`, in their order."""
    known = {word.casefold() for word in re.findall(r"\w+", other)}
    words = [word for word in re.findall(r"\d+\w*|\w{6,}", text) if word.casefold() not in known]
    return list({word.casefold(): word for word in words}.values())[:most]


def _first_line(body: str) -> str:
    lines = [line.strip() for line in body.splitlines() if line.strip()]
    chosen = next((line for line in lines if not line.endswith(",")), lines[0] if lines else "")
    return chosen if len(chosen) <= 70 else chosen[:70].rsplit(" ", 1)[0] + " ..."
