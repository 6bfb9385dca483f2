from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from estate.crop import (
    check_records,
    expected_crop,
    falling_behind,
    published_belief,
    read_records,
    task_beliefs,
    total_crop,
)
from estate.roster import RoundSettings, draw_roster
from layers.errors import ColumnError, MissingLayerError, UnreadableError

MONDAY = date(2026, 11, 2)


def tasks(n: int = 3, trees: int = 400) -> pd.DataFrame:
    return pd.DataFrame({"task_id": [f"t{i}" for i in range(n)], "trees": trees})


def roster(days: int = 28) -> pd.DataFrame:
    sums = tasks().assign(beat_id="b", round_day=[1, 2, 3], minutes=200.0, needs_high_knife=False)
    return draw_roster(
        sums, pd.DataFrame({"tapper_id": ["a"]}), RoundSettings(start=MONDAY, days=days)
    )


def stops(n: int = 3, trees: int = 400) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "task_id": np.repeat([f"t{i}" for i in range(n)], trees),
            "member": np.tile(["one", "two"], n * trees // 2),
        }
    )


def test_the_published_survey_and_frequency_gains():
    # Kerala survey: mean 51.1, 19.1 to 90.5 g a tree and tapping (secondary);
    # Phearun et al. 2019, CIRAD dk=593890: d4, d5, d6 give +11, +28, +48 % of d3 (secondary).
    base = np.exp(published_belief(3).log_g)
    assert base == pytest.approx(51.1)
    for interval, gain in ((4, 1.11), (5, 1.28), (6, 1.48)):
        assert np.exp(published_belief(interval).log_g) / base == pytest.approx(gain)
    belief = published_belief(3)
    spread = np.hypot(belief.shared_sd, belief.own_sd)
    assert np.exp(4 * spread) == pytest.approx(90.5 / 19.1)


def test_a_year_at_d3_gives_the_published_yield_of_a_hectare():
    # CIRAD dk=579209 (secondary): RRIM 600 in Thailand 1,760 to 1,819 kg/ha/year, from 71 to 81
    # tappings a year of 475 trees (CIRAD dk=593889; 7 x 3 m): our interval must hold it.
    belief = published_belief(3)
    mornings = pd.DataFrame(
        {
            "date": [MONDAY + timedelta(days=4 * n) for n in range(76)],
            "task_id": "t0",
            "kind": "tap",
        }
    )
    crop = expected_crop(stops(1, 476), mornings, task_beliefs(tasks(1, 476), belief), belief)
    year = total_crop(crop, [])
    assert year["low_kg"].iloc[0] < 1760 < 1819 < year["high_kg"].iloc[0]


def test_crop_by_hand_without_spread():
    belief = replace(published_belief(3), shared_sd=1e-9, own_sd=1e-9, morning_sd=1e-9)
    crop = expected_crop(stops(), roster(), task_beliefs(tasks(), belief), belief)
    first = crop[(crop["task_id"] == "t0") & (crop["member"] == "one")].iloc[0]
    assert first["mornings"] == 8
    assert first["dry_rubber_kg"] == pytest.approx(200 * 8 * 51.1 / 1000)
    assert first["latex_litres"] == pytest.approx(first["dry_rubber_kg"] / 0.33 / 0.98)
    assert first["cups"] == 200
    assert first["buckets"] == np.ceil(200 * 51.1 / 1000 / 0.33 / 0.98 / 20)
    assert first["low_kg"] == pytest.approx(first["high_kg"])


def test_ninety_in_a_hundred_intervals_hold_the_crop():
    belief = published_belief(3)
    rng = np.random.default_rng(5)
    crop = expected_crop(stops(), roster(), task_beliefs(tasks(), belief), belief)
    single = crop[crop["member"] == "one"].reset_index(drop=True)
    whole = total_crop(crop, []).iloc[0]
    inside, inside_total = [], []
    for _ in range(4000):
        own = belief.log_g + rng.normal(0, belief.shared_sd) + rng.normal(0, belief.own_sd, 3)
        days = rng.normal(0, belief.morning_sd, (3, 8))
        kg = 0.2 * np.exp(own[:, None] + days).sum(axis=1)
        inside += list((kg > single["low_kg"]) & (kg < single["high_kg"]))
        inside_total.append(whole["low_kg"] < 2 * kg.sum() < whole["high_kg"])
    assert np.mean(inside) == pytest.approx(0.9, abs=0.02)
    assert np.mean(inside_total) == pytest.approx(0.9, abs=0.02)


