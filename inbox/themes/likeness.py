"""How likely two requests ask for the same thing.

A pair is described by what `pairs` compares, and a logistic regression, fitted
on labelled requests of several sites, weighs it. What two requests score never
depends on a third: nothing that arrives later changes it. Start with
`Likeness.between`; `fit_likeness` makes one.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final
from zlib import crc32

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import expit
from threadpoolctl import threadpool_limits

from inbox.themes.asks import AskReader, Example, unit_rows, whitening
from inbox.themes.facets import read_facets
from inbox.themes.linkage import average_linkage
from inbox.themes.measures import agreement
from inbox.themes.pairs import DIRECTIONS, Block, Floats, Table, comparisons, other_dish
from inbox.themes.sketches import Sketch
from inbox.themes.vocabulary import FACETS, vocabulary

PARENT_WEIGHT: Final = 0.5
"""Chosen: a wider entry counts half; both asking for some kind of bread is a weak sign."""

THRESHOLDS: Final = tuple(np.round(np.arange(0.06, 0.62, 0.02), 2))
LONE_SHARES: Final = (1.0, 0.9, 0.8, 0.7, 0.6, 0.5)
"""What share of the threshold may be enough for a request that is left alone; never less than half of it."""

SINGLE_SITE_THRESHOLD: Final = 0.2
"""Where all examples are of one site, none can be held out; this is the middle of what was chosen else."""

FULL_SITE: Final = 60
"""Chosen: smaller sets of requests teach words, but do not show how often people ask for the same."""

OTHER_DISH: Final = 0.1
"""Chosen: what is left of a likeness when both wishes name their dish and it is not the same.

