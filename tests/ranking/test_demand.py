from datetime import date, timedelta

import pytest

from inbox.ranking.demand import RankedTheme, ThemeVoices, rank
from inbox.ranking.season import Season
from inbox.ranking.voices import Voice

ON = date(2027, 1, 20)
EASTER = [
    Season("easter", "Easter", day, day) for day in (date(2025, 4, 20), date(2026, 4, 5), date(2027, 3, 28))
]


def voices(*ages: int, reader: str = "") -> tuple[Voice, ...]:
    return tuple(Voice(reader or f"r{n}", ON - timedelta(days=age)) for n, age in enumerate(ages))


def community(*odd: ThemeVoices) -> list[ThemeVoices]:
    """The themes of interest among twenty ordinary ones."""
    ordinary = [ThemeVoices(100 + n, voices(*(11 * k + 5 * n for k in range(1 + n % 4)))) for n in range(20)]
    return [*odd, *ordinary]


def ranked(*odd: ThemeVoices, **options: object) -> dict[int, RankedTheme]:
    found = rank(community(*odd), on=ON, observed_from=ON - timedelta(days=730), seasons=EASTER, **options)  # type: ignore[arg-type]
    assert [one.place for one in found] == list(range(1, len(found) + 1))
    return {one.theme_id: one for one in found}


def test_the_four_parts_add_up_and_order_the_list() -> None:
    found = rank(
        community(ThemeVoices(1, voices(*range(20)), "easter", 0.4, "Simnel Cake", 6.0)),
        on=ON, observed_from=ON - timedelta(days=730), seasons=EASTER,
    )  # fmt: skip
    for one in found:
        assert one.score == pytest.approx(
            one.parts.rate + one.parts.season + one.parts.gap + one.parts.effort, abs=1e-12
        )
    assert [one.score for one in found] == sorted((one.score for one in found), reverse=True)


def test_the_reason_is_said_in_plain_words() -> None:
    ages = [*range(14), *range(0, 28, 4)]
    found = ranked(ThemeVoices(1, voices(*ages), "easter"))[1]
    assert found.reason == (
        "twenty-one people in eight weeks, rising; Easter opens on 14 February; nothing of yours comes near"
    )


def test_one_fan_is_one_voice() -> None:
    fan, crowd = ThemeVoices(1, voices(*range(40), reader="fan")), ThemeVoices(2, voices(*range(0, 40, 5)))
    found = ranked(fan, crowd)
    assert found[1].reader_count == 1
    assert found[2].place < found[1].place
    assert found[1].trend == "too_few"


def test_thumbs_add_less_than_voices_and_are_capped() -> None:
    def theme(number: int, thumbs: int) -> ThemeVoices:
        return ThemeVoices(number, (Voice("a", ON, 1.0, thumbs),))

    found = ranked(theme(1, 0), theme(2, 5), theme(3, 1000), ThemeVoices(4, voices(*[0] * 2)))
    rates = [found[number].rate_a_week for number in (1, 2, 3, 4)]
    assert rates[0] < rates[1] == pytest.approx(rates[3])
    crowd = ranked(ThemeVoices(5, voices(*[0] * 6)), theme(3, 1000))
    assert crowd[3].rate_a_week == pytest.approx(crowd[5].rate_a_week)


def test_old_voices_fade() -> None:
    found = ranked(ThemeVoices(1, voices(0, 1, 2)), ThemeVoices(2, voices(200, 201, 202)))
    assert found[1].rate_a_week > 2 * found[2].rate_a_week


def test_a_season_ahead_lifts_and_one_just_over_does_not() -> None:
    theme = ThemeVoices(1, voices(3, 9, 30), "easter")
    before = rank(community(theme), on=date(2027, 2, 10), observed_from=date(2025, 1, 1), seasons=EASTER)
    after = rank(community(theme), on=date(2027, 3, 30), observed_from=date(2025, 1, 1), seasons=EASTER)
    assert next(one for one in before if one.theme_id == 1).parts.season > 1
    assert next(one for one in after if one.theme_id == 1).parts.season == 0


def test_an_occasion_that_the_owner_does_not_plan_for_is_an_ordinary_theme() -> None:
    found = ranked(ThemeVoices(1, voices(3, 9), "purim"), ThemeVoices(2, voices(3, 9)))
    assert found[1].parts == found[2].parts
    assert found[1].season_name is None


def test_what_is_there_already_and_what_takes_long_go_down() -> None:
    same = voices(1, 5, 9)
    found = ranked(
        ThemeVoices(1, same),
        ThemeVoices(2, same, None, 0.8, "Lemon Loaf"),
        ThemeVoices(3, same, effort_days=12.0),
    )
    assert found[1].place < found[3].place < found[2].place
    assert "point them to your Lemon Loaf" in found[2].reason
    assert found[3].parts.effort == pytest.approx(-0.5 * 1.3862943611, abs=1e-9)
    assert ranked(ThemeVoices(1, same, effort_days=12.0), effort_weight=0.0)[1].parts.effort == 0


def test_wholly_covered_keeps_a_finite_score() -> None:
    assert ranked(ThemeVoices(1, voices(1), None, 1.0, "It"))[1].score > -20


def test_the_shares_of_the_first_five_sum_to_five() -> None:
    found = ranked(ThemeVoices(1, voices(*range(30))))
    assert sum(one.first_five_share for one in found.values()) == pytest.approx(5, abs=0.02)
    assert found[1].first_five_share > 0.95


def test_ranking_twice_gives_the_same() -> None:
    assert ranked(ThemeVoices(1, voices(1, 2))) == ranked(ThemeVoices(1, voices(1, 2)))


def test_a_cooling_theme_is_told_from_a_rising_one() -> None:
    found = ranked(ThemeVoices(1, voices(*range(0, 26, 2))), ThemeVoices(2, voices(*range(30, 110, 2))))
    assert (found[1].trend, found[2].trend) == ("rising", "cooling")
    assert found[2].trend_p_value is not None


def test_nothing_and_a_first_day_are_ranked_without_trouble() -> None:
    assert rank([], on=ON, observed_from=ON) == []
    (only,) = rank([ThemeVoices(1, voices(0))], on=ON, observed_from=ON)
    assert only.rate_low < only.rate_a_week < only.rate_high
    (silent,) = rank([ThemeVoices(1, ())], on=ON, observed_from=ON)
    assert silent.reason == "nobody in eight weeks, nobody before; nothing of yours comes near"
