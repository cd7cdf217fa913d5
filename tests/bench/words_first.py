"""What reading by words alone is worth, and how many messages could be read so at which loss.

    python -m tests.bench.words_first

As in `tests.bench.reading` each site is read by models that were trained on the others: one whole, one with
the encoder's rows left empty, at training too. Then a cascade of both: a message keeps its reading by words
if each kind's probability lies at least so far from its threshold, and it has no hazard nor any sign of one.
Margins are not chosen but all printed, measured on the site itself: what they show is the most that a choice
could reach.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from inbox.reading.evaluate import compare
from inbox.reading.findings import Labelled, Reading, RecipeLink
from inbox.reading.hazards import hazard_signs
from inbox.reading.model import ENRICHED, ReadingModel
from inbox.words import KINDS
from tests.bench.reading import Bench, _short, sites_of

MARGINS = (0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35)
SHOWN = ("kinds", "outcome", "faults", "hazard precision", "hazard recall")


@dataclass(frozen=True)
class Site:
    """One site, read by words and whole by models that did not see it."""

    messages: list[Labelled]
    by_words: list[Reading]
    whole: list[Reading]
    margins: NDArray[np.float64]
    """How far the least sure kind is from its threshold, by words."""
    may_hurt: NDArray[np.bool_]
    lengths: NDArray[np.int64]

    def figures(self, is_spared: NDArray[np.bool_]) -> list[float]:
        """Figures where these messages keep their reading by words."""
        pairs = zip(self.by_words, self.whole, is_spared, strict=True)
        found = _short(compare(self.messages, [words if spared else whole for words, whole, spared in pairs]))
        return [found[key] for key in SHOWN]


def read_site(bench: Bench, name: str) -> Site:
    """Train on the other sites, and read this one."""
    train, test = np.flatnonzero(bench.site != name), np.flatnonzero(bench.site == name)
    ready = bench.prepared
    blank = replace(ready, whole=np.zeros_like(ready.whole), parts=np.zeros_like(ready.parts))
    labelled = [bench.messages[row] for row in train]
    by_words = ReadingModel.train(labelled, prepared=blank.take(train.tolist()))
    links = [RecipeLink(None)] * len(test)
    readings = by_words.read_prepared(blank.take(test.tolist()), links)
    return Site(
        messages=[bench.messages[row] for row in test],
        by_words=readings,
        whole=bench.model(train.tolist()).read_prepared(ready.take(test.tolist()), links),
        margins=np.array([_margin(reading, by_words) for reading in readings]),
        may_hurt=np.array(
            [
                reading.hazard is not None or bool(hazard_signs().find(ready.clauses[row]))
                for row, reading in zip(test, readings, strict=True)
            ]
        ),
        lengths=np.array([sum(map(len, ready.clauses[row])) for row in test]),
    )


def _margin(reading: Reading, model: ReadingModel) -> float:
    return min(abs(reading.kind_probabilities[kind] - model.thresholds[kind]) for kind in KINDS)


def show(what: str, sites: Sequence[Site], spared: Sequence[NDArray[np.bool_]]) -> None:
    """One line: the share of messages and of their characters that the encoder is spared, and the figures."""
    pairs = list(zip(sites, spared, strict=True))
    share = np.mean([mask.mean() for _, mask in pairs])
    length = np.mean([site.lengths[mask].sum() / site.lengths.sum() for site, mask in pairs])
    figures = np.mean([site.figures(mask) for site, mask in pairs], axis=0)
    print(f"{what:18s}{share:8.3f}{length:12.3f}" + "".join(f"{value:10.3f}" for value in figures))


def main() -> None:
    """Print the table."""
    bench = Bench(sites_of(None))
    sites = [read_site(bench, name) for name in bench.sites if name != ENRICHED]
    print(f"{'':18s}  spared  characters     kinds   outcome    faults hz. prec. hz. recall")
    show("whole", sites, [np.zeros(len(site.messages), bool) for site in sites])
    show("by words alone", sites, [np.ones(len(site.messages), bool) for site in sites])
    for margin in MARGINS:
        spared = [(site.margins >= margin) & ~site.may_hurt for site in sites]
        show(f"  margin {margin:.2f}", sites, spared)


if __name__ == "__main__":
    main()
