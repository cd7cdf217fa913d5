import numpy as np

from inbox.reading.sign_worth import DOUBT, SignWorth
from inbox.reading.signs import SignTable

TABLE = SignTable({"dry": ["dry", "sand*"], "hot": ["hot"]})


def test_a_sign_is_worth_the_share_that_was_right_drawn_towards_that_of_all() -> None:
    found = [TABLE.find([text]) for text in ["so dry", "so dry", "so hot", "not dry"] * 10]
    truth = np.array([[True, False], [True, False], [False, False], [False, False]] * 10)
    worth = SignWorth(TABLE)
    worth.fit(found, truth, ["here"] * len(found))
    [dry, both, neither] = worth.of(
        [TABLE.find([text]) for text in ["dry", "dry and sandy", "not dry, not hot"]]
    )
    usual = 20 / 30
    assert np.isclose(dry[0, 0], (20 + DOUBT * usual) / (20 + DOUBT))
    assert dry[1].tolist() == [0, 0]
    assert both[0, 0] == dry[0, 0]
    assert np.isclose(both[0, 1], 1 - (1 - dry[0, 0]) * (1 - usual))
    assert not neither.any()


def test_a_message_is_weighed_without_those_of_its_site() -> None:
    found = [TABLE.find(["dry"])] * 30
    sites = ["a"] * 10 + ["b"] * 10 + ["c"] * 10
    truth = np.zeros((30, 2), dtype=bool)
    truth[:10, 0] = True
    unseen = SignWorth(TABLE).fit(found, truth, sites)
    assert unseen[:10, 0, 0].max() == 0
    assert unseen[10:, 0, 0].min() > 0.4
