"""A floor imports only from floors below it, and only the top one knows Flask or click."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "inbox"

FLOORS = (
    ("errors", "words", "places", "settings", "calendar", "occasions", "sparing"),
    ("records",),
    ("intake",),
    ("reading",),
    ("themes",),
    ("ranking",),
    ("replies", "digest"),
    ("pipeline",),
    ("web", "cli", "demo", "__main__"),
)
FLOOR_OF = {name: height for height, names in enumerate(FLOORS) for name in names}
PURE = ("reading", "themes", "ranking")
TOP = len(FLOORS) - 1


def imports_of(source: str) -> set[str]:
    """Dotted names of all modules that `source` imports, wherever the import stands."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "relative imports hide the floor that they come from"
            found.add(node.module)
            found.update(f"{node.module}.{alias.name}" for alias in node.names)
    return found


def offences(place: str, source: str) -> list[str]:
    """Imports in module `place` (such as "reading.model") that break the order of the floors."""
    own = place.split(".")[0]
    bad = []
    for name in sorted(imports_of(source)):
        top, *rest = name.split(".")
        if top == "inbox" and rest:
            if rest[0] in FLOOR_OF and FLOOR_OF[rest[0]] > FLOOR_OF[own]:
                bad.append(f"{place} imports {name} from a floor above")
            if own in PURE and rest[0] in ("records", "settings", "calendar", "occasions", "intake"):
                bad.append(f"{place} is computation and imports {name}")
        elif top in ("flask", "click") and FLOOR_OF[own] < TOP:
            bad.append(f"{place} imports {name}, which belongs to web and cli")
        elif top == "sqlalchemy" and own in PURE:
            bad.append(f"{place} is computation and imports {name}")
    return bad


def modules() -> list[Path]:
    return sorted(path for path in PACKAGE.rglob("*.py") if path != PACKAGE / "__init__.py")


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_go_down(path: Path) -> None:
    place = ".".join(path.relative_to(PACKAGE).with_suffix("").parts)
    assert place.split(".")[0] in FLOOR_OF, f"{place} stands on no floor: add it to FLOORS"
    assert offences(place, path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    ("place", "source"),
    [
        ("records.tables", "from inbox.web import pages"),
        ("reading.model", "import inbox.records"),
        ("reading.model", "def late():\n    import sqlalchemy"),
        ("digest.build", "from flask import request"),
    ],
)
def test_planted_offence_is_found(place: str, source: str) -> None:
    assert offences(place, source)
