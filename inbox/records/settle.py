"""What counts for a message: the hand label where there is one, else the reading.

`settle` is the only writer of `labels` and `message_faults`. It can be run again
at any time on any messages and comes to the same rows.
"""

from collections.abc import Collection, Iterable, Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import RowMapping, delete, insert, select
from sqlalchemy.orm import Session

from inbox.errors import InputError, NotFoundError
from inbox.records.page_faults import recipes_told_of, recount
from inbox.records.tables import HandLabel, Labels, Message, MessageFault, MessageReading, Recipe
from inbox.records.tables_out import RequestSketch, ThemeMember
from inbox.words import FAULTS, HAZARDS, KINDS, LANGUAGE_READ, OUTCOMES

ALONE = ("comment", "junk")
"""Kinds that hold only where no other does."""

LABEL_FIELDS = ("kinds", "outcome", "faults", "hazard", "recipe", "language")


_COUNTING = (
    MessageReading.message_id,
    MessageReading.kinds,
    MessageReading.kind_probabilities,
    MessageReading.outcome,
    MessageReading.outcome_probabilities,
    MessageReading.faults,
    MessageReading.fault_probabilities,
    MessageReading.hazard,
    MessageReading.recipe_id,
    MessageReading.language,
)
Said = Mapping[str, Any] | RowMapping
"""Columns of one reading, by name."""


def settle(
    session: Session, message_ids: Iterable[int], *, readings: Mapping[int, Said] | None = None
) -> None:
    """Make the rows of `labels` and `message_faults` anew for these messages.

    In a language that the program does not read a person says what a message is; until then it counts as a
    message and as nothing else, whatever words the model thought it knew. A hazard and a recipe do count.
    Messages without a reading and without a hand label get none, and so do those that are kept apart.

    Parameters
    ----------
    readings : mapping, optional
        The readings of these messages by number, where the caller has just stored all of them.
    """
    ids = sorted(set(message_ids))
    for start in range(0, len(ids), 500):
        _settle_some(session, ids[start : start + 500], readings)
    session.expire_all()


def settle_by_hand(session: Session, message_ids: Collection[int]) -> None:
    """As `settle` after what a person did, with the counts of their recipes' faults that pages show.

    After a reading all counts are made anew together, when recipes are judged.
    """
    recipe_ids = recipes_told_of(session, message_ids)
    settle(session, message_ids)
    recipe_ids |= recipes_told_of(session, message_ids)
    if recipe_ids:
        recount(session, recipe_ids)


def count_no_more(session: Session, message_ids: Iterable[int]) -> None:
    """Take away what the program made of messages that are kept apart; what a person said of them stays."""
    ids = sorted(set(message_ids))
    for table in (MessageReading, Labels, MessageFault, ThemeMember, RequestSketch):
        session.execute(delete(table).where(table.message_id.in_(ids)))
    session.expire_all()


def _settle_some(session: Session, ids: list[int], readings: Mapping[int, Said] | None) -> None:
    session.flush()
    counting = select(Message.id, Message.received_at).where(
        Message.id.in_(ids), Message.kept_apart.is_(None)
    )
    received = dict(session.execute(counting).all())
    if readings is None:
        rows_read = session.execute(select(*_COUNTING).where(MessageReading.message_id.in_(ids))).mappings()
        readings = {row["message_id"]: row for row in rows_read}
    by_hand: dict[int, dict[str, Any]] = {}
    for label in session.scalars(select(HandLabel).where(HandLabel.message_id.in_(ids))):
        by_hand.setdefault(label.message_id, {})[label.field] = label.value["is"]
    slugs = {value["recipe"] for value in by_hand.values() if value.get("recipe")}
    named = select(Recipe.slug, Recipe.id).where(Recipe.slug.in_(slugs))
    recipe_ids = dict(session.execute(named).all()) if slugs else {}
    session.execute(delete(MessageFault).where(MessageFault.message_id.in_(ids)))
    session.execute(delete(Labels).where(Labels.message_id.in_(ids)))
    rows, faults = [], []
    for message_id in ids:
        hand, reading = by_hand.get(message_id, {}), readings.get(message_id)
        if message_id in received and (hand or reading):
            row, found = _what_counts(hand, reading, recipe_ids)
            rows.append({"message_id": message_id, "received_at": received[message_id], **row})
            faults += [
                {
                    "message_id": message_id,
                    "fault": fault,
                    "probability": probability,
                    "recipe_id": row["recipe_id"],
                    "received_at": received[message_id],
                }
                for fault, probability in found.items()
            ]
    if rows:
        session.execute(insert(Labels.__table__), rows)  # type: ignore[arg-type]
    if faults:
        session.execute(insert(MessageFault.__table__), faults)  # type: ignore[arg-type]


