import pandas as pd
import pytest

from benchwater.sheets.labels import batch_labels, label_stock, mold_cards, mold_tallies, recipe_cards
from sheets.sample_benches import demo, kind


def test_a_batch_has_a_label_for_each_build_it_went_to():
    batch = {"date": pd.Timestamp("2026-05-23"), "mold": "guard-jig", "cavity": "1/8", "coat": "chartreuse"}
    rows = pd.DataFrame([batch | {"cure_temp_c": 190.5556, "cure_time_h": 1 / 3}])
    labels = batch_labels(rows, demo())
    assert [label.title for label in labels] == ["pond-guard"]
    assert labels[0].lines[:3] == (
        "chartreuse on guard-jig 1/8",
        "cured 375 °F for 20 min",
        "finished 23 May 2026",
    )
    assert "wash hands" in labels[0].lines[3].lower()


def test_a_stock_divides_the_paper_and_refuses_labels_too_small_to_read():
    stock = label_stock("3x8", "a4", 10.0, 2.0)
    assert stock.label_mm == pytest.approx(((210 - 20 - 4) / 3, (297 - 20 - 14) / 8))
    for division in ("40x2", "3x60"):
        with pytest.raises(ValueError, match="makes labels of"):
            label_stock(division, "a4", 10.0, 0.0)
    with pytest.raises(ValueError, match="columns x rows"):
        label_stock("three", "a4", 10.0, 0.0)


def test_every_mold_and_every_build_has_a_card():
    bench = demo()
    assert [card.title for card in mold_cards(bench)] == list(bench.molds)
    assert [card.title for card in recipe_cards(bench)] == list(bench.builds)
    assert "cure: 350 °F to 410 °F, 15 min to 30 min" in recipe_cards(bench)[0].lines


def test_a_tally_holds_the_fills_of_an_evening():
    for sheet in mold_tallies(kind("pour"), demo()):
        assert sum(map(len, sheet.blocks)) >= 60
        assert sheet.temperature == "°F"
