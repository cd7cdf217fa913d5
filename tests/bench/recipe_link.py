"""How right the recipe link is: `python -m tests.bench.recipe_link [--fit | --words] [--safe 0.9]`.

Each site is tested with word worths, weights, threshold and everyday words chosen on the others. Truth: field
`recipe`; the linker is told subject and text alone. `recipe_meant.jsonl` marks by hand which texts tell a
person, with the catalogue in front of them, which recipe is meant; "named" are those of them that share a
word with its title.

--fit prints the choice on all sites but the demo's, to be written into catalogue_index.py and recipe_link.py;
--words writes seed_data/everyday_words.tsv.
"""

import argparse
import json
import time
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import minimize
from sklearn.linear_model import LogisticRegression

from inbox.places import seed_folder
from inbox.reading.catalogue_index import FIELDS, CatalogueIndex, everyday_words, telling_stems
from inbox.reading.findings import CatalogueRecipe, Told
from inbox.reading.recipe_link import FEATURES, Rule, _find_words, candidates_of, link_recipe
from inbox.reading.recipe_words import words_of

MEANT = Path(__file__).parent / "recipe_meant.jsonl"
DEMO = "dinner"
"""Prefix of the demo site's messages, on which nothing that ships is chosen."""

ACCURACY_AIM, ANSWERED_AIM = 0.93, 0.75
SAFE_ACCURACY = 0.94
"""Asked of the threshold on the training sites, so that a new site still reaches the aim."""

LEAST_MESSAGES = 2
"""A stem in fewer messages is no everyday word."""


@dataclass(frozen=True)
class Message:
    told: Told
    recipe: str | None
    meant: bool


@dataclass(frozen=True)
class Site:
    name: str
    recipes: tuple[CatalogueRecipe, ...]
    messages: tuple[Message, ...]


@dataclass(frozen=True)
class Choice:
    """What is chosen on training sites."""

    field_worth: Mapping[str, float]
    damping: float
    rule: Rule


def load_site(name: str, messages: Path, catalogue: Path, meant: Mapping[str, bool]) -> Site:
    lines = messages.read_text(encoding="utf-8").splitlines()
    rows = [row for row in map(json.loads, lines) if row["id"].startswith(f"{name}-")]
    recipes = tuple(
        CatalogueRecipe(
            r["slug"], r["title"], r.get("url"), tuple(r["ingredients"]), tuple(r["steps"]), r.get("tags", {})
        )
        for r in json.loads(catalogue.read_text(encoding="utf-8"))
    )
    told = [Told(row["text"], row["subject"], row["channel"]) for row in rows]
    return Site(
        name,
        recipes,
        tuple(
            Message(one, row["recipe"], meant.get(row["id"], False))
            for one, row in zip(told, rows, strict=True)
        ),
    )


def load_sites() -> list[Site]:
    """All labelled sites of which a marking is at hand, the demo's among them."""
    marks = [json.loads(line) for line in MEANT.read_text(encoding="utf-8").splitlines()]
    meant = {mark["id"]: mark["meant"] for mark in marks}
    marked = {mark["id"].split("-")[0] for mark in marks}
    folder, demo = seed_folder() / "messages", seed_folder() / "demo"
    sites = [
        load_site(name, folder / f"{name}.jsonl", folder / f"{name}_recipes.json", meant)
        for name in sorted(marked - {DEMO})
    ]
    return (
        [*sites, load_site(DEMO, demo / "labels.jsonl", demo / "recipes.json", meant)]
        if DEMO in marked
        else sites
    )


def everyday_of(sites: Iterable[Site]) -> dict[str, float]:
    """Share of the sites' messages that have each stem."""
    texts = [f"{m.told.subject or ''} {m.told.text}" for site in sites for m in site.messages]
    counts = Counter(stem for text in texts for stem in set(telling_stems(text)))
    return {stem: round(n / len(texts), 5) for stem, n in counts.items() if n >= LEAST_MESSAGES}


