"""A few messages to check each week, and how right the reading turns out to be by them.

The random sample is for honest measurement and is drawn whatever the reading says; the
least sure are for learning and measure nothing. The two are kept apart.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import blake2b

from sqlalchemy import BigInteger, ColumnElement, cast, func, select
from sqlalchemy.orm import Session

from inbox.calendar import Week, last_full_week
from inbox.digest.charts import ReliabilityBin
from inbox.ranking.stats import wilson
from inbox.records.tables import HandLabel, Labels, Message, MessageReading
from inbox.settings import Settings
from inbox.words import KINDS, LANGUAGE_READ

SAMPLE_COUNT = 10
"""Messages in a week's random sample; chosen: three minutes' work, 500 labels in a year."""

ENOUGH_MEANT = 30
"""Messages of a kind in the samples from which the share that is found is used. Chosen: its 95 % interval is
then at most some 18 points wide to either side."""

LEAST_SURE_COUNT = 5

_PRIME = 2**31 - 1
"""Products of two numbers below it fit a database's integers."""

BINS = 5


@dataclass(frozen=True)
class KindMeasured:
    """How right the reading is about one kind; intervals are Wilson's, 95 %.

    Attributes
    ----------
    right_count, read_count, meant_count : int
        Messages of the samples read and meant so; read so; meant so.
    counted, corrected : int or None
        Messages of the last full week read so, and what that comes to when the errors are taken
        out (Rogan WJ, Gladen B (1978), American Journal of Epidemiology 107:71-76); None where the
        samples are too few to say.
    """

    kind: str
    right_count: int
    read_count: int
    meant_count: int
    precision: tuple[float, float, float] | None
    recall: tuple[float, float, float] | None
    counted: int
    corrected: int | None


def week_sample(session: Session, week: Week, settings: Settings, *, count: int = SAMPLE_COUNT) -> list[int]:
    """Numbers of the week's random sample; the same ones whoever asks and whenever."""
    # Most of the week's messages will do, so that a few more than wanted are drawn and looked at first.
    few = _drawn(session, week, settings, count, among=10 * count)
    return sorted(few if len(few) == count else _drawn(session, week, settings, count, among=None))


def _drawn(session: Session, week: Week, settings: Settings, count: int, among: int | None) -> Sequence[int]:
    """The first of the week's messages in the order of the draw that readers wrote and that can be read."""
    place = _place_in_draw(str(week)).label("place")
    drawn = (
        select(Message.id, place)
        .where(
            Message.received_at >= week.start_at(settings.zone),
            Message.received_at < week.end_at(settings.zone),
        )
        .order_by(place, Message.id)
        .limit(among)
        .subquery()
    )
    return session.scalars(
        select(drawn.c.id)
        .join(Message, Message.id == drawn.c.id)
        .join(MessageReading, MessageReading.message_id == drawn.c.id)
        .where(Message.kept_apart.is_(None), MessageReading.language == LANGUAGE_READ)
        .order_by(drawn.c.place, drawn.c.id)
        .limit(count)
    ).all()


def _place_in_draw(week: str) -> ColumnElement[int]:
    """Where a message stands in a week's draw; a message that comes in late does not shuffle the others.

    A polynomial of the message's number modulo a prime, its coefficients drawn by the week: any three
    messages stand in independent places (Wegman MN, Carter JL (1981), Journal of Computer and System
    Sciences 22:265-279), and the database reckons it without handing the week's messages out.
    """
    seed = blake2b(week.encode(), digest_size=24).digest()
    a, b, c = (int.from_bytes(seed[at : at + 8]) % _PRIME for at in (0, 8, 16))
    number = cast(Message.id, BigInteger) % _PRIME
    return ((a * number + b) % _PRIME * number + c) % _PRIME


def least_sure(session: Session, *, leave_out: Sequence[int], count: int = LEAST_SURE_COUNT) -> list[int]:
    """Numbers of the messages that the reading is least sure of and that no person looked at."""
    return list(
        session.scalars(
            select(Labels.message_id)
            .where(Labels.by_hand.is_(False), Labels.message_id.not_in(leave_out))
            .order_by(Labels.least_sure, Labels.message_id)
            .limit(count)
        )
    )


