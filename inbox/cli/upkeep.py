"""Commands that look after the ledger: settings, backup, restore, check, export, readers."""

import json
import sys
from contextlib import nullcontext
from pathlib import Path

import click

from inbox.cli.site import Progress, Site, as_json, existing_file, pass_site
from inbox.digest.alerts import rewrite_owner_mails
from inbox.intake.second_look import join_readers
from inbox.records.backup import make_backup, restore, verify_backup
from inbox.records.check import CHECKS, check_ledger
from inbox.records.export import jsonl_lines
from inbox.records.one_reader import all_about, as_page, find_reader, forget, wipe_traces
from inbox.replies.compose import sender_of
from inbox.replies.post import drop_forgotten_letters
from inbox.settings import help_of, is_secret, setting_fields


@click.command("settings")
@as_json
@pass_site
def settings_command(site: Site, as_json: bool) -> None:
    """Print every setting, its value and where it came from.

    Example: second-batch settings
    """
    shown = []
    for item in setting_fields():
        value = getattr(site.given, item.name)
        if is_secret(item.name) and value:
            value = "(set)"
        shown.append(
            {
                "name": item.name,
                "value": str(value),
                "origin": site.origins.get(item.name, "default"),
                "help": help_of(item.name),
            }
        )
    if as_json:
        click.echo(json.dumps(shown, ensure_ascii=False, indent=2))
        return
    for row in shown:
        click.echo(f"{row['name']} = {row['value']}  ({row['origin']})\n    {row['help']}")


@click.command()
@click.option(
    "--to", "target", type=click.Path(file_okay=False, path_type=Path), help="Folder to write into."
)
@pass_site
def backup(site: Site, target: Path | None) -> None:
    """Write one verified file with everything, while the service goes on.

    Example: second-batch backup --to /media/stick
    """
    folder = target or site.settings.folder / "backups"
    path = make_backup(site.open(), folder, keep_count=site.settings.backup_keep_count, now=site.now())
    counts = verify_backup(path)
    click.echo(f"{path}: {counts['messages']:,} messages, {sum(counts.values()):,} rows in all, verified.")


@click.command("restore")
@click.argument("file", type=existing_file)
@pass_site
def restore_command(site: Site, file: Path) -> None:
    """Fill an empty ledger from a backup; also the way from SQLite to PostgreSQL and back.

    Example: second-batch --database postgresql://me@host/batch restore second-batch-20261123.sqlite3
    """
    progress = Progress("Restoring")
    counts = restore(file, site.open(make=True), progress=lambda _table, rows: progress(rows))
    progress.end()
    click.echo(f"Restored {counts['messages']:,} messages, {sum(counts.values()):,} rows in all.")


@click.command()
@as_json
@pass_site
def check(site: Site, as_json: bool) -> int:
    """Verify that the ledger holds what it says; exits with 1 if something does not hold.

    Example: second-batch check
    """
    with site.sessions() as session:
        found = check_ledger(session)
    if as_json:
        click.echo(json.dumps([{"check": row.check, "words": row.words} for row in found], indent=2))
    else:
        for row in found:
            click.echo(f"{row.check}: {row.words}")
        if not found:
            click.echo(f"All holds: {', '.join(CHECKS)}.")
    return 1 if found else 0


@click.command()
@click.option("--to", "target", type=click.Path(dir_okay=False, path_type=Path), help="File to write.")
@pass_site
def export(site: Site, target: Path | None) -> None:
    """Write every message and label as JSON lines.

    Example: second-batch export --to messages.jsonl
    """
    count = 0
    written = target.open("w", encoding="utf-8") if target else nullcontext(sys.stdout)
    with site.sessions() as session, written as out:
        for line in jsonl_lines(session):
            out.write(line + "\n")
            count += 1
    if target:
        click.echo(f"{target}: {count:,} messages.")


@click.group("reader")
def reader_group() -> None:
    """Give a reader all that is held about them, join two that are one, or forget them.

    WHO is an address, channel:handle such as social:ada, or a number.
    """


@reader_group.command("export")
@click.argument("who")
@click.option(
    "--to", "target", type=click.Path(dir_okay=False, path_type=Path), help="File to write; .html for a page."
)
@pass_site
def reader_export(site: Site, who: str, target: Path | None) -> None:
    """Write all that is held about one reader, as JSON or as a page.

    Example: second-batch reader export ada@example.org --to ada.html
    """
    with site.sessions() as session:
        about = all_about(session, find_reader(session, who).id)
    as_html = target is not None and target.suffix == ".html"
    written = as_page(about) if as_html else json.dumps(about, ensure_ascii=False, indent=2)
    if target is None:
        click.echo(written)
    else:
        target.write_text(written + "\n", encoding="utf-8")
        click.echo(f"{target}: {len(about['messages'])} messages, {len(about['replies'])} replies.")


@reader_group.command("join")
@click.argument("who")
@click.argument("other")
@pass_site
def reader_join(site: Site, who: str, other: str) -> None:
    """Say that OTHER is the same person as WHO, who stays; this cannot be undone.

    Example: second-batch reader join ada@example.org social:ada
    """
    with site.sessions.begin() as session:
        join_readers(session, find_reader(session, who).id, find_reader(session, other).id)
    click.echo(f"{other} is {who} from now on.")


@reader_group.command("forget")
@click.argument("who")
@click.option("--yes", is_flag=True, help="Do not ask.")
@pass_site
def reader_forget(site: Site, who: str, yes: bool) -> None:
    """Take one reader's identity and words out of everything; this cannot be undone.

    Example: second-batch reader forget ada@example.org
    """
    with site.sessions() as session:
        reader_id = find_reader(session, who).id
    if not yes:
        click.confirm(f"Forget {who}, with every message and reply? This cannot be undone.", abort=True)
    now, folder, sender = site.now(), site.given.outbox_folder, sender_of(site.settings)
    with site.sessions.begin() as session:
        count = forget(session, reader_id, now=now)
    with site.sessions() as session:
        drop_forgotten_letters(session, folder)
        rewrite_owner_mails(session, folder, sender=sender, now=now)
    wipe_traces(site.open())
    click.echo(
        f"Forgotten: {count} messages lost their words. Backups made before still hold them; "
        "the next ones do not."
    )


COMMANDS = (reader_group, settings_command, backup, restore_command, check, export)
