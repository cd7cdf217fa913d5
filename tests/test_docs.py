"""What the documents say agrees with the program."""

import re
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
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    listed = text[text.index("dependencies = [") : text.index("]", text.index("dependencies = ["))]
    names = re.findall(r'"([a-z0-9-]+)[\[><=]', listed)

    assert len(names) > 10
    assert [name for name in names if f"| {name} |" not in DEVELOPERS] == []
