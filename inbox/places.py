"""Where the files that ship with the program lie, in a checkout and in an installed wheel."""

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def _shipped(name: str) -> Path:
    """Folder `name` inside the package (a wheel) or beside it (a checkout)."""
    inside = _PACKAGE / name
    return inside if inside.is_dir() else _PACKAGE.parent / name


def templates_folder() -> Path:
    """Folder of the Jinja templates."""
    return _shipped("templates")


def seed_folder() -> Path:
    """Folder of the data that ships: training messages, tables, the demo site."""
    return _shipped("seed_data")
