"""Commands that bring things in: messages, recipes, what was set aside; and read what is new."""

import json
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

import click

from inbox.cli.findings import recipes
from inbox.cli.site import Progress, Site, as_json, existing_file, pass_site
from inbox.errors import InputError
from inbox.intake.fetch import fetch_page
from inbox.intake.mention import refused_mentions, try_mention_again
from inbox.intake.recipes import import_recipes
from inbox.intake.run import RunResult, import_path
from inbox.intake.second_look import doubtful_pairs, keep_both, let_in, make_one
from inbox.intake.set_aside import leave_out, list_set_aside, try_again
from inbox.intake.table_rows import ENCODINGS
from inbox.intake.take_back import take_back
from inbox.pipeline.read_along import BringIn
from inbox.pipeline.rounds import Kitchen, Round, go_round
from inbox.pipeline.sources import import_options
from inbox.sparing import spare_collection


@click.command("import")
@click.argument("files", nargs=-1, required=True, type=existing_file)
@click.option("--column", "columns", multiple=True, metavar="FIELD=HEAD", help="What a table's column holds.")
@click.option(
    "--dates", type=click.Choice(["day-first", "month-first"]), help="How a table writes its dates."
)
@click.option("--encoding", type=click.Choice(list(ENCODINGS)), help="How a CSV file is written.")
@click.option("--read/--no-read", "read_too", default=True, help="Read the messages at once.")
@as_json
@pass_site
def import_command(
    site: Site,
    files: tuple[Path, ...],
    columns: tuple[str, ...],
    dates: str | None,
    encoding: str | None,
    read_too: bool,
    as_json: bool,
) -> int:
    """Bring messages in: mbox, Maildir, .eml, zip, CSV, xlsx, JSON lines, Atom, RSS.

    Exits with 1 if something was set aside.

    Example: second-batch import letters.mbox comments.csv --column text=Comment
    """
    site.open(make=True)
    options = import_options(
        site.settings, now=site.now(), columns=_pairs(columns), dates=dates, encoding=encoding
    )
    results: list[RunResult] = []
    spare_collection()

    def bring_in(go_on: Callable[[], None]) -> None:
        for path in files:
            progress = Progress(path.name)

            def told(done: int, of: int | None, progress: Progress = progress) -> None:
                progress(done, of)
                go_on()

            result = import_path(site.sessions, path, options=options, progress=told)
            progress.end()
            results.append(result)
            if not as_json:
                click.echo(f"{path.name}: {result.in_words}. (import {result.run_id})")

    if read_too:
        done = _round(site, again=False, bring_in=bring_in)
        if not as_json:
            click.echo(f"Read {done.read.read_count:,} new messages.")
    else:
        bring_in(lambda: None)
    if as_json:
        click.echo(
            json.dumps([{"file": str(p), **asdict(r)} for p, r in zip(files, results, strict=True)], indent=2)
        )
    return 1 if any(result.set_aside for result in results) else 0


def _pairs(columns: tuple[str, ...]) -> dict[str, str] | None:
    pairs = {}
    for text in columns:
        field, equals, head = text.partition("=")
        if not equals or not field or not head:
            raise InputError(f"--column is {text!r}; write it as FIELD=HEAD, such as text=Comment.")
        pairs[field.strip()] = head.strip()
    return pairs or None


def _round(site: Site, *, again: bool, cluster: str | None = None, bring_in: BringIn | None = None) -> Round:
    """Read, regroup and rank with a line of progress."""
    progress = Progress("Reading")
    try:
        if cluster is None:
            return go_round(
                site.sessions,
                Kitchen(site.given),
                site.given,
                now=site.now(),
                again=again,
                bring_in=bring_in,
                tell=lambda _step, done, of: progress(done, of),
            )
        from inbox.pipeline.spread import dask_spread

        with dask_spread(cluster) as spread:
            return go_round(
                site.sessions,
                Kitchen(site.given),
                site.given,
                now=site.now(),
                again=again,
                spread=spread,
                tell=lambda _step, done, of: progress(done, of),
            )
    finally:
        progress.end()


@click.command()
@click.option("--all", "again", is_flag=True, help="Also what was read before, by another model.")
@click.option("--dask", "cluster", metavar="ADDRESS", help="Read on the Dask cluster at this address.")
@pass_site
def read(site: Site, again: bool, cluster: str | None) -> None:
    """Read what is new, give requests their themes, rank and judge.

    Example: second-batch read --all
    """
    done = _round(site, again=again, cluster=cluster)
    click.echo(
        f"Read {done.read.read_count:,} messages; placed {done.regrouped.placed_count:,} requests, "
        f"{done.regrouped.new_theme_count:,} themes are new."
    )


@recipes.command("import")
@click.argument("sources", nargs=-1, required=True)
@pass_site
def recipes_import(site: Site, sources: tuple[str, ...]) -> int:
    """Bring recipes in: HTML or JSON files with schema.org recipes, its own JSON, or an address.

    Exits with 1 if a source held no recipe.

    Example: second-batch recipes import saved-pages/ https://example.com/rye-loaf
    """
    site.open(make=True)
    passed_over: list[str] = []
    for source in sources:
        with site.sessions.begin() as session:
            result = import_recipes(session, source, now=site.now(), fetch=fetch_page)
        passed_over += result.passed_over
        click.echo(f"{source}: {result.in_words}.")
    for words in passed_over:
        click.echo(f"Passed over: {words}", err=True)
    return 1 if passed_over else 0