def test_records_correct_the_belief_as_a_linear_solve_does():
    belief = published_belief(3)
    records = pd.DataFrame({"task_id": ["t0", "t0", "t1"], "dry_kg": [8.0, 9.0, 30.0]})
    made = task_beliefs(tasks(), belief, records)
    # The same posterior by brute force: condition the joint normal of tasks and records.
    prior = belief.shared_sd**2 + belief.own_sd**2 * np.eye(3)
    pick = np.array([[1, 0, 0], [1, 0, 0], [0, 1, 0]], dtype=float)
    seen = np.log(records["dry_kg"].to_numpy() * 1000 / 400)
    cover = pick @ prior @ pick.T + belief.morning_sd**2 * np.eye(3)
    gain = prior @ pick.T @ np.linalg.inv(cover)
    mean = belief.log_g + gain @ (seen - belief.log_g)
    var = np.diag(prior - gain @ pick @ prior)
    np.testing.assert_allclose(made["log_g"], mean, rtol=1e-9)
    np.testing.assert_allclose(made["shared_sd"] ** 2 + made["own_sd"] ** 2, var, rtol=1e-9)


def many_records(fall: float) -> pd.DataFrame:
    rng = np.random.default_rng(1)
    rows = []
    for n in range(24):
        weather = rng.normal(0, 0.2)
        for t in range(5):
            sag = fall if (t == 2 and n >= 18) else 0.0
            kg = 0.4 * 50 * np.exp(weather + sag + rng.normal(0, 0.08))
            rows.append((MONDAY + timedelta(days=3 * n), f"t{t}", kg))
    return pd.DataFrame(rows, columns=["date", "task_id", "dry_kg"])


def test_the_task_that_falls_behind_is_flagged_and_the_others_are_not():
    table = falling_behind(many_records(-0.35), tasks(5)).set_index("task_id")
    assert table["behind"].tolist() == [False, False, True, False, False]
    assert -45 < table.loc["t2", "change_percent"] < -15
    assert "less than before" in table.loc["t2", "why"]
    assert not falling_behind(many_records(0.0), tasks(5))["behind"].any()


def test_too_few_records_are_not_judged():
    table = falling_behind(many_records(-0.5).iloc[:10], tasks(5))
    assert not table["behind"].any()
    assert (table["why"] == "too few records to say").all()


def test_no_task_falls_behind_where_there_is_none():
    assert falling_behind(many_records(0.0), tasks(0)).empty


def test_records_from_csv_and_xlsx(tmp_path):
    table = pd.DataFrame(
        {"Date": ["2026-11-02"], "task id": ["t0"], "latex_kg": [60.0], "drc_percent": [33.0]}
    )
    table.to_csv(tmp_path / "r.csv", index=False)
    table.to_excel(tmp_path / "r.xlsx", index=False)
    for name in ("r.csv", "r.xlsx"):
        read = read_records(tmp_path / name)
        assert read["dry_kg"].tolist() == pytest.approx([19.8])
        assert read["date"].tolist() == [MONDAY]


@pytest.mark.parametrize(
    ("column", "value", "word"),
    [
        ("drc_percent", 0.33, "5 to 70 %"),
        ("latex_kg", -1, "0 kg or more"),
        ("date", "soon", "2026-11-25"),
    ],
)
def test_a_wrong_record_is_named_by_row(column, value, word):
    table = pd.DataFrame(
        {
            "date": ["2026-11-02", "2026-11-03"],
            "task_id": ["t0", "t1"],
            "latex_kg": [60.0, 61.0],
            "drc_percent": [33.0, 34.0],
        }
    ).astype({column: object})
    table.loc[1, column] = value
    with pytest.raises(ColumnError, match=f"row 2.*{word}"):
        check_records(table, file="r.csv")


def test_missing_columns_and_files_are_named(tmp_path):
    with pytest.raises(ColumnError, match="drc_percent"):
        check_records(pd.DataFrame({"date": [], "task_id": [], "latex_kg": []}))
    with pytest.raises(MissingLayerError, match=r"no\.csv"):
        read_records(tmp_path / "no.csv")
    (tmp_path / "bad.xlsx").write_text("not a workbook")
    with pytest.raises(UnreadableError, match=r"bad\.xlsx"):
        read_records(tmp_path / "bad.xlsx")


def test_records_of_tasks_that_nobody_knows_change_nothing():
    strange = many_records(0.0).assign(task_id="gone").astype({"task_id": "string"})
    belief = published_belief(3)
    plain = task_beliefs(tasks(2), belief, None)
    pd.testing.assert_frame_equal(task_beliefs(tasks(2), belief, strange), plain)
    assert plain["log_g"].dtype == float


def test_of_tasks_that_dont_change_about_one_in_forty_is_flagged():
    # The normal law below -2 standard errors: 0.02275, from a table of it.
    random = np.random.default_rng(3)
    many, mornings = 400, 12
    days = pd.date_range("2026-08-03", periods=mornings, freq="3D").date
    records = pd.DataFrame(
        {
            "date": np.tile(days, many),
            "task_id": np.repeat([f"A-{n}" for n in range(many)], mornings),
            "dry_kg": 20.0 * np.exp(random.normal(0.0, 0.15, many * mornings)),
        }
    )
    sizes = pd.DataFrame({"task_id": records["task_id"].unique(), "trees": 400})
    flagged = falling_behind(records, sizes)["behind"].mean()
    assert abs(flagged - 0.02275) < 3.0 * np.sqrt(0.02275 * 0.97725 / many)
