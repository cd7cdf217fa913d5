"""What the documents say agrees with the program."""

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from inbox.cli.main import second_batch
from inbox.settings import help_of, setting_fields

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def commands(group: click.Group = second_batch, before: str = "") -> Iterator[tuple[str, click.Command]]:
    for name, command in group.commands.items():
        yield f"{before}{name}", command
        if isinstance(command, click.Group):
            yield from commands(command, f"{before}{name} ")


@pytest.mark.parametrize(("name", "command"), list(commands()), ids=lambda value: str(value))
def test_every_command_has_help_with_an_example_and_stands_in_readme(
    name: str, command: click.Command
) -> None:
    assert command.help
    assert isinstance(command, click.Group) or "Example: second-batch" in command.help
    if not isinstance(command, click.Group) or command.invoke_without_command:
        assert f"`{name}`" in README


@pytest.mark.parametrize("name", [item.name for item in setting_fields()])
def test_every_setting_stands_in_readme_with_its_help(name: str) -> None:
    row = next((line for line in README.splitlines() if line.startswith(f"| `{name}` |")), "")

    assert help_of(name) in row


def test_every_module_stands_in_the_map() -> None:
    missing = [
        str(path.relative_to(ROOT))
        for path in sorted((ROOT / "inbox").rglob("*.py"))
        if path.name != "__init__.py" and "versions" not in path.parts and f"`{path.name}`" not in DEVELOPERS
    ]

    assert missing == []


def test_every_dependency_is_justified() -> None:
    """Those of the program, of its extras (named beside them), and those that only the tests need."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = {name: names_of(lines) for name, lines in project["optional-dependencies"].items()}
    tests_only = set(extras.pop("test")).difference(*extras.values())
    rows = [f"| {name} |" for name in (*names_of(project["dependencies"]), *tests_only)]
    rows += [f"| {name} (extra `{extra}`) |" for extra, names in extras.items() for name in names]

    assert len(rows) > 20
    assert [row for row in rows if row not in DEVELOPERS] == []


def names_of(requirements: list[str]) -> list[str]:
    return [re.split(r"[\[><=]", one)[0] for one in requirements]
