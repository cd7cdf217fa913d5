"""The kinds of long work: bringing a file in, reading again, grouping, learning, reckoning, a digest."""

from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, delete, exists, select
from sqlalchemy.orm import Session, sessionmaker

from inbox.digest.alerts import rewrite_owner_mails
from inbox.errors import InputError
from inbox.intake.fetch import fetch_page
from inbox.intake.recipes import import_recipes
from inbox.intake.run import import_path
from inbox.pipeline.learning import LEARN, in_words, learn
from inbox.pipeline.long_work import Tell, Work, ask
from inbox.pipeline.read_along import BringIn
from inbox.pipeline.regroup import regroup
from inbox.pipeline.rounds import Kitchen, go_round, reckon
from inbox.pipeline.sources import import_options
from inbox.pipeline.weekly import make_digest
from inbox.records.one_reader import wipe_traces
from inbox.records.saved import with_saved
from inbox.records.tables_out import LongWork
from inbox.replies.compose import sender_of
from inbox.replies.post import drop_forgotten_letters
from inbox.settings import Settings

IMPORT, RECIPES, READ_AGAIN, DIGEST, WIPE = "import", "recipes", "read again", "digest", "wipe"
REGROUP, RECKON = "regroup", "reckon"

IS_BEING_RECKONED = exists().where(LongWork.what == RECKON, LongWork.finished_at.is_(None))
"""Whether a decision was made that ranking and standings do not tell of yet; a part of statements."""


def reckon_soon(session: Session, *, now: datetime) -> None:
    """Have ranking and standings reckoned anew after a decision; asked for once, however many decisions.

    One that is being done already may have looked before this decision, so another one is asked for.
    """
    waits = select(LongWork.id).where(LongWork.what == RECKON, LongWork.started_at.is_(None))
    session.execute(delete(LongWork).where(LongWork.what == RECKON, LongWork.finished_at.is_not(None)))
    if session.scalar(waits.where(LongWork.finished_at.is_(None)).limit(1)) is None:
        ask(session, RECKON, {"name": "Reckoning anew"}, now=now)


def works(
    sessions: sessionmaker[Session],
    kitchen: Kitchen,
    settings: Settings,
    *,
    clock: Callable[[], datetime],
) -> dict[str, Work]:
    """What `long_work.do_next` can do, by name.

    `import` takes the arguments of `import_options` and the file's `name`; `recipes` a
    file; the others nothing: `digest` is of the last full week, `wipe` comes after somebody was
    forgotten, `reckon` after a decision.
    """

    def now_settings() -> Settings:
        with sessions() as session:
            return with_saved(session, settings)

    def round_of(tell: Tell, *, again: bool, bring_in: BringIn | None = None) -> str:
        done = go_round(
            sessions,
            kitchen,
            settings,
            now=clock(),
            again=again,
            bring_in=bring_in,
            tell=lambda _step, count, of: tell(count, of),
        )
        return f"Read {done.read.read_count:,} messages; {done.regrouped.new_theme_count:,} themes are new."

    def import_file(arguments: Mapping[str, Any], upload: Path | None, tell: Tell) -> str:
        path = _needed(upload)
        options = import_options(
            now_settings(),
            now=clock(),
            columns=arguments.get("columns"),
            dates=arguments.get("dates"),
            encoding=arguments.get("encoding"),
        )
        words: list[str] = []

        def bring_in(go_on: Callable[[], None]) -> None:
            def told(done: int, of: int | None) -> None:
                tell(done, of)
                go_on()

            result = import_path(sessions, path, options=options, progress=told, name=arguments.get("name"))
            words.append(f"{result.in_words[0].upper()}{result.in_words[1:]}.")

        words.append(round_of(tell, again=False, bring_in=bring_in))
        return " ".join(words)

    def import_catalogue(arguments: Mapping[str, Any], upload: Path | None, tell: Tell) -> str:
        source = str(arguments.get("address") or _needed(upload))
        with sessions.begin() as session:
            found = import_recipes(session, source, now=clock(), fetch=fetch_page)
        passed_over = f" Passed over: {'; '.join(found.passed_over)}." if found.passed_over else ""
        return f"{found.in_words}.{passed_over} {round_of(tell, again=True)}"

    def read_again(arguments: Mapping[str, Any], upload: Path | None, tell: Tell) -> str:
        return round_of(tell, again=True)

    def learn_by_hand(arguments: Mapping[str, Any], upload: Path | None, tell: Tell) -> str:
        said = in_words(row := learn(sessions, settings.model_folder, now=clock(), tell=tell))
        return f"{said} {round_of(tell, again=True)}" if row.taken else said

    def group_again(arguments: Mapping[str, Any], upload: Path | None, tell: Tell) -> str:
        done = regroup(sessions, kitchen.likeness(), now=clock(), progress=tell)
        reckon(sessions, settings, now=clock())
        return f"Placed {done.placed_count:,} requests; {done.new_theme_count:,} themes are new."

    def reckon_anew(arguments: Mapping[str, Any], upload: Path | None, tell: Tell) -> str:
        reckon(sessions, settings, now=clock())
        return "Ranking and standings are reckoned anew."

    def digest(arguments: Mapping[str, Any], upload: Path | None, tell: Tell) -> str:
        made = make_digest(
            sessions, kitchen, settings, now=clock(), tell=lambda _step, count, of: tell(count, of)
        )
        return f"The digest of week {made.week} is there."

    def wipe(arguments: Mapping[str, Any], upload: Path | None, tell: Tell) -> str:
        with sessions() as session:
            engine = session.get_bind()
        if not isinstance(engine, Engine):
            raise TypeError("work is done on sessions of an engine")
        with sessions() as session:
            drop_forgotten_letters(session, settings.outbox_folder)
            counted = with_saved(session, settings)
            rewrite_owner_mails(session, settings.outbox_folder, sender=sender_of(counted), now=clock())
        wipe_traces(engine)
        return "Nothing of the forgotten words is left in the ledger's files."

    return {
        IMPORT: import_file,
        RECIPES: import_catalogue,
        READ_AGAIN: read_again,
        LEARN: learn_by_hand,
        REGROUP: group_again,
        RECKON: reckon_anew,
        DIGEST: digest,
        WIPE: wipe,
    }


def _needed(upload: Path | None) -> Path:
    if upload is None:
        raise InputError("The file that was handed in is gone; hand it in once more.")
    return upload
