"""Commands that set up, show and run the service: demo, setup, serve, schedule, digest, replies."""

import json
import tempfile
from dataclasses import asdict, replace
from pathlib import Path

import click
from sqlalchemy import select

from inbox.calendar import Week
from inbox.cli.site import Progress, Site, as_json, pass_site
from inbox.digest.alerts import mail_newest_digest
from inbox.digest.document import to_json
from inbox.digest.render import as_text
from inbox.errors import InputError
from inbox.pipeline.rounds import Kitchen
from inbox.pipeline.weekly import make_digest
from inbox.records import accounts
from inbox.records.documents import plain
from inbox.records.engine import make_sessions
from inbox.records.saved import save_settings
from inbox.records.tables_out import Account
from inbox.replies.compose import sender_of
from inbox.replies.post import mailer_of
from inbox.replies.sending import send_due
from inbox.replies.whom import owed
from inbox.settings import Settings


@click.command()
@click.option(
    "--folder", type=click.Path(file_okay=False, path_type=Path), help="Folder to build the site in."
)
@click.option("--port", type=click.IntRange(0, 65535), help="Port to serve the pages on.")
@click.option("--once", is_flag=True, help="Print the digest and end.")
def demo(folder: Path | None, port: int | None, once: bool) -> None:
    """Build an invented site with half a year of invented messages, and show it.

    Example: second-batch demo --once
    """
    from inbox.demo import build_demo

    with tempfile.TemporaryDirectory(prefix="second-batch-demo-") as temporary:
        progress = Progress("Building")
        site = build_demo(folder or Path(temporary), progress=lambda _what, done, of: progress(done, of))
        progress.end()
        for name, result in site.imports:
            click.echo(f"{name}: {result.in_words}.")
        click.echo()
        click.echo(as_text(site.digest))
        if not once:
            from inbox.cli.server import serve_site

            settings = site.settings if port is None else replace(site.settings, port=port)
            with make_sessions(site.engine).begin() as session:
                owner = session.scalar(select(Account.id).where(Account.role == "owner").limit(1))
            serve_site(settings, site.engine, clock=site.clock, sign_in_as=owner)
        site.engine.dispose()


@click.command()
@click.option("--site-name", help="Name of the site, as readers know it.")
@click.option("--owner", help="Your first name.")
@click.option("--timezone", help="Your time zone, such as Europe/London.")
@click.option("--country", help="Two letters, such as GB; decides occasions and help numbers.")
@click.option("--link", is_flag=True, help="Only print a new one-time link to sign in with.")
@pass_site
def setup(
    site: Site,
    site_name: str | None,
    owner: str | None,
    timezone: str | None,
    country: str | None,
    link: bool,
) -> None:
    """Make the folder and the owner's account, and ask for a password.

    Example: second-batch setup --site-name "Rye and Butter" --owner Ada --timezone Europe/London
    """
    site.open(make=not link)
    now = site.now()
    with site.sessions() as session:
        account = session.scalar(select(Account).where(Account.role == "owner", Account.closed_at.is_(None)))
    if link:
        if account is None:
            raise InputError("There is no owner yet; run second-batch setup first.")
        click.echo(f"Sign in once, within {accounts.LINK_MINUTES} minutes: {_link(site, account.id)}")
        return
    if account is not None:
        raise InputError(
            f"{site.given.folder} is set up already, for {account.name}. For a new way in run "
            "second-batch setup --link; to begin anew choose another --folder."
        )
    site_name = site_name or click.prompt("Name of your site")
    owner = owner or click.prompt("Your first name")
    timezone = timezone or click.prompt("Your time zone", default="UTC")
    password = click.prompt("Password, at least 10 characters", hide_input=True, confirmation_prompt=True)
    chosen = {"site_name": site_name, "owner_name": owner, "timezone": timezone}
    with site.sessions.begin() as session:
        save_settings(session, site.given, chosen | ({"country": country} if country else {}), now=now)
        accounts.create_account(session, owner, "owner", password, now=now)
    click.echo(f"{site.given.folder} is ready. Next: second-batch recipes import, or second-batch serve.")


