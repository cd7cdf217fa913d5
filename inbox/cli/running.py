"""Commands that set up, show and run the service: demo, setup, serve, schedule, digest, replies."""

from dataclasses import replace

import click
from sqlalchemy import select

from inbox.cli.site import Site, pass_site
from inbox.errors import InputError
from inbox.records import accounts
from inbox.records.saved import save_settings
from inbox.records.tables_out import Account
from inbox.settings import Settings


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
    password = click.prompt("Password, at least 12 characters", hide_input=True, confirmation_prompt=True)
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


COMMANDS = (setup, serve, schedule)
