"""How well themes are named on sites that nothing was fitted on, by a person's judgement and by the labels.

    python -m tests.bench.theme_names [--site NAME ...] [--list]

Each site is left out in turn, as in `tests.bench.themes`; its requests, told the page that they were sent
from, are grouped, and every theme of at least two members of which more than half ask for the same is named.
What a name is worth was judged by one person reading names and labels side by side, and lies in
`judged_theme_names.tsv`, a row for each key and name:

- good: says what is asked for, in words that could stand on a shelf as they are;
- acceptable: right, but wider than what is asked for, or with a word too many;
- wrong: says something else.

A name without a row is counted as not judged and listed, so that a changed name cannot pass unread. Printed
beside it, without anybody's judgement: how well the vocabulary's entries in the names agree with those in
what the labels say is wanted. The bars of `inbox/themes/naming.py` were chosen by that agreement on all sites
but `dinner`; names of `dinner` were seen along with the others, but nothing was chosen by them.
"""

import argparse
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from inbox.reading.findings import CatalogueRecipe, Labelled
from inbox.reading.training import seed_messages
from inbox.themes.facets import Facets, blend, read_facets
from inbox.themes.grouping import group
from inbox.themes.likeness import Likeness
from inbox.themes.sketches import sketch
from inbox.themes.trained import requests_of, seed_likeness
from inbox.themes.vocabulary import vocabulary
from tests.bench.themes import SITES, site_requests

JUDGED: Final = Path(__file__).with_name("judged_theme_names.tsv")
VERDICTS: Final = ("good", "acceptable", "wrong", "not judged")


@dataclass(frozen=True, slots=True)
class Named:
    """A theme's name, the key that most of its members share, and what the labels of those say is wanted."""

    key: str
    name: str
    wants: tuple[str, ...]


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--site", action="append", help="only this site")
    options.add_argument("--list", action="store_true", help="print every name with its verdict")
    given = options.parse_args()
    training, verdicts = seed_messages(), judged()
    everything: list[Named] = []
    for site in given.site or SITES:
        likeness = seed_likeness([one for one in training if one.site != site])
        found = names_of_site(*site_requests(site, None), likeness)
        everything += found
        print(f"{site:8} {_line(found, verdicts)}", flush=True)
        for one in found:
            verdict = verdicts.get((one.key, one.name), "not judged")
            if given.list or verdict == "not judged":
                print(f"    {one.key}\t{one.name}\t{verdict}\t({'; '.join(one.wants[:3])})")
    print(f"all      {_line(everything, verdicts)}")


def judged() -> dict[tuple[str, str], str]:
    """Verdict by key and name."""
    rows = [line.split("\t") for line in JUDGED.read_text(encoding="utf-8").splitlines() if line[:1] != "#"]
    return {(key, name): verdict for key, name, verdict in rows}


def names_of_site(
    labelled: Sequence[Labelled], catalogue: Sequence[CatalogueRecipe], likeness: Likeness
) -> list[Named]:
    """Names of the themes in which the requests of a site are grouped; mixed and single ones are left out."""
    told = [replace(one.told, page=one.recipe) for one in labelled]
    found = []
    for theme in group(sketch(requests_of(told, catalogue)), likeness).new:
        members = [labelled[int(id)] for id in theme.members]
        key, count = Counter(str(one.theme) for one in members).most_common(1)[0]
        if len(members) > 1 and count * 2 > len(members):
            wants = tuple(str(one.wants) for one in members if one.theme == key)
            found.append(Named(key, theme.name, wants))
    return found


def _line(found: Sequence[Named], verdicts: dict[tuple[str, str], str]) -> str:
    counts = Counter(verdicts.get((one.key, one.name), "not judged") for one in found)
    shares = ", ".join(f"{name} {counts[name] / max(len(found), 1):.2f}" for name in VERDICTS)
    return f"{len(found):3} themes: {shares}; entries: {_agreement(found)}"


def _agreement(found: Sequence[Named]) -> str:
    """Share of the names' entries that are wanted (precision), and of what is wanted that is said (recall).

    Wanted is what the plain phrases of at least half of the members name, and what that is a kind of; of
    these only the narrowest have to be said.
    """
    said_count = right_count = wanted_count = told_count = 0
    for one in found:
        wanted = _wanted(one)
        narrow = {id for id in wanted if not any(id in vocabulary().lineage(other)[1:] for other in wanted)}
        said = _entries(read_facets(one.name))
        said_count += len(said)
        right_count += len(said & wanted)
        wanted_count += len(narrow)
        told_count += sum(any(id in (vocabulary().lineage(own) or (own,)) for own in said) for id in narrow)
    precision, recall = right_count / max(said_count, 1), told_count / max(wanted_count, 1)
    return f"precision {precision:.2f}, recall {recall:.2f}"


def _wanted(one: Named) -> set[str]:
    counts: Counter[str] = Counter()
    for phrase in one.wants:
        facets = blend([(read_facets(phrase), 1.0), (read_facets(one.key.replace("_", " ")), 1.0)])
        counts.update({wide for id in _entries(facets) for wide in vocabulary().lineage(id) or (id,)})
    return {id for id, count in counts.items() if count * 2 >= len(one.wants)}


def _entries(facets: Facets) -> set[str]:
    return {id for _, entries in facets.each() for id in entries}


if __name__ == "__main__":
    main()