def measured(session: Session, settings: Settings, *, now: datetime) -> list[KindMeasured]:
    """How right the reading is, kind by kind, by all random samples so far."""
    pairs = _pairs(session)
    week = last_full_week(now, settings.zone)
    total, counted = _week_counts(session, week, settings)
    return [_measure(kind, pairs, total, counted[kind]) for kind in KINDS]


def found_share(session: Session, kind: str) -> float:
    """Share of the messages of a kind that the reading finds, by all random samples so far.

    Returns
    -------
    float
        1 where the samples hold fewer than `ENOUGH_MEANT` such messages: then nothing is put right.
    """
    read = [kind in read for meant, read, _ in _pairs(session) if kind in meant]
    return max(sum(read), 1) / len(read) if len(read) >= ENOUGH_MEANT else 1.0


Pair = tuple[set[str], set[str], dict[str, float]]


def _pairs(session: Session) -> list[Pair]:
    """What was meant, what was read, and how sure the reading was, for each message of the samples."""
    rows = session.execute(
        select(HandLabel.value, MessageReading.kinds, MessageReading.kind_probabilities)
        .join(MessageReading, MessageReading.message_id == HandLabel.message_id)
        .where(HandLabel.field == "kinds", HandLabel.from_random_sample)
    )
    return [(set(value["is"]), set(kinds), dict(sure)) for value, kinds, sure in rows]


def _week_counts(session: Session, week: Week, settings: Settings) -> tuple[int, dict[str, int]]:
    """Messages of a week, and those of each kind; each along the index of a kind and the moment."""
    inside = (
        Labels.received_at >= week.start_at(settings.zone),
        Labels.received_at < week.end_at(settings.zone),
    )
    kinds = [getattr(Labels, f"is_{kind}") for kind in KINDS]
    asked = [kinds[0].in_((True, False)), *kinds]  # that either holds is true of all
    total, *counts = session.execute(
        select(*(select(func.count()).where(one, *inside).scalar_subquery() for one in asked))
    ).one()
    return total, dict(zip(KINDS, counts, strict=True))


def _measure(kind: str, pairs: Sequence[Pair], total: int, counted: int) -> KindMeasured:
    right = sum(kind in meant and kind in read for meant, read, _ in pairs)
    read_count = sum(kind in read for _, read, _ in pairs)
    meant_count = sum(kind in meant for meant, _, _ in pairs)
    others = len(pairs) - meant_count
    corrected = None
    if meant_count and others and total:
        sensitivity = right / meant_count
        specificity = 1 - (read_count - right) / others
        if sensitivity + specificity > 1:
            share = (counted / total + specificity - 1) / (sensitivity + specificity - 1)
            corrected = round(min(max(share, 0.0), 1.0) * total)
    return KindMeasured(
        kind=kind,
        right_count=right,
        read_count=read_count,
        meant_count=meant_count,
        precision=_with_interval(right, read_count),
        recall=_with_interval(right, meant_count),
        counted=counted,
        corrected=corrected,
    )


def _with_interval(right: int, of: int) -> tuple[float, float, float] | None:
    if not of:
        return None
    low, high = (float(bound) for bound in wilson(right, of))
    return right / of, low, high


def reliability_bins(session: Session) -> list[ReliabilityBin]:
    """How often the reading was true when it was about so sure, over all kinds of the samples."""
    found = [
        (float(probability), kind in meant)
        for meant, _, sure in _pairs(session)
        for kind, probability in sure.items()
    ]
    bins = []
    for number in range(BINS):
        low, high = number / BINS, (number + 1) / BINS
        inside = [
            (given, true)
            for given, true in found
            if low <= given < high or (number == BINS - 1 and given == 1.0)
        ]
        if inside:
            true_count = sum(true for _, true in inside)
            bounds = wilson(true_count, len(inside))
            bins.append(
                ReliabilityBin(
                    predicted=sum(given for given, _ in inside) / len(inside),
                    observed=true_count / len(inside),
                    low=float(bounds[0]),
                    high=float(bounds[1]),
                    count=len(inside),
                )
            )
    return bins
