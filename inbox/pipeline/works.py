"""The kinds of long work: bringing a file in, reading everything again, going a round."""

from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Engine
from sqlalchemy.orm import Session, sessionmaker

from inbox.errors import InputError
from inbox.intake.fetch import fetch_page
from inbox.intake.recipes import import_recipes
from inbox.intake.run import import_path
from inbox.pipeline.long_work import Tell, Work
from inbox.pipeline.rounds import Kitchen, go_round
from inbox.pipeline.sources import import_options
from inbox.pipeline.weekly import make_digest
from inbox.records.one_reader import wipe_traces
from inbox.records.saved import with_saved
from inbox.replies.post import drop_forgotten_letters
from inbox.settings import Settings

IMPORT, RECIPES, READ_AGAIN, DIGEST, WIPE = "import", "recipes", "read again", "digest", "wipe"


def works(
    sessions: sessionmaker[Session],
    kitchen: Kitchen,
    settings: Settings,
    *,
    clock: Callable[[], datetime],
) -> dict[str, Work]:
    """What `long_work.do_next` can do, by name.

    `import` takes the arguments of `import_options` and the file's `name`; `recipes` a
    file; `read again`, `digest` (of the last full week) and `wipe` (after somebody was
    forgotten) nothing.
    """

    def now_settings() -> Settings:
        with sessions() as session:
            return with_saved(session, settings)

    def round_of(tell: Tell, *, again: bool) -> str:
        done = go_round(
            sessions,
            kitchen,
            settings,
            now=clock(),
            again=again,
            tell=lambda _step, count, of: tell(count, of),
        )
        return f"Read {done.read.read_count:,} messages; {done.regrouped.new_theme_count:,} themes are new."

    def import_file(arguments: Mapping[str, Any], upload: Path | None, tell: Tell) -> str:
        path = _needed(upload)
        options = import_options(
            now_settings(), now=clock(), columns=arguments.get("columns"), dates=arguments.get("dates")
        )
        result = import_path(sessions, path, options=options, progress=tell, name=arguments.get("name"))
        return f"{result.in_words[0].upper()}{result.in_words[1:]}. {round_of(tell, again=False)}"

    def import_catalogue(arguments: Mapping[str, Any], upload: Path | None, tell: Tell) -> str:
        source = str(arguments.get("address") or _needed(upload))
        with sessions.begin() as session:
            found = import_recipes(session, source, now=clock(), fetch=fetch_page)
        passed_over = f" Passed over: {'; '.join(found.passed_over)}." if found.passed_over else ""
        return f"{found.in_words}.{passed_over} {round_of(tell, again=True)}"

    def read_again(arguments: Mapping[str, Any], upload: Path | None, tell: Tell) -> str:
        kitchen.renew()
        return round_of(tell, again=True)

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
        wipe_traces(engine)
        return "Nothing of the forgotten words is left in the ledger's files."

    return {
        IMPORT: import_file,
        RECIPES: import_catalogue,
        READ_AGAIN: read_again,
        DIGEST: digest,
        WIPE: wipe,
    }


def _needed(upload: Path | None) -> Path:
    if upload is None:
        raise InputError("The file that was handed in is gone; hand it in once more.")
    return upload
