"""Figures for Prometheus, counted in the ledger when they are asked for, so that all workers agree.

Prometheus' client library is the extra `second-batch[metrics]`.
"""

from collections.abc import Mapping
from datetime import datetime

from flask import Response
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from inbox.errors import InputError
from inbox.pipeline.read import count_unread
from inbox.records.tables import DOORS, Message
from inbox.web.pages.contents import load_contents


def count_by_door(session: Session) -> dict[str, int]:
    """Messages in the ledger by the door they came in by; 0 for a door that none used."""
    found = dict(session.execute(select(Message.door, func.count()).group_by(Message.door)).all())
    return {door: found.get(door, 0) for door in DOORS}


def write_figures(session: Session, *, now: datetime) -> Response:
    """All figures in Prometheus' text format.

    Raises
    ------
    InputError
        If Prometheus' client library is not installed.
    """
    contents = load_contents(session, now=now)
    waiting = {
        "messages_to_read": ("Messages that wait to be read.", count_unread(session)),
        "set_aside": ("Incoming items that could not be taken in and wait.", contents.set_aside_count),
        "replies_waiting": ("Replies that wait to go.", contents.waiting_count),
        "long_work": ("Long work that is asked for or goes on.", contents.going_count),
        "hazards_waiting": ("Messages with a hazard that wait for the owner.", contents.hazard_count),
    }
    return _in_text_format(count_by_door(session), waiting)


def _in_text_format(by_door: Mapping[str, int], waiting: Mapping[str, tuple[str, int]]) -> Response:
    try:
        from prometheus_client import CollectorRegistry, Gauge
        from prometheus_client.exposition import CONTENT_TYPE_LATEST, generate_latest
    except ImportError as error:
        raise InputError("Figures for Prometheus need its library; install second-batch[metrics].") from error
    # A registry for each answer, so that nothing is counted in the process; gauges, since messages can go.
    registry = CollectorRegistry()
    messages = Gauge("second_batch_messages", "Messages in the ledger, by door.", ["door"], registry=registry)
    for door, count in by_door.items():
        messages.labels(door).set(count)
    for name, (words, count) in waiting.items():
        Gauge(f"second_batch_{name}", words, registry=registry).set(count)
    return Response(generate_latest(registry), content_type=CONTENT_TYPE_LATEST)