The training messages are riddles, and teach too little of this: "vegan lasagne" and "vegan brownies" came out
as 0.95. Measured on the five sites it costs 0.01 to 0.02 of B-cubed F1.
"""

FAINT: Final = 0.05
"""Chosen: what is read between the lines more weakly than this is no more than noise."""

ROWS_AT_ONCE: Final = 1024
"""Rows of the left side that `between` works on at a time, so that its memory stays small."""

PAIR_WEIGHTS: Final = (1.0, 0.2, 0.1)
"""Chosen: how much pairs count in which none, both, or one request is put plainly."""

PAIR_PENALTY: Final = 3.0
"""Ridge penalty of the pair weights; the number of pairs makes it weak."""

MESSAGE_WEIGHT: Final = 2.0
"""Chosen: a real message teaches as much as two phrases of the vocabulary."""


@dataclass(frozen=True, slots=True)
class AskedExample:
    """A labelled request: its sketch, a sketch of what it wants put plainly, its theme and its site."""

    sketch: Sketch
    plain: Sketch
    theme: str
    site: str


class Representation:
    """Turns sketches into tables; fitted on phrases of the vocabulary and on labelled requests."""

    def __init__(self, phrases: Sequence[Example], asked: Sequence[AskedExample]) -> None:
        examples = [*phrases, *(made for one in asked for made in _examples(one))]
        self._reader = AskReader(examples)
        meaning = self._reader.centred(np.array([one.vector for one in examples]))
        groups = [repr(sorted(one.entries)) for one in phrases]
        groups += [key for one in asked for key in (f"{one.site} {one.theme}", f"{one.site} {one.theme}")]
        self._whitening = whitening(meaning, groups)
        self._blocks = _blocks(self._reader.entries_)
        self._rarity = _rarity([one.sketch for one in asked])

    def table(self, sketches: Sequence[Sketch]) -> Table:
        """Lay out `sketches` for comparison."""
        words = self._reader.words([sketch.text for sketch in sketches])
        meaning = self._reader.centred(_rows([sketch.vector for sketch in sketches]))
        entries, wish = self._reader.read(words, meaning)
        return Table(
            words=words,
            meaning=meaning,
            wish=wish,
            asked=unit_rows(meaning @ self._whitening),
            entries=tuple(Block.of(entries[:, block]) for block in self._blocks),
            named=tuple(Block.of(self._named(sketches, facet)) for facet in FACETS),
            dishes=self._dishes(sketches),
            page=np.array([-1 if one.page is None else crc32(one.page.encode()) for one in sketches]),
            title=_title_rows(self._reader, sketches),
        )

    @property
    def entry_ids(self) -> Sequence[str]:
        """Entries that can be asked for, in the order of the columns of `asked`."""
        return self._reader.entries_

    def asked(self, sketches: Sequence[Sketch]) -> Floats:
        """How strongly each request asks for each entry between the lines; shape (n, n_entries)."""
        words = self._reader.words([sketch.text for sketch in sketches])
        meaning = self._reader.centred(_rows([sketch.vector for sketch in sketches]))
        return self._reader.read(words, meaning)[0]

    def _named(self, sketches: Sequence[Sketch], facet: str) -> Floats:
        columns = {id: at for at, (id, entry) in enumerate(self._entries_of(facet).items())}
        block = np.zeros((len(sketches), len(columns) + _OTHER_COLUMNS), dtype=np.float32)
        for row, sketch in enumerate(sketches):
            for id, weight in widened(getattr(sketch.wanted.facets, facet)).items():
                column = columns.get(id, len(columns) + sum(id.encode()) % _OTHER_COLUMNS)
                block[row, column] = weight * self._rarity.get(id, self._rarity[""])
        return block

    def _dishes(self, sketches: Sequence[Sketch]) -> Floats:
        columns = {id: at for at, id in enumerate(self._entries_of("dish"))}
        block = np.zeros((len(sketches), len(columns)), dtype=np.float32)
        for row, sketch in enumerate(sketches):
            for id, weight in sketch.wanted.facets.dish.items():
                if weight >= 1:
                    block[row, [columns[wide] for wide in vocabulary().lineage(id)]] = 1
        return block

    @staticmethod
    def _entries_of(facet: str) -> dict[str, object]:
        return {id: entry for id, entry in vocabulary().entries.items() if entry.facet == facet}


_OTHER_COLUMNS: Final = 16
"""For entries such as "no_raisin" that stand in no table; two that share a column are rare and do no harm."""


class Likeness:
    """A fitted measure of how likely two requests ask for the same thing, from 0 to 1.

    Attributes
    ----------
    threshold_ : float
        From here on two groups of requests count as one; chosen on the training sites.
    lone_threshold_ : float
        From here on a request that would be left alone joins the group nearest to it; chosen likewise.
    """

    def __init__(
        self,
        representation: Representation,
        weights: Floats,
        intercept: float,
        threshold: float,
        lone_threshold: float,
    ) -> None:
        self._representation = representation
        self._weights = weights
        self._intercept = intercept
        self.threshold_ = threshold
        self.lone_threshold_ = lone_threshold

    def table(self, sketches: Sequence[Sketch]) -> Table:
        """Lay out `sketches` for `between`."""
        return self._representation.table(sketches)

    def asked(self, groups: Sequence[Sequence[Sketch]]) -> list[dict[str, float]]:
        """How strongly each of `groups` asks for entries of the vocabulary between the lines.

        What readers of the training sites asked for in other words is found so: "the basket that blows hot
        air" asks for the air fryer.

        Parameters
        ----------
        groups : sequence of sequences of Sketch
            None of them empty.

        Returns
        -------
        list of dict of str to float
            For each group the mean over its members by entry; what is fainter than `FAINT` is left out.
        """
        members = [one for group in groups for one in group]
        owner = np.repeat(np.arange(len(groups)), [len(group) for group in groups])
        sums = np.zeros((len(groups), len(self._representation.entry_ids)), dtype=np.float32)
        for start in range(0, len(members), ROWS_AT_ONCE):
            rows = slice(start, start + ROWS_AT_ONCE)
            np.add.at(sums, owner[rows], self._representation.asked(members[rows]))
        means = sums / np.bincount(owner, minlength=len(groups))[:, None]
        ids = self._representation.entry_ids
        return [{id: float(mean) for id, mean in zip(ids, row, strict=True) if mean > FAINT} for row in means]

    def between(self, left: Table, right: Table) -> Floats:
        """Likeness of each row of `left` and each of `right`; shape (n_left, n_right)."""
        found = np.empty((len(left), len(right)), dtype=np.float32)
        for start in range(0, len(left), ROWS_AT_ONCE):
            rows = slice(start, start + ROWS_AT_ONCE)
            found[rows] = self._between(left.take(rows) if len(left) > ROWS_AT_ONCE else left, right)
        return found

    def _between(self, left: Table, right: Table) -> Floats:
        score = np.full((len(left), len(right)), self._intercept, dtype=np.float32)
        for weight, compared in zip(self._weights, comparisons(left, right), strict=True):
            if weight:
                score += weight * compared()
        likely = 1 / (1 + np.exp(-score))
        return np.asarray(np.where(other_dish(left, right), OTHER_DISH * likely, likely), dtype=np.float32)


def fit_likeness(asked: Sequence[AskedExample], phrases: Sequence[Example]) -> Likeness:
    """Fit a likeness on labelled requests of one or more sites.

    Each site's pairs are described by a representation that did not see the site, as a stranger's will be;
    the threshold is the one that groups the sites best, each by weights that were fitted on the others.

    Parameters
    ----------
    asked : sequence of AskedExample
    phrases : sequence of Example
        Words and paraphrases of the vocabulary.
    """
    sizes = Counter(one.site for one in asked)
    sites = sorted(site for site, size in sizes.items() if size >= FULL_SITE) or sorted(sizes)
    with threadpool_limits(limits=1):  # the same sums on every machine
        pairs = {site: _pairs_of(site, asked, phrases) for site in sites}
        weights, intercept = _fit_weights(list(pairs.values()))
        return Likeness(Representation(phrases, asked), weights, intercept, *_choose_thresholds(pairs))


@dataclass(frozen=True, slots=True)
class _Pairs:
    """Pairs of one site's requests: what is compared, and whether they share a theme.

    The first rows are the pairs of whole messages, in the order of `numpy.triu_indices`;
    then come pairs in which one or both are put plainly. Readers seldom write in riddles as the training
    messages do, and what is put plainly in both has to be recognized first of all.
    """

    features: NDArray[np.float32]
    same: NDArray[np.bool_]
    weights: NDArray[np.float64]
    themes: tuple[str, ...]


def _pairs_of(site: str, asked: Sequence[AskedExample], phrases: Sequence[Example]) -> _Pairs:
    here = [one for one in asked if one.site == site]
    others = [one for one in asked if one.site != site] or here
    representation = Representation(phrases, others)
    messages = representation.table([one.sketch for one in here])
    plain = representation.table([one.plain for one in here])
    upper, every = np.triu_indices(len(here), 1), np.nonzero(~np.eye(len(here), dtype=bool))
    chosen = [(messages, messages, upper), (plain, plain, upper), (messages, plain, every)]
    features = [
        np.column_stack([compared()[at] for compared in comparisons(one, other)]) for one, other, at in chosen
    ]
    themes = np.array([one.theme for one in here])
    same = [themes[left] == themes[right] for _, _, (left, right) in chosen]
    weights = [np.full(len(rows), weight) for rows, weight in zip(same, PAIR_WEIGHTS, strict=True)]
    return _Pairs(np.vstack(features), np.concatenate(same), np.concatenate(weights), tuple(map(str, themes)))


def _fit_weights(sites: Sequence[_Pairs]) -> tuple[Floats, float]:
    """Logistic regression whose weights have the sign that the comparison's meaning gives them.

    Without that bound, comparisons that rise together take on weights of opposite sign: fitted on riddles,
    they then call two requests in the same plain words unlike.
    """
    features = np.vstack([site.features for site in sites]).astype(np.float64)
    counts = np.concatenate([site.weights for site in sites])
    sign = np.where(np.concatenate([site.same for site in sites]), 1.0, -1.0)
    scale = np.maximum(np.sqrt(np.average(features**2, axis=0, weights=counts)), 1e-6)
    scaled = features / scale

    def cost(point: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        margin = sign * (scaled @ point[:-1] + point[-1])
        slope = -sign * counts * expit(-margin)
        penalty = 0.5 * PAIR_PENALTY * point[:-1] @ point[:-1]
        gradient = np.append(slope @ scaled + PAIR_PENALTY * point[:-1], slope.sum())
        return float(counts @ np.logaddexp(0.0, -margin) + penalty), gradient

    bounds = [(0.0, None) if direction > 0 else (None, 0.0) for direction in DIRECTIONS] + [(None, None)]
    found = minimize(cost, np.zeros(len(bounds)), jac=True, bounds=bounds, method="L-BFGS-B")
    return (found.x[:-1] / scale).astype(np.float32), float(found.x[-1])


def _choose_thresholds(pairs: Mapping[str, _Pairs]) -> tuple[float, float]:
    """The thresholds of linkage, and of those that it leaves alone, that group the sites best."""
    if len(pairs) < 2:
        return SINGLE_SITE_THRESHOLD, SINGLE_SITE_THRESHOLD
    scores = np.zeros((len(LONE_SHARES), len(THRESHOLDS)))
    for held_out, site in pairs.items():
        weights, intercept = _fit_weights([other for name, other in pairs.items() if name != held_out])
        count = len(site.themes)
        likely = 1 / (1 + np.exp(-(site.features[: count * (count - 1) // 2] @ weights + intercept)))
        for at, share in enumerate(LONE_SHARES):
            groupings = [average_linkage(likely, count, t, share * t) for t in THRESHOLDS]
            scores[at] += [agreement(site.themes, found) for found in groupings]
    padded = np.pad(scores, ((0, 0), (1, 1)), mode="edge")
    smoothed = padded[:, :-2] + padded[:, 1:-1] + padded[:, 2:]
    share, best = divmod(int(np.argmax(smoothed)), len(THRESHOLDS))
    threshold = float(THRESHOLDS[best])
    return threshold, LONE_SHARES[share] * threshold


def _examples(one: AskedExample) -> tuple[Example, Example]:
    """A labelled request teaches twice: by its own words, and by the wish put plainly."""
    entries = widened(_entries_of_label(one))
    wish = one.plain.vector
    message = Example(one.sketch.text, one.sketch.vector, entries, wish, MESSAGE_WEIGHT)
    return message, Example(one.plain.text, wish, entries, wish)


def _entries_of_label(one: AskedExample) -> dict[str, float]:
    found: dict[str, float] = {}
    for text in (one.plain.text, one.theme.replace("_", " ")):
        for _, entries in read_facets(text).each():
            found.update(entries)
    return found


def widened(entries: Mapping[str, float]) -> dict[str, float]:
    """Entries together with what they are a kind of, at half the weight for each step."""
    wide: dict[str, float] = {}
    for id, value in entries.items():
        for step, ancestor in enumerate(vocabulary().lineage(id) or (id,)):
            wide[ancestor] = max(wide.get(ancestor, 0.0), value * PARENT_WEIGHT**step)
    return wide


def _blocks(entries: Sequence[str]) -> tuple[NDArray[np.int64], ...]:
    """Columns of dishes, of diets, of methods, and of all the rest."""
    known = vocabulary().entries
    facets = [known[id].facet if id in known else "diet" for id in entries]
    main = ("dish", "diet", "method")
    wanted = [*((name,) for name in main), tuple(name for name in FACETS if name not in main)]
    return tuple(np.flatnonzero([facet in names for facet in facets]) for names in wanted)


def _rarity(sketches: Sequence[Sketch]) -> dict[str, float]:
    """Weight of each entry by how few requests name it; under "" that of an entry that none names."""
    counts = Counter(
        id
        for sketch in sketches
        for id in {id for _, entries in sketch.wanted.facets.each() for id in widened(entries)}
    )
    total = len(sketches) + 1
    rarity = {id: max(float(np.log(total / (count + 0.5))), 0.1) for id, count in counts.items()}
    return rarity | {"": float(np.log(total / 0.5))}


def _rows(vectors: Sequence[Floats]) -> Floats:
    return np.array(vectors, dtype=np.float32).reshape(len(vectors), -1)


def _title_rows(reader: AskReader, sketches: Sequence[Sketch]) -> Floats:
    rows = np.zeros((len(sketches), sketches[0].vector.shape[0] if sketches else 0), dtype=np.float32)
    told = [row for row, sketch in enumerate(sketches) if sketch.title is not None]
    if told:
        rows[told] = reader.centred(np.array([sketches[row].title for row in told]))
    return rows
