"""The one way into the ledger.

Every item ends stored, already here, or set aside. `deliver` takes one, `deliver_all` a few hundred at once
with one query of each sort. Neither commits. Start with `deliver_all`.
"""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy.orm import Session

from inbox.intake.arrival import Arrival, arrive
from inbox.intake.catalogue import Catalogue, load_catalogue
from inbox.intake.compare import compare
from inbox.intake.incoming import Delivered, Incoming, Unusable
from inbox.intake.store import put_aside, store

__all__ = ["Delivered", "Incoming", "Unusable", "deliver", "deliver_all"]


def deliver(session: Session, item: Incoming | Unusable, *, run_id: int | None, now: datetime) -> Delivered:
    """Take one item in; see `deliver_all`."""
    return deliver_all(session, [item], run_id=run_id, now=now)[0]


def deliver_all(
    session: Session,
    items: Sequence[Incoming | Unusable],
    *,
    run_id: int | None,
    now: datetime,
    catalogue: Catalogue | None = None,
) -> list[Delivered]:
    """Take items in.

    An item is already here if its key is, or if the same person wrote nearly the same words at nearly
    the same time through another door. A pair that is only perhaps the same is stored and marked
    (`Message.doubtful_twin_id`). A reader is found by address, else by handle in one channel; a name
    alone joins nobody.

    Parameters
    ----------
    items : sequence of Incoming or Unusable
        A few hundred at most; the caller commits after each call.
    run_id : int or None
        The import that they belong to.
    now : datetime
        Stands in where an item does not say when it was written.
    catalogue : Catalogue, optional
        The recipes, where the caller has them at hand.

    Returns
    -------
    list of Delivered
        One for each item, in order.
    """
    catalogue = load_catalogue(session) if catalogue is None else catalogue
    ends: dict[int, Delivered] = {}
    arrivals: list[tuple[int, Arrival]] = []
    for place, item in enumerate(items):
        if isinstance(item, Unusable):
            ends[place] = put_aside(session, item, run_id=run_id, now=now)
        else:
            arrivals.append((place, arrive(item, catalogue, now)))
    first_of: dict[int, Arrival] = {}
    fresh: list[Arrival] = []
    for place, arrival, found in compare(session, arrivals):
        if found is None:
            fresh.append(arrival)
            first_of[place] = arrival
        elif isinstance(found, Arrival):
            first_of[place] = found
        else:
            ends[place] = Delivered("already_here", message_id=found)
    store(session, fresh, run_id, now)
    counted: set[int] = set()
    for place, arrival in first_of.items():
        is_stored = arrival.is_new and arrival.message_id not in counted
        if is_stored and arrival.message_id is not None:
            counted.add(arrival.message_id)
        ends[place] = Delivered(
            "stored" if is_stored else "already_here",
            message_id=arrival.message_id,
            kept_apart=arrival.incoming.kept_apart if is_stored else None,
        )
    return [ends[place] for place in range(len(items))]
