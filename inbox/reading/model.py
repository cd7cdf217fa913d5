"""The model that reads messages: trained on labelled ones, then asked about new ones.

Two stages. The first (`linear`) scores every label at once from words, cues and encoder rows. The second
turns its scores into calibrated probabilities, learning from scores on sites that the first did not see,
because a new site is what it will meet. Faults are judged before kinds and outcome: who tells of a fault
has a problem, and how many faults there are says much about how it ended. Start with `ReadingModel.train`
and `ReadingModel.read`.
"""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from threadpoolctl import threadpool_limits

from inbox.errors import InputError
from inbox.reading.calibrated import Calibrated, Table, Truth, best_f1_threshold, out_of_site
from inbox.reading.catalogue_index import index_of
from inbox.reading.explain import Weighed, what_weighed
from inbox.reading.faults import FaultFeatures, FaultModel, fault_signs, find_fault_signs
from inbox.reading.findings import CatalogueRecipe, HazardFound, Labelled, Reading, RecipeLink, Told
from inbox.reading.hazards import HazardFeatures, HazardModel
from inbox.reading.kept_rows import encode_known
from inbox.reading.labels import (
    COLUMN_OF,
    COLUMNS,
    FAULT_COLUMNS,
    HAZARD_COLUMNS,
    SENSE_COLUMNS,
    UNSAID,
    truth_of,
)
from inbox.reading.language import detect_language
from inbox.reading.linear import Scorer
from inbox.reading.outcomes import ENDINGS, OutcomeModel
from inbox.reading.prepared import Prepared, prepare
from inbox.reading.recipe_link import link_recipe
from inbox.reading.sign_worth import SignWorth
from inbox.words import FAULTS, KINDS

FEWEST: Final = 20
"""Labelled messages below which training makes no sense."""

ENRICHED: Final = "extra"
"""Site of the messages that were written for what is rare. No real site has its shares, so the second stages,
which learn shares, leave it out."""

SHOWN_FROM: Final = 0.05
BATCH: Final = 1000
"""Messages read at once: bounds memory on a long archive."""

_ALONE: Final = ("comment", "junk")