def _link(site: Site, account_id: int) -> str:
    with site.sessions.begin() as session:
        token = accounts.make_link(session, account_id, now=site.now())
    return f"{site.settings.public_url.rstrip('/')}/enter/{token}"


@click.command()
@click.option("--bind", help="Address to listen on.")
@click.option("--port", type=click.IntRange(0, 65535), help="Port to listen on.")
@pass_site
def serve(site: Site, bind: str | None, port: int | None) -> None:
    """Serve the pages and the readers' forms; on SQLite it also keeps the schedule.

    Example: second-batch serve --port 8765
    """
    from inbox.cli.server import serve_site

    given = {name: value for name, value in (("bind", bind), ("port", port)) if value is not None}
    settings: Settings = replace(site.given, **given)  # type: ignore[arg-type]
    serve_site(settings, site.open(make=True), clock=site.now)


@click.command()
@pass_site
def schedule(site: Site) -> None:
    """Keep the schedule alone: digests, mail, mailbox and feeds, beside several web workers.

    Example: second-batch schedule
    """
    from inbox.cli.server import keep_schedule

    keep_schedule(site.given, site.open(), clock=site.now)


@click.command()
@click.option("--week", metavar="WEEK", help="Such as 2026-W47; the last full week when left out.")
@click.option("--mail", "mail_too", is_flag=True, help="Also mail the newest to the owner, if it was not.")
@as_json
@pass_site
def digest(site: Site, week: str | None, mail_too: bool, as_json: bool) -> None:
    """Make the digest of a week, once, and print it.

    Example: second-batch digest --week 2026-W47
    """
    chosen = Week.parse(week) if week else None
    if chosen is not None and chosen.end_at(site.settings.zone) > site.now():
        raise InputError(f"{chosen} is not over yet; a digest is of a full week.")
    progress = Progress("Reading")
    found = make_digest(
        site.sessions,
        Kitchen(site.given),
        site.given,
        chosen,
        now=site.now(),
        tell=lambda _step, done, of: progress(done, of),
    )
    progress.end()
    click.echo(json.dumps(to_json(found), ensure_ascii=False, indent=2) if as_json else as_text(found))
    if mail_too:
        mailed = mail_newest_digest(
            site.sessions,
            mailer_of(site.settings),
            now=site.now(),
            sender=sender_of(site.settings),
            by="second-batch digest",
        )
        if mailed is None:
            click.echo("Not mailed: it was mailed before, or owner_email is empty.", err=True)


@click.group("replies", invoke_without_command=True)
@click.option("--most", type=click.IntRange(1), default=20, show_default=True, help="Print so many readers.")
@as_json
@click.pass_context
def replies(context: click.Context, most: int, as_json: bool) -> None:
    """Print whom you owe an answer, the most urgent first, with the reason.

    Example: second-batch replies --most 5
    """
    if context.invoked_subcommand is not None:
        return
    site = context.find_object(Site)
    if site is None:
        raise RuntimeError("the command group sets the site")
    with site.sessions() as session:
        waiting = owed(session, now=site.now(), limit=most)
    if as_json:
        click.echo(json.dumps([plain(asdict(entry)) for entry in waiting], ensure_ascii=False, indent=2))
        return
    for entry in waiting:
        numbers = ", ".join(str(number) for number in entry.message_ids)
        click.echo(f"{entry.reader_name or 'a reader'} (message {numbers}): {entry.reason}")
    if not waiting:
        click.echo("You owe nobody an answer.")


@replies.command("send")
@pass_site
def replies_send(site: Site) -> int:
    """Send the replies whose hold is over; exits with 1 if some could not be sent.

    Example: second-batch replies send
    """
    settings = site.settings
    result = send_due(
        site.sessions,
        mailer_of(settings),
        now=site.now(),
        sender=sender_of(settings),
        daily_limit=settings.replies_a_day,
    )
    click.echo(f"Sent {len(result.sent)}, came back {len(result.came_back)}, put off {len(result.put_off)}.")
    if result.trouble:
        click.echo(result.trouble, err=True)
    return 1 if result.trouble or result.came_back else 0


COMMANDS = (demo, setup, serve, schedule, digest, replies)
