"""The usual caution for each hazard, whom to ask, and what the owner should look at.

The words and their sources lie in `seed_data/hazards.json`. Nothing here says that
anything is safe, and numbers are given only for a country that is set.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from inbox.places import seed_folder

_EU = frozenset(
    "AT BE BG HR CY CZ DK EE FI FR DE GR HU IT LV LT LU MT NL PL PT RO SK SI ES SE".split()
)  # members of the European Union, where 112 is answered everywhere; Ireland has a row of its own


@dataclass(frozen=True, slots=True)
class Source:
    """Who publishes what a caution rests on, and how that was confirmed."""

    title: str
    publisher: str
    url: str | None
    how: str

    @property
    def in_words(self) -> str:
        """One line for a page."""
        return f"{self.title} ({self.publisher})" if self.publisher else self.title


@dataclass(frozen=True, slots=True)
class HelpLine:
    """Whom to ring."""

    who: str
    number: str


@dataclass(frozen=True, slots=True)
class Caution:
    """What a page shows beside a message with a hazard.

    Attributes
    ----------
    words, defer : str
        The caution, and who decides instead of us.
    sources : tuple of Source
        Never empty.
    owner_checks : tuple of str
        What the owner should look at; neither legal nor medical advice.
    help_lines : tuple of HelpLine
        Empty where no country is set, or none is known for it.
    """

    code: str
    name: str
    words: str
    defer: str
    sources: tuple[Source, ...]
    owner_checks: tuple[str, ...]
    help_lines: tuple[HelpLine, ...]

    @property
    def source_in_words(self) -> str:
        """All sources in one line."""
        return "; ".join(source.in_words for source in self.sources)


@cache
def _table() -> Mapping[str, Any]:
    loaded: Mapping[str, Any] = json.loads((seed_folder() / "hazards.json").read_text(encoding="utf-8"))
    return loaded


def caution_for(code: str, country: str = "") -> Caution:
    """The caution for a hazard.

    Parameters
    ----------
    code : str
        One of `words.HAZARDS`.
    country : str
        Two letters; empty where the owner set none.

    Raises
    ------
    KeyError
        If there is no such hazard.
    """
    row = _table()["hazards"][code]
    country = country.upper()
    lines = _table()["help"].get("EU" if country in _EU else country, [])
    return Caution(
        code=code,
        name=row["name"],
        words=row["caution"],
        defer=row["defer"],
        sources=tuple(
            Source(source["title"], source["publisher"], source.get("url"), source["how"])
            for source in row["sources"]
        ),
        owner_checks=tuple(row["owner_checks"]),
        help_lines=tuple(HelpLine(line["who"], line["number"]) for line in lines if code in line["for"]),
    )