def masses(site: Site, index: CatalogueIndex) -> tuple[np.ndarray, np.ndarray]:
    """Weight shared by message, recipe and field, and the true recipe, of the messages marked as meant."""
    rows, truth = [], []
    for message in site.messages:
        if not message.meant or message.recipe not in index.by_slug:
            continue
        words = words_of(f"{message.told.subject or ''} {message.told.text}")
        row = np.zeros((len(index.recipes), len(FIELDS)))
        for stem in _find_words(words, index).word_of:
            for place, _ in index.places[stem]:
                row[place, FIELDS.index(index.field_of[place][stem])] += index.weight[stem]
        rows.append(row)
        truth.append(index.by_slug[message.recipe])
    return np.array(rows), np.array(truth)


def choose_worths(parts: Sequence[tuple[np.ndarray, np.ndarray]]) -> tuple[np.ndarray, float]:
    """Worths by conditional logit (McFadden 1974), and the mean loss that they reach."""

    def loss(log_worth: np.ndarray) -> float:
        worth = np.exp(log_worth)
        total = 0.0
        for rows, truth in parts:
            scores = rows @ worth
            scores -= scores.max(axis=1, keepdims=True)
            total -= (scores[np.arange(len(truth)), truth] - np.log(np.exp(scores).sum(axis=1))).sum()
        return float(total / sum(len(truth) for _, truth in parts) + 1e-3 * (log_worth**2).sum())

    found = minimize(loss, np.zeros(len(FIELDS)), method="L-BFGS-B", bounds=[(-4, 3)] * len(FIELDS))
    return np.exp(found.x), float(found.fun)


def index_of(
    site: Site, others: Sequence[Site], worth: Mapping[str, float], damping: float
) -> CatalogueIndex:
    everyday = everyday_of(other for other in others if other is not site)
    return CatalogueIndex(site.recipes, everyday=everyday, field_worth=worth, damping=damping)


def choose(
    sites: Sequence[Site], *, safe: float = SAFE_ACCURACY, dampings: Sequence[float] = (0.3, 1.0, 3.0)
) -> Choice:
    """Choose all that is chosen on `sites`, each seen with the everyday words of the others."""
    ones = dict.fromkeys(FIELDS, 1.0)
    found = []
    for damping in dampings:
        parts = [masses(site, index_of(site, sites, ones, damping)) for site in sites]
        worths, loss = choose_worths(parts)
        found.append((loss, damping, worths))
    _, damping, worths = min(found, key=lambda one: one[0])
    worth = {field: round(float(value / worths[0]), 3) for field, value in zip(FIELDS, worths, strict=True)}
    return Choice(worth, damping, choose_rule(sites, worth, damping, safe))


def candidate_rows(
    site: Site, index: CatalogueIndex
) -> list[tuple[int, Message, list[tuple[str, tuple[float, ...]]]]]:
    start = Rule((0.0,) * len(FEATURES), 0.5)
    return [
        (
            at,
            message,
            [(index.recipes[c.recipe].slug, c.features) for c in candidates_of(message.told, index, start)],
        )
        for at, message in enumerate(site.messages)
    ]


def choose_rule(sites: Sequence[Site], worth: Mapping[str, float], damping: float, safe: float) -> Rule:
    per_site = [candidate_rows(site, index_of(site, sites, worth, damping)) for site in sites]
    features, right = [], []
    for rows in per_site:
        for _, message, candidates in rows:
            if message.recipe is not None and not message.meant:
                continue
            for slug, values in candidates:
                features.append(values)
                right.append(slug == message.recipe)
    model = LogisticRegression(C=1.0, max_iter=5000, fit_intercept=False).fit(np.array(features), right)
    weights = tuple(round(float(w), 3) for w in model.coef_[0])
    best: list[tuple[float, bool]] = []
    for rows in per_site:
        for _, message, candidates in rows:
            if message.meant and candidates:
                chances = [(1 / (1 + np.exp(-np.dot(weights, values))), slug) for slug, values in candidates]
                chance, slug = max(chances)
                best.append((float(chance), slug == message.recipe))
    best.sort(reverse=True)
    hits = np.cumsum([right for _, right in best])
    shares = hits / np.arange(1, len(best) + 1)
    far_enough = np.flatnonzero(shares >= safe)
    at = int(far_enough.max()) if len(far_enough) else 0
    return Rule(weights, round(best[at][0], 3))


@dataclass
class Score:
    marked: int = 0
    named: int = 0
    named_answered: int = 0
    named_right: int = 0
    answered: int = 0
    right: int = 0
    unmarked: int = 0
    unmarked_wrong: int = 0
    open_: int = 0
    open_answered: int = 0


