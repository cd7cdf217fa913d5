import numpy as np

from inbox.reading.faults import FaultFeatures, FaultModel, fault_signs, find_fault_signs
from inbox.reading.labels import COLUMNS
from inbox.reading.sign_worth import SignWorth
from inbox.words import FAULTS

SANK, DRY = FAULTS.index("sank"), FAULTS.index("dry")


def test_what_fit_returns_was_learned_on_other_sites() -> None:
    said = ["The cake sank in the middle.", "The cake was dry."] * 60
    found = find_fault_signs([[text] for text in said])
    scores = np.zeros((len(said), len(COLUMNS)))
    truth = np.zeros((len(said), len(FAULTS)), dtype=bool)
    sites = [f"site {place // 40}" for place in range(len(said))]
    truth[:80:2, SANK] = truth[1:80:2, DRY] = True  # the third site calls the same words no fault
    worth = SignWorth(fault_signs()).fit(found, truth, sites)
    features = FaultFeatures(found, worth, scores, np.hstack([scores, scores]))
    model = FaultModel(0)
    probabilities = model.fit(features, truth, sites)
    assert probabilities.shape == truth.shape
    assert probabilities[80::2, SANK].min() > 0.9
    assert model.probabilities(features)[80::2, SANK].max() < 0.9