class ReadingModel:
    """What was learned from labelled messages.

    Attributes
    ----------
    version : str
        The same for the same messages and seed; stored with each reading.
    thresholds : mapping of str to float
        Per kind, and for "fault" and "hazard", the probability from which it holds.
    """

    def __init__(self, version: str, seed: int) -> None:
        self.version = version
        self.thresholds: dict[str, float] = {}
        self._scorer = Scorer()
        self._worth = SignWorth(fault_signs())
        self._kinds: list[Calibrated] = []
        self._outcomes = OutcomeModel()
        self._faults = FaultModel(seed)
        self._hazards = HazardModel()

    @classmethod
    def train(
        cls, labelled: Sequence[Labelled], *, seed: int = 0, prepared: Prepared | None = None
    ) -> "ReadingModel":
        """Learn from `labelled`; the same messages and seed give the same model.

        Parameters
        ----------
        labelled : sequence of Labelled
        seed : int, default=0
        prepared : Prepared, optional
            The same messages made ready, where that was done before.

        Raises
        ------
        InputError
            With fewer than 20 messages.
        """
        if len(labelled) < FEWEST:
            raise InputError(f"Training needs at least {FEWEST} labelled messages, found {len(labelled)}.")
        model = cls(_version_of(labelled, seed), seed)
        with threadpool_limits(limits=1):  # the same sums on every machine, and no waiting for threads
            model._fit(
                labelled, prepared or prepare([message.told for message in labelled], encoder=encode_known)
            )
        return model

    def _fit(self, labelled: Sequence[Labelled], prepared: Prepared) -> None:
        sites = [message.site for message in labelled]
        truth = truth_of(labelled)
        yes = truth.astype(bool)
        scores, pooled = self._scorer.fit(prepared, truth, sites)
        found = find_fault_signs(prepared.clauses)
        worth = self._worth.fit(found, yes[:, FAULT_COLUMNS], sites)
        rows = [row for row, site in enumerate(sites) if site != ENRICHED]
        if len(rows) < FEWEST:
            rows = list(range(len(labelled)))
        signs = FaultFeatures([found[row] for row in rows], worth[rows], scores[rows], pooled[rows])
        self._fit_second_stages(
            [labelled[row] for row in rows], prepared.take(rows), signs, yes[rows], scores[rows], pooled[rows]
        )

    def _fit_second_stages(
        self,
        labelled: Sequence[Labelled],
        prepared: Prepared,
        signs: FaultFeatures,
        yes: Truth,
        scores: Table,
        pooled: Table,
    ) -> None:
        sites = [message.site for message in labelled]
        unseen = self._faults.fit(signs, yes[:, FAULT_COLUMNS], sites)
        senses = _senses(scores, pooled, unseen)
        for column, kind in enumerate(KINDS):
            self._kinds.append(Calibrated().fit(senses, yes[:, column]))
            self.thresholds[kind] = best_f1_threshold(
                yes[:, column], out_of_site(Calibrated, senses, yes[:, column], sites), sites
            )
        made = np.flatnonzero(yes[:, COLUMN_OF["made_it"]])
        endings = np.array([labelled[int(row)].outcome or UNSAID for row in made], dtype=np.str_)
        self._outcomes.fit(senses[made], endings)
        self._hazards.fit(HazardFeatures(prepared, scores, pooled), yes[:, HAZARD_COLUMNS], sites)
        self.thresholds["fault"] = self._faults.threshold_
        self.thresholds["hazard"] = self._hazards.threshold_

    def read(self, told: Sequence[Told], catalogue: Sequence[CatalogueRecipe]) -> list[Reading]:
        """Read each message; the readings come in the order of `told`."""
        index = index_of(catalogue)
        readings: list[Reading] = []
        with threadpool_limits(limits=1):  # the same sums on every machine; other cores have other messages
            for start in range(0, len(told), BATCH):
                batch = told[start : start + BATCH]
                links = [link_recipe(one, index) for one in batch]
                readings.extend(self.read_prepared(prepare(batch), links))
        return readings

    def read_prepared(self, prepared: Prepared, links: Sequence[RecipeLink]) -> list[Reading]:
        """Read messages that were made ready; `links` are their recipes in the same order."""
        features = self._scorer.features(prepared)
        scores, pooled = self._scorer.score(prepared, features)
        faults = self._fault_probabilities(prepared, scores, pooled)
        senses = _senses(scores, pooled, faults)
        kinds = self._kind_probabilities(senses)
        outcomes = self._outcomes.probabilities(senses)
        decided = self._outcomes.decide(outcomes)
        hazards = self._hazards.judge(HazardFeatures(prepared, scores, pooled))
        return [
            replace(
                self._reading(kinds[row], outcomes[row], decided[row], faults[row], hazards[row], links[row]),
                language=detect_language(prepared.texts[row]),
            )
            for row in range(len(prepared))
        ]

    def score_only(self, prepared: Prepared) -> Table:
        """Probability of each kind, of shape (n_messages, n_kinds), and nothing else: the bare cost."""
        features = self._scorer.features(prepared)
        scores, pooled = self._scorer.score(prepared, features)
        faults = self._fault_probabilities(prepared, scores, pooled)
        return self._kind_probabilities(_senses(scores, pooled, faults))

    def _fault_probabilities(self, prepared: Prepared, scores: Table, pooled: Table) -> Table:
        found = find_fault_signs(prepared.clauses)
        return self._faults.probabilities(FaultFeatures(found, self._worth.of(found), scores, pooled))

    def _kind_probabilities(self, senses: Table) -> Table:
        return np.column_stack([model.probabilities(senses) for model in self._kinds])

    def explain(self, told: Told) -> Mapping[str, Weighed]:
        """For each kind, outcome and fault what weighed most, and how much of it can be told in words."""
        return what_weighed(self._scorer, told, prepare([told]))

    def _reading(
        self,
        kinds: Table,
        outcomes: Table,
        outcome: str | None,
        faults: Table,
        hazard: HazardFound | None,
        recipe: RecipeLink,
    ) -> Reading:
        held = self._held(kinds)
        is_problem = "problem" in held
        return Reading(
            kind_probabilities=dict(zip(KINDS, kinds.tolist(), strict=True)),
            kinds=held,
            outcome_probabilities=dict(zip(ENDINGS, outcomes.tolist(), strict=True)),
            outcome=outcome if "made_it" in held else None,
            fault_probabilities={
                fault: float(share)
                for fault, share in zip(FAULTS, faults, strict=True)
                if share >= SHOWN_FROM
            },
            faults=tuple(
                fault
                for fault, share in zip(FAULTS, faults, strict=True)
                if is_problem and share >= self.thresholds["fault"]
            ),
            hazard=hazard,
            recipe=recipe,
        )

    def _held(self, probabilities: Table) -> tuple[str, ...]:
        """The kinds above their thresholds, comment and junk alone; where there is none, the likeliest."""
        margins = np.array([probabilities[at] - self.thresholds[kind] for at, kind in enumerate(KINDS)])
        held = [kind for kind, margin in zip(KINDS, margins, strict=True) if margin >= 0]
        if not held:
            return (KINDS[int(margins.argmax())],)
        alone = [kind for kind in _ALONE if kind in held]
        if alone and len(held) > 1:
            best = KINDS[int(margins.argmax())]
            return (best,) if best in alone else tuple(kind for kind in held if kind not in alone)
        return tuple(held)


def _senses(scores: Table, pooled: Table, faults: Table) -> Table:
    """What kinds and outcome are judged by, of shape (n_messages, n_senses).

    First-stage scores of the whole message, its best and its last clause, the probability of the likeliest
    fault, and how many faults are to be expected.
    """
    largest, last = pooled[:, : len(COLUMNS)], pooled[:, len(COLUMNS) :]
    return np.column_stack(
        [
            scores[:, SENSE_COLUMNS],
            scores[:, COLUMN_OF["any_hazard"]],
            largest[:, SENSE_COLUMNS],
            last[:, SENSE_COLUMNS],
            faults.max(axis=1),
            faults.sum(axis=1),
        ]
    )


def _version_of(labelled: Sequence[Labelled], seed: int) -> str:
    said = [(m.id, m.told, sorted(m.kinds), m.outcome, sorted(m.faults), m.hazard, m.site) for m in labelled]
    return hashlib.sha256(repr((seed, said)).encode()).hexdigest()[:12]
