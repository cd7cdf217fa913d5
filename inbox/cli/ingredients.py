"""What this installation is made of: every installed package that it needs, as a bill of materials."""

import json
from importlib import metadata
from typing import Any

import click
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from inbox.cli.site import as_json

NAME = "second-batch"


def find_ingredients(root: str = NAME) -> list[metadata.Distribution]:
    """Installed packages that `root` needs, directly or through others, those of its extras too.

    Packages that are not installed are left out, such as those of an extra that nobody asked for.
    """
    found: dict[str, metadata.Distribution] = {}
    waiting = [_name(line) for line in metadata.requires(root) or ()]
    while waiting:
        name = waiting.pop()
        if name in found:
            continue
        try:
            found[name] = metadata.distribution(name)
        except metadata.PackageNotFoundError:
            continue
        waiting += [
            _name(line) for line in found[name].requires or () if not _is_for_an_extra(Requirement(line))
        ]
    return [found[name] for name in sorted(found)]


def _name(line: str) -> str:
    return canonicalize_name(Requirement(line).name)


def _is_for_an_extra(needed: Requirement) -> bool:
    """Whether it is needed only for an extra of another package, or on another kind of machine."""
    return needed.marker is not None and not needed.marker.evaluate({"extra": ""})


def as_bill(found: list[metadata.Distribution], root: str = NAME) -> dict[str, Any]:
    """Bill of materials in CycloneDX 1.6 (ECMA-424): component, version, purl and licence."""
    return {
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": {"component": {"type": "application", "name": root, "version": metadata.version(root)}},
        "components": [_component(one) for one in found],
    }


def _component(one: metadata.Distribution) -> dict[str, Any]:
    name = canonicalize_name(one.name)
    purl = f"pkg:pypi/{name}@{one.version}"
    component = {"type": "library", "bom-ref": purl, "name": name, "version": one.version, "purl": purl}
    licence = licence_of(one)
    return {**component, "licenses": [{"license": {"name": licence}}]} if licence else component


def licence_of(one: metadata.Distribution) -> str:
    """Licence that a package states, in a few words; empty where it states none."""
    fields = [name for name in ("License-Expression", "License") if name in one.metadata]
    stated = one.metadata[fields[0]].strip() if fields else ""
    short = stated.splitlines()[0][:100] if stated else ""
    kinds = [line for line in one.metadata.get_all("Classifier") or () if line.startswith("License ::")]
    return short or (kinds[0].rpartition(" :: ")[2] if kinds else "")


@click.command()
@as_json
def ingredients(as_json: bool) -> None:
    """List every package that this installation is made of, with version and licence.

    With --json it is a bill of materials in CycloneDX, which programs that look for known flaws read.

    Example: second-batch ingredients --json
    """
    try:
        found = find_ingredients()
        bill = as_bill(found)
    except metadata.PackageNotFoundError:
        raise click.ClickException(
            f"{NAME} is not installed as a package here, so what it needs is not known; pip install it first."
        ) from None
    if as_json:
        click.echo(json.dumps(bill, indent=2))
        return
    for one in found:
        click.echo(f"{one.name} {one.version}  {licence_of(one) or 'no licence stated'}")


COMMANDS = (ingredients,)