def measure(site: Site, index: CatalogueIndex, rule: Rule, *, verbose: bool = False) -> Score:
    score = Score()
    for message in site.messages:
        link = link_recipe(message.told, index, rule)
        if message.recipe is None:
            score.open_ += 1
            score.open_answered += link.slug is not None
        elif message.meant:
            score.marked += 1
            score.answered += link.slug is not None
            score.right += link.slug == message.recipe
            if names_title(message, index):
                score.named += 1
                score.named_answered += link.slug is not None
                score.named_right += link.slug == message.recipe
        else:
            score.unmarked += 1
            score.unmarked_wrong += link.slug not in (None, message.recipe)
        wrong = link.slug != message.recipe and (link.slug is not None or message.meant)
        if verbose and wrong:
            print(
                f"  {message.recipe} -> {link.slug} {link.confidence:.2f} {link.why}\n"
                f"    {message.told.text[:200]!r}"
            )
    return score


def names_title(message: Message, index: CatalogueIndex) -> bool:
    """Whether the message shares a telling word with the title of its recipe."""
    words = words_of(f"{message.told.subject or ''} {message.told.text}")
    title = set(index.titles[index.by_slug[message.recipe]])
    return any(not title.isdisjoint(index.known_stems(word)) for word in words)


def print_score(name: str, score: Score) -> None:
    accuracy = score.right / max(1, score.answered)
    print(
        f"{name:8}{score.marked:6} {score.answered / score.marked:8.3f} {accuracy:6.3f} |"
        f"{score.named:6} {score.named_answered / score.named:8.3f} "
        f"{score.named_right / score.named_answered:6.3f} |"
        f"{score.unmarked:6} {score.unmarked_wrong / score.unmarked:7.3f} |"
        f"{score.open_:6} {score.open_answered / score.open_:7.3f}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument(
        "--fit", action="store_true", help="choose on all sites but the demo's and print the choice"
    )
    parser.add_argument("--words", action="store_true", help="write seed_data/everyday_words.tsv")
    parser.add_argument("--safe", type=float, default=SAFE_ACCURACY, help="accuracy asked on training sites")
    parser.add_argument("--verbose", action="store_true", help="print each wrong or missing link")
    chosen = parser.parse_args()
    sites = load_sites()
    shipped = [site for site in sites if site.name != DEMO]
    if chosen.words:
        rows = sorted(everyday_of(shipped).items())
        lines = [
            "# stem, share of the training messages that have it (python -m tests.bench.recipe_link --words)"
        ]
        lines += [f"{stem}\t{share:.5f}" for stem, share in rows]
        (seed_folder() / "everyday_words.tsv").write_text("\n".join(lines) + "\n", encoding="utf-8")
        return
    if chosen.fit:
        print(choose(shipped))
        return
    print("         marked answered  right | named answered  right | unmarked  wrong | no recipe answered")
    total = Score()
    for site in sites:
        others = [other for other in sites if other is not site]
        choice = choose(others, safe=chosen.safe)
        index = CatalogueIndex(
            site.recipes, everyday=everyday_of(others), field_worth=choice.field_worth, damping=choice.damping
        )
        score = measure(site, index, choice.rule, verbose=chosen.verbose)
        print_score(site.name, score)
        for name, value in vars(score).items():
            setattr(total, name, getattr(total, name) + value)
    print_score("all", total)
    aims = total.right / total.answered >= ACCURACY_AIM and total.answered / total.marked >= ANSWERED_AIM
    print(
        f"aim of {ACCURACY_AIM} right where it answers and {ANSWERED_AIM} of the marked answered: "
        f"{'reached' if aims else 'not reached'}"
    )
    print_speed(sites[0])


def print_speed(site: Site) -> None:
    """Messages a second with one index, beside the time that splitting them into words alone takes."""
    index = CatalogueIndex(site.recipes, everyday=everyday_words())
    texts = [message.told for message in site.messages] * 4
    start = time.process_time()
    for told in texts:
        link_recipe(told, index)
    linking = time.process_time() - start
    start = time.process_time()
    for told in texts:
        words_of(told.text)
    splitting = time.process_time() - start
    print(
        f"{len(texts) / linking:.0f} messages a second, "
        f"{linking / splitting:.1f} times the cost of splitting them into words"
    )


if __name__ == "__main__":
    main()