def _what_counts(
    hand: Mapping[str, Any], reading: Said | None, recipe_ids: Mapping[str, int]
) -> tuple[dict[str, Any], dict[str, float]]:
    """Columns of one row of `labels`, and its faults with their probabilities."""
    language = hand.get("language", reading["language"] if reading else LANGUAGE_READ)
    hazard = hand.get("hazard", reading["hazard"] if reading else None)
    recipe_id = (
        recipe_ids.get(hand["recipe"]) if "recipe" in hand else reading["recipe_id"] if reading else None
    )
    unspoken: list[str] = ["comment"]
    if language != LANGUAGE_READ:
        reading, unspoken = None, []
    kinds = hand.get("kinds", reading["kinds"] if reading else unspoken)
    made_it = "made_it" in kinds
    outcome = hand.get("outcome", reading["outcome"] if reading else None) if made_it else None
    read_kinds: Mapping[str, float] = reading["kind_probabilities"] if reading else {}
    faults = _faults(hand, reading, "problem" in kinds)
    row: dict[str, Any] = {f"is_{kind}": kind in kinds for kind in KINDS}
    row["outcome"] = outcome
    row["failed_probability"] = _failed_probability(hand, reading, outcome, made_it)
    row["problem_probability"] = (
        float("problem" in kinds) if "kinds" in hand else float(read_kinds.get("problem", 0.0))
    )
    row["hazard"] = hazard
    row["recipe_id"] = recipe_id
    row["language"] = language
    row["least_sure"] = (
        0.5 if "kinds" in hand else min((abs(value - 0.5) for value in read_kinds.values()), default=0.5)
    )
    row["by_hand"] = bool(hand)
    return row, faults


def _faults(hand: Mapping[str, Any], reading: Said | None, is_problem: bool) -> dict[str, float]:
    if "faults" in hand:
        return {str(fault): 1.0 for fault in hand["faults"]}
    if reading is None or not is_problem:
        return {}
    return {fault: float(reading["fault_probabilities"].get(fault, 1.0)) for fault in reading["faults"]}


def _failed_probability(
    hand: Mapping[str, Any], reading: Said | None, outcome: str | None, made_it: bool
) -> float:
    if "outcome" in hand or not made_it or reading is None:
        return float(outcome == "failed")
    return float(reading["outcome_probabilities"].get("failed", 0.0))


def check_label(field: str, value: object) -> object:
    """`value` in the form in which the hand label `field` is kept.

    Raises
    ------
    InputError
        If the field or a word is not known, or kinds that stand alone are mixed; it says which.
    """
    if field == "kinds":
        return _known_list("kinds", value, KINDS, alone=ALONE)
    if field == "faults":
        return _known_list("faults", value, FAULTS)
    if field in ("outcome", "hazard"):
        known = OUTCOMES if field == "outcome" else HAZARDS
        if value is not None and value not in known:
            raise InputError(f"{field} is {value!r}; it must be one of {', '.join(known)}, or none.")
        return value
    if field in ("recipe", "language"):
        if value is not None and not isinstance(value, str):
            raise InputError(f"{field} is {value!r}; it must be a word, or none.")
        return value
    raise InputError(f"There is no label {field!r}; the labels are {', '.join(LABEL_FIELDS)}.")


def _known_list(field: str, value: object, known: tuple[str, ...], alone: tuple[str, ...] = ()) -> list[str]:
    if not isinstance(value, list | tuple | set | frozenset):
        raise InputError(f"{field} is {value!r}; it must be a list of words.")
    unknown = [word for word in value if word not in known]
    if unknown:
        raise InputError(f"{field} has {unknown[0]!r}; the words are {', '.join(known)}.")
    chosen = [word for word in known if word in value]
    if field == "kinds" and not chosen:
        raise InputError("kinds is empty; choose at least one.")
    single = [word for word in chosen if word in alone]
    if single and len(chosen) > 1:
        raise InputError(f"{single[0]} stands alone; take the other kinds off, or take {single[0]} off.")
    return chosen


def toggled(kinds: Iterable[str], kind: str) -> list[str]:
    """Kinds after a person touched `kind`: put on or taken off, alone where it stands alone, never none."""
    before = set(kinds)
    if kind in before:
        return [word for word in KINDS if word in before - {kind}] or ["comment"]
    if kind in ALONE:
        return [kind]
    return [word for word in KINDS if word in before - set(ALONE) or word == kind]


def set_hand_label(
    session: Session,
    message_id: int,
    field: str,
    value: object,
    *,
    account_id: int | None,
    now: datetime,
    from_random_sample: bool = False,
) -> None:
    """Record a person's correction of one field, and let it count at once.

    Raises
    ------
    NotFoundError
        If there is no such message, or the recipe named is not in the catalogue.
    InputError
        As `check_label`.
    """
    kept = check_label(field, value)
    if session.get(Message, message_id) is None:
        raise NotFoundError(f"There is no message {message_id}.")
    if field == "recipe" and kept is not None:
        if session.scalar(select(Recipe.id).where(Recipe.slug == kept)) is None:
            raise NotFoundError(f"There is no recipe {kept!r}; see second-batch recipes.")
    label = session.scalar(
        select(HandLabel).where(HandLabel.message_id == message_id, HandLabel.field == field)
    )
    if label is None:
        label = HandLabel(message_id=message_id, field=field, from_random_sample=from_random_sample)
        session.add(label)
    label.value, label.account_id, label.labelled_at = {"is": kept}, account_id, now
    label.from_random_sample = label.from_random_sample or from_random_sample
    settle_by_hand(session, [message_id])


def remove_hand_label(session: Session, message_id: int, field: str) -> None:
    """Take a correction back; the reading counts again."""
    session.execute(delete(HandLabel).where(HandLabel.message_id == message_id, HandLabel.field == field))
    settle_by_hand(session, [message_id])
