"""Commands about who may sign in: the list, and switching off the second step of a lost phone."""

import click
from sqlalchemy import select

from inbox.cli.site import Site, pass_site
from inbox.errors import NotFoundError
from inbox.records import accounts, second_step
from inbox.records.door_book import note
from inbox.records.tables_out import Account


@click.group("people", invoke_without_command=True)
@click.pass_context
def people(context: click.Context) -> None:
    """Print who may sign in, and who is asked for a code.

    Example: second-batch people
    """
    if context.invoked_subcommand is not None:
        return
    site = context.find_object(Site)
    if site is None:
        raise RuntimeError("the command group sets the site")
    with site.sessions() as session:
        for row in accounts.accounts(session):
            step = "password and code" if row.code_secret else "password"
            click.echo(f"{row.name}: {row.role}, {step}")


@people.command("no-code")
@click.argument("name")
@pass_site
def no_code(site: Site, name: str) -> None:
    """Ask NAME for no code any more, when the phone and the spare codes are lost.

    Example: second-batch people no-code Ada
    """
    with site.sessions.begin() as session:
        account = session.scalar(select(Account).where(Account.name == name, Account.closed_at.is_(None)))
        if account is None:
            raise NotFoundError(f"Nobody named {name!r} may sign in; second-batch people lists who may.")
        if account.code_secret is None:
            click.echo(f"{name} is asked for no code; nothing was changed.")
            return
        second_step.switch_off(session, account.id)
        note(session, "code_off", account.id, "", now=site.now())
    click.echo(f"{name} signs in by the password alone from now on, and is signed out everywhere.")


COMMANDS = (people,)
