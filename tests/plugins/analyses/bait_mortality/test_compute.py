import pytest

from bait_mortality.survival import kaplan_meier, lives_to_first_gap


def test_curves_stop_at_the_gap() -> None:
    lives = lives_to_first_gap(
        [1, 2, 2, 5, 6],
        [2, 1, 0, 1, 0],
        entry=[0, 0, 0, 3, 3],
        weight=[1, 2, 1, 4, 4],
        trip=range(5),
        causes=[1, 2, 3],
    )
    alone = kaplan_meier([1, 2, 2], [1, 1, 0], weight=[1, 2, 1])
    assert lives.records.observed_to == 2
    assert lives.survival.share.tolist() == alone.share.tolist() == [0.75, 0.25]
    shares = {cause: curve.share.tolist() for cause, curve in lives.incidence.items()}
    assert shares == {1: [0, 0.5], 2: [0.25, 0.25], 3: [0, 0]}


def test_without_a_gap_everything_is_followed() -> None:
    lives = lives_to_first_gap([1, 5], [1, 1], entry=[0, 0.5], weight=[1, 1], trip=[0, 1], causes=[1])
    assert lives.survival.n_event.sum() == 2


@pytest.mark.parametrize(
    ("least", "until"),
    [(1, 7.5), (2, 3.0), (3, 2.5), (4, 0.75), (5, 7.5)],
    ids=["always enough", "one too few at the end", "rounded down", "below 1 as it is", "never enough"],
)
def test_the_stretch_ends_before_too_few_are_at_risk(least: int, until: float) -> None:
    four = {"entry": [0] * 4, "weight": [1] * 4, "trip": range(4), "causes": [1]}
    assert lives_to_first_gap([0.75, 2.7, 3.2, 7.9], [1, 0, 1, 1], **four).well_followed_to(least) == until
