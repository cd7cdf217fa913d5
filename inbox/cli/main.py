"""The command group, and the one place where errors become a line and an exit code."""

import sys
from collections.abc import Sequence
from typing import NoReturn

import click
from sqlalchemy.exc import DBAPIError, OperationalError

from inbox.cli import findings, ingredients, intake, people, running, upkeep
from inbox.cli.site import Site
from inbox.errors import InboxError, InputError
from inbox.records.engine import explain_failure
from inbox.settings import load


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.option("--folder", type=click.Path(file_okay=False), help="Folder that holds everything.")
@click.option("--database", "database_url", help="Address of a PostgreSQL database, instead of SQLite.")
@click.version_option(package_name="second-batch")
@click.pass_context
def second_batch(context: click.Context, folder: str | None, database_url: str | None) -> None:
    """Gather what readers write about your recipes, and say what to develop, mend and answer.

    Start with: second-batch demo
    """
    settings, origins = load({"folder": folder, "database_url": database_url})
    context.obj = Site(settings, origins)
    context.call_on_close(context.obj.close)


for command in (
    *running.COMMANDS,
    *intake.COMMANDS,
    *findings.COMMANDS,
    *upkeep.COMMANDS,
    *people.COMMANDS,
    *ingredients.COMMANDS,
):
    second_batch.add_command(command)


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run one command; exits with 0, with 1 for findings or failures, with 2 for wrong use."""
    sys.exit(run(arguments))


def run(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; errors are one line on standard error."""
    try:
        code = second_batch.main(arguments, prog_name="second-batch", standalone_mode=False)
        return code if isinstance(code, int) else 0
    except click.exceptions.Exit as stop:
        return int(stop.exit_code)
    except click.UsageError as error:
        error.show()
        return 2
    except click.ClickException as error:
        error.show()
        return 1
    except click.Abort:
        click.echo("Stopped; what was done so far is kept.", err=True)
        return 1
    except InputError as error:
        return _say(str(error), 2)
    except InboxError as error:
        return _say(str(error), 1)
    except OperationalError as error:
        return _say(explain_failure(error), 1)
    except DBAPIError as error:
        return _say(f"The ledger refused this: {error.orig}. Nothing of it was kept.", 1)
    except BrokenPipeError:
        # The reader of our output, such as `head`, has seen enough.
        sys.stderr.close()
        return 0


def _say(words: str, code: int) -> int:
    click.echo(f"second-batch: {words}", err=True)
    return code
