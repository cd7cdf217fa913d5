import numpy as np

from inbox.reading.faults import FaultFeatures, FaultModel
from inbox.reading.findings import Told
from inbox.reading.labels import COLUMNS
from inbox.reading.prepared import prepare
from inbox.words import FAULTS

SANK, DRY = FAULTS.index("sank"), FAULTS.index("dry")


def test_what_fit_returns_was_learned_on_other_sites() -> None:
    said = ["The cake sank in the middle.", "The cake was dry."] * 60
    prepared = prepare([Told(text) for text in said])
    scores = np.zeros((len(said), len(COLUMNS)))
    features = FaultFeatures(prepared, scores, np.hstack([scores, scores]))
    truth = np.zeros((len(said), len(FAULTS)), dtype=bool)
    sites = [f"site {place // 40}" for place in range(len(said))]
    truth[:80:2, SANK] = truth[1:80:2, DRY] = True  # the third site calls the same words no fault
    model = FaultModel(0)
    probabilities = model.fit(features, truth, sites)
    assert probabilities.shape == truth.shape
    assert probabilities[80::2, SANK].min() > 0.9
    assert model.probabilities(features)[80::2, SANK].max() < 0.9
