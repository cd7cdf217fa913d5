"""Commands that print what the program found: messages, recipes, requests, digests; and how right it is."""

import json
import sys
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

import click
from sqlalchemy import select
from sqlalchemy.orm import joinedload

from inbox.cli.site import Progress, Site, as_json, existing_file, pass_site
from inbox.errors import InputError
from inbox.records.export import message_records
from inbox.records.settle import LABEL_FIELDS, remove_hand_label, set_hand_label
from inbox.records.tables import Recipe
from inbox.records.tables_out import RecipeStanding, Theme, ThemeRank
from inbox.words import KINDS


@click.command()
@click.option("--kind", type=click.Choice(KINDS), help="Only messages of this kind.")
@click.option("--recipe", help="Only messages about the recipe with this slug.")
@click.option("--hazards", is_flag=True, help="Only messages with a hazard.")
@click.option("--most", type=click.IntRange(1), help="Print at most so many.")
@as_json
@pass_site
def messages(
    site: Site, kind: str | None, recipe: str | None, hazards: bool, most: int | None, as_json: bool
) -> None:
    """Print messages with what the program reads in them.

    Example: second-batch messages --kind problem --recipe rye-loaf
    """

    def wanted() -> Iterator[dict[str, Any]]:
        for record in message_records(session, include_kept_apart=False):
            labels = record.get("labels", {})
            if (
                (not kind or kind in labels.get("kinds", ()))
                and (not recipe or labels.get("recipe") == recipe)
                and (not hazards or labels.get("hazard"))
            ):
                yield record

    with site.sessions() as session:
        for record in islice(wanted(), most):
            if as_json:
                click.echo(json.dumps(record, ensure_ascii=False))
            else:
                labels = record.get("labels", {})
                said = ", ".join([*labels.get("kinds", ["not read yet"]), *labels.get("faults", [])])
                about = f" about {labels['recipe']}" if labels.get("recipe") else ""
                text = " ".join(record["text"].split())
                click.echo(
                    f"{record['number']}  {record['received_at'][:10]}  [{said}]{about}\n    {text[:200]}"
                )


@click.command("requests")
@click.option("--most", type=click.IntRange(1), default=10, show_default=True, help="Print so many themes.")
@as_json
@pass_site
def requests_command(site: Site, most: int, as_json: bool) -> None:
    """Print what readers ask for, what to develop next on top, with the reasons.

    Example: second-batch requests --most 5
    """
    with site.sessions() as session:
        ranks = session.scalars(
            select(ThemeRank)
            .join(Theme)
            .where(Theme.shelf == "open")
            .order_by(ThemeRank.place)
            .limit(most)
            .options(joinedload(ThemeRank.theme))
        ).all()
    if as_json:
        click.echo(
            json.dumps(
                [
                    {
                        "theme": rank.theme_id,
                        "name": rank.theme.name,
                        "place": rank.place,
                        "score": rank.score,
                        "readers": rank.reader_count,
                        "in_words": rank.in_words,
                        **rank.details,
                    }
                    for rank in ranks
                ],
                ensure_ascii=False,
                indent=2,
            )
        )
        return
    for rank in ranks:
        click.echo(f"{rank.place}. {rank.theme.name} (theme {rank.theme_id})\n   {rank.in_words}")
    if not ranks:
        click.echo("Nobody has asked for anything yet; bring messages in with second-batch import.")


@click.group("recipes", invoke_without_command=True)
@as_json
@click.pass_context
def recipes(context: click.Context, as_json: bool) -> None:
    """Print how each recipe does, those in trouble on top; or bring recipes in.

    Example: second-batch recipes
    """
    if context.invoked_subcommand is not None:
        return
    site = context.find_object(Site)
    if site is None:
        raise RuntimeError("the command group sets the site")
    with site.sessions() as session:
        rows = session.execute(
            select(Recipe, RecipeStanding)
            .outerjoin(RecipeStanding)
            .order_by(RecipeStanding.low.desc().nulls_last(), Recipe.slug)
        ).all()
    if as_json:
        click.echo(
            json.dumps(
                [
                    {
                        "slug": recipe.slug,
                        "title": recipe.title,
                        **(
                            {
                                "standing": standing.standing,
                                "share": standing.share,
                                "low": standing.low,
                                "high": standing.high,
                                "readers": standing.reader_count,
                                "failed": standing.failed_count,
                                "in_words": standing.in_words,
                            }
                            if standing
                            else {"standing": None}
                        ),
                    }
                    for recipe, standing in rows
                ],
                ensure_ascii=False,
                indent=2,
            )
        )
        return
    for recipe, standing in rows:
        words = (
            f"{standing.standing.replace('_', ' ')}: {standing.in_words}" if standing else "no reports yet"
        )
        click.echo(f"{recipe.slug}  {words}")
    if not rows:
        click.echo("No recipes yet; bring them in with second-batch recipes import.")


@click.command()
@click.argument("number", type=int)
@click.argument("field", type=click.Choice(LABEL_FIELDS))
@click.argument("values", nargs=-1)
@click.option("--back", is_flag=True, help="Take the correction back; the program's reading counts again.")
@pass_site
def label(site: Site, number: int, field: str, values: tuple[str, ...], back: bool) -> None:
    """Correct what the program read in message NUMBER; no value means none.

    Example: second-batch label 17 kinds made_it problem
    """
    many = field in ("kinds", "faults")
    if not many and len(values) > 1:
        raise InputError(f"{field} takes one value, and {len(values)} were given.")
    with site.sessions.begin() as session:
        if back:
            remove_hand_label(session, number, field)
        else:
            value = list(values) if many else (values[0] if values else None)
            set_hand_label(session, number, field, value, account_id=None, now=site.now())
    click.echo(
        f"Message {number}: {field} {'as the program reads it' if back else ' '.join(values) or 'none'}."
    )


@click.command("evaluate")
@click.argument("file", type=existing_file)
@click.option("--recipes", "recipes_file", type=existing_file, help="Catalogue that the messages speak of.")
@as_json
@pass_site
def evaluate_command(site: Site, file: Path, recipes_file: Path | None, as_json: bool) -> None:
    """Measure the reading on labelled messages that the model was not trained on.

    Example: second-batch evaluate labelled.jsonl --recipes recipes.json --json
    """
    from inbox.reading.evaluate import evaluate
    from inbox.reading.saved import load_or_train
    from inbox.reading.training import load_catalogue, load_labelled
    from inbox.themes.evaluate import group_labelled
    from inbox.themes.trained import load_or_fit

    labelled = load_labelled(file)
    catalogue = load_catalogue(recipes_file) if recipes_file else []
    progress = Progress("Reading")
    model = load_or_train(site.given.model_folder)
    likeness = load_or_fit(site.given.model_folder)
    found = evaluate(
        model, labelled, catalogue, group=lambda asked: group_labelled(asked, catalogue, likeness)
    )
    progress.end()
    if as_json:
        json.dump(found, sys.stdout, indent=2)
        click.echo()
        return
    for name, figures in found.items():
        click.echo(f"{name}: {json.dumps(figures)}")


COMMANDS = (messages, requests_command, recipes, label, evaluate_command)