@click.group("set-aside", invoke_without_command=True)
@as_json
@click.pass_context
def set_aside(context: click.Context, as_json: bool) -> None:
    """List what could not be taken in, with the reason; try it again, or leave it out.

    Example: second-batch set-aside
    """
    if context.invoked_subcommand is not None:
        return
    site = context.find_object(Site)
    if site is None:
        raise RuntimeError("the command group sets the site")
    with site.sessions() as session:
        rows = list_set_aside(session)
    if as_json:
        shown = [
            {"number": row.id, "place": row.place, "reason": row.reason, "bytes": len(row.raw)}
            for row in rows
        ]
        click.echo(json.dumps(shown, ensure_ascii=False, indent=2))
        return
    for row in rows:
        click.echo(f"{row.id}  {row.place}: {row.reason}")
    if not rows:
        click.echo("Nothing is set aside.")


@set_aside.command("again")
@click.argument("numbers", nargs=-1, type=int)
@pass_site
def set_aside_again(site: Site, numbers: tuple[int, ...]) -> int:
    """Try again to take these items in, or all; exits with 1 if some still cannot be.

    Example: second-batch set-aside again
    """
    with site.sessions() as session:
        chosen = numbers or tuple(row.id for row in list_set_aside(session))
    own = import_options(site.settings, now=site.now()).own_addresses
    taken = 0
    for number in chosen:
        with site.sessions.begin() as session:
            tried = try_again(session, number, now=site.now(), own_addresses=own)
        taken += tried.message_id is not None
        click.echo(f"{number}  {tried.reason or f'taken in as message {tried.message_id}'}")
    click.echo(f"Taken in: {taken} of {len(chosen)}.")
    return 0 if taken == len(chosen) else 1


@set_aside.command("mentions")
@click.argument("numbers", nargs=-1, type=int)
@pass_site
def set_aside_mentions(site: Site, numbers: tuple[int, ...]) -> None:
    """List mentions that were refused; with NUMBERS, let these be looked at again by the schedule.

    Example: second-batch set-aside mentions 4
    """
    with site.sessions.begin() as session:
        for number in numbers:
            try_mention_again(session, number, now=site.now())
        rows = [] if numbers else refused_mentions(session)
        lines = [f"{row.id}  {row.source}: {row.reason}" for row in rows]
    for line in lines:
        click.echo(line)
    if numbers:
        click.echo(f"Looked at again with the next round: {len(numbers)}.")
    elif not lines:
        click.echo("No mention was refused.")


@set_aside.command("leave")
@click.argument("numbers", nargs=-1, required=True, type=int)
@pass_site
def set_aside_leave(site: Site, numbers: tuple[int, ...]) -> None:
    """Leave these items out for good; they stay kept.

    Example: second-batch set-aside leave 3 4
    """
    with site.sessions.begin() as session:
        for number in numbers:
            leave_out(session, number, now=site.now())
    click.echo(f"Left out: {len(numbers)}.")


@click.group("second-look", invoke_without_command=True)
@as_json
@click.pass_context
def second_look(context: click.Context, as_json: bool) -> None:
    """List pairs of messages that may be one; say whether they are one or two, or let mail in.

    Example: second-batch second-look
    """
    if context.invoked_subcommand is not None:
        return
    site = context.find_object(Site)
    if site is None:
        raise RuntimeError("the command group sets the site")
    with site.sessions() as session:
        pairs = [(row.id, row.doubtful_twin_id, row.text) for row in doubtful_pairs(session)]
    if as_json:
        shown = [{"message": number, "perhaps": twin, "text": text} for number, twin, text in pairs]
        click.echo(json.dumps(shown, ensure_ascii=False, indent=2))
        return
    for number, twin, text in pairs:
        click.echo(f"{number}  perhaps the same as {twin}: {' '.join(text.split())[:80]}")
    if not pairs:
        click.echo("No two messages may be one.")


@second_look.command("one")
@click.argument("numbers", nargs=-1, required=True, type=int)
@pass_site
def second_look_one(site: Site, numbers: tuple[int, ...]) -> None:
    """These messages say again what their pairs say; they are kept and count no more.

    Example: second-batch second-look one 12
    """
    with site.sessions.begin() as session:
        for number in numbers:
            make_one(session, number)
    click.echo(f"Counted once: {len(numbers)}.")


@second_look.command("two")
@click.argument("numbers", nargs=-1, required=True, type=int)
@pass_site
def second_look_two(site: Site, numbers: tuple[int, ...]) -> None:
    """These messages and their pairs are two each.

    Example: second-batch second-look two 12
    """
    with site.sessions.begin() as session:
        for number in numbers:
            keep_both(session, number)
    click.echo(f"Counted as two: {len(numbers)}.")


@second_look.command("let-in")
@click.argument("numbers", nargs=-1, required=True, type=int)
@pass_site
def second_look_let_in(site: Site, numbers: tuple[int, ...]) -> None:
    """A reader wrote these messages, though they were kept apart; `read` reads them.

    Example: second-batch second-look let-in 12
    """
    with site.sessions.begin() as session:
        for number in numbers:
            let_in(session, number)
    click.echo(f"Let in: {len(numbers)}.")


@click.command("take-back")
@click.argument("run", type=int)
@pass_site
def take_back_command(site: Site, run: int) -> None:
    """Take a whole import back; RUN is the number that import printed.

    Example: second-batch take-back 3
    """
    with site.sessions.begin() as session:
        taken = take_back(session, run, now=site.now())
    click.echo(taken.in_words)


COMMANDS = (import_command, read, set_aside, second_look, take_back_command)
