"""Bench agreement against the AIAG study, NIST certified tables, statsmodels, and simulated shops."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import scipy.stats
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from shimstock_calc import agreement as a
from shimstock_calc.errors import Contradiction, Missing, OutOfRange
from tests.reference import load

ROWS = [(row["part"], row["operator"], float(row["value"])) for row in load.rows("gauge_rr_aiag")]
STUDY, PARTS, OPERATORS = a.crossed(ROWS)


def published(method, quantity):
    return float(load.rows("gauge_rr_aiag_published", method=method, quantity=quantity)[0]["published"])


def test_the_study_is_arranged_by_part_operator_and_trial():
    assert STUDY.shape == (10, 3, 3)
    assert OPERATORS == ("A", "B", "C")
    # AIAG MSA 4th ed., ch. III-B: part 3, operator B, trial 2
    assert STUDY[2, 1, 1] == 0.94


def test_average_range_study():
    # AIAG MSA 4th ed., ch. III-B, average and range method
    study = a.bench_agreement(STUDY, method="average-range")
    v = study.variances
    for quantity, found in [
        ("EV", v.repeatability**0.5),
        ("AV", v.reproducibility**0.5),
        ("GRR", v.agreement**0.5),
        ("PV", v.pieces**0.5),
        ("TV", v.total**0.5),
    ]:
        assert found == pytest.approx(published("average_range", quantity), abs=1e-4), quantity
    for quantity, found in [
        ("pEV", v.repeatability),
        ("pAV", v.reproducibility),
        ("pGRR", v.agreement),
        ("pPV", v.pieces),
    ]:
        share = 100 * (found / v.total) ** 0.5
        # printed from figures that were rounded to four digits before
        assert share == pytest.approx(published("average_range", quantity), abs=0.01), quantity
    assert study.percent_of_total == pytest.approx(26.68, abs=0.006)
    assert study.classes == published("average_range", "ndc")
    mean = STUDY.mean(axis=(0, 2))
    np.testing.assert_allclose(mean, [published("average_range", f"x{name}") for name in "ABC"], atol=1e-4)
    ranges = np.ptp(STUDY, axis=2).mean(axis=0)
    np.testing.assert_allclose(
        ranges, [published("average_range", f"rbar{name}") for name in "ABC"], atol=5e-4
    )
    np.testing.assert_allclose(study.bench_offsets, mean - mean.mean(), atol=1e-12)


def test_anova_study():
    # AIAG MSA 4th ed., ch. III-B, analysis of variance, interaction pooled
    study = a.bench_agreement(STUDY)
    pieces, benches, interaction, repeats = study.table
    for quantity, row in [("p", pieces), ("o", benches), ("i", interaction), ("e", repeats)]:
        assert row.squares == pytest.approx(published("anova", f"SS{quantity}"), abs=6e-5)
        assert row.mean_square == pytest.approx(published("anova", f"MS{quantity}"), abs=6e-6)
    assert sum(row.squares for row in study.table) == pytest.approx(published("anova", "SSt"), abs=6e-5)
    assert interaction.ratio == pytest.approx(published("anova", "Fi"), abs=5e-4)
    assert interaction.probability == pytest.approx(published("anova", "pi"), abs=5e-4)
    assert study.pooled
    v = study.variances
    assert v.repeatability == pytest.approx(published("anova", "MSpool"), abs=6e-6)
    for quantity, found in [
        ("grr", v.agreement),
        ("repeat", v.repeatability),
        ("repro", v.reproducibility),
        ("part", v.pieces),
    ]:
        assert found == pytest.approx(published("anova_pooled", quantity), abs=3e-5), quantity
    assert 100 * v.agreement / v.total == pytest.approx(published("anova_pooled", "pc_grr"), abs=0.006)
    for quantity, found in [
        ("psv_grr", v.agreement),
        ("psv_rep", v.repeatability),
        ("psv_repro", v.reproducibility),
        ("psv_part", v.pieces),
    ]:
        assert 100 * (found / v.total) ** 0.5 == pytest.approx(published("anova_pooled", quantity), abs=0.006)
    assert study.percent_of_total == pytest.approx(27.86, abs=0.005)
    assert study.classes == published("anova_pooled", "ndc_raw")


def test_anova_without_pooling():
    # AIAG MSA 4th ed., ch. III-B: F ratios against the interaction
    study = a.bench_agreement(STUDY, pooling_alpha=1.0)
    assert not study.pooled
    assert study.table[0].ratio == pytest.approx(published("anova", "Fp_int"), rel=2e-5)
    assert study.table[1].ratio == pytest.approx(published("anova", "Fo_int"), rel=2e-5)
    # a negative interaction component clamps to 0
    assert study.variances.interaction == 0.0


@pytest.mark.parametrize("seed", range(5))
def test_the_table_agrees_with_statsmodels(seed):
    # oracle: anova_lm of statsmodels
    rng = np.random.default_rng(seed)
    table = (
        rng.normal(0, 1, (6, 1, 1)) + rng.normal(0, 0.4, (1, 3, 1)) + rng.normal(0, 0.3, (6, 3, 1))
        + rng.normal(0, 0.2, (6, 3, 4))
    )  # fmt: skip
    frame = pd.DataFrame(
        [(f"p{i}", f"b{j}", table[i, j, k]) for i in range(6) for j in range(3) for k in range(4)],
        columns=["piece", "bench", "y"],
    )
    oracle = anova_lm(ols("y ~ C(piece) * C(bench)", frame).fit())
    study = a.bench_agreement(table, pooling_alpha=0.05)
    np.testing.assert_allclose([row.squares for row in study.table], oracle["sum_sq"], rtol=1e-9)
    assert [row.freedom for row in study.table] == oracle["df"].astype(int).tolist()
    assert study.table[2].probability == pytest.approx(oracle["PR(>F)"].iloc[2], rel=1e-8)


@pytest.mark.parametrize("alpha, pooled", [(0.0, True), (0.25, True), (0.99, False)])
def test_the_pooling_level_decides(alpha, pooled):
    # the published interaction has probability 0.974
    assert a.bench_agreement(STUDY, pooling_alpha=alpha).pooled is pooled


def test_components_come_out_on_average():
    rng = np.random.default_rng(2)
    found = []
    for _ in range(1500):
        table = (
            rng.normal(0, 1.0, (8, 1, 1)) + rng.normal(0, 0.5, (1, 4, 1)) + rng.normal(0, 0.4, (8, 4, 1))
            + rng.normal(0, 0.3, (8, 4, 3))
        )  # fmt: skip
        v = a.bench_agreement(table, pooling_alpha=1.0).variances
        found.append([v.repeatability, v.benches, v.interaction, v.pieces])
    np.testing.assert_allclose(np.mean(found, axis=0), [0.09, 0.25, 0.16, 1.0], rtol=0.12)


@pytest.mark.parametrize("method", ["anova", "average-range"])
def test_shift_and_scale_carry_through(method):
    plain = a.bench_agreement(STUDY, method=method, tolerance=4.0)
    moved = a.bench_agreement(1e6 + 25.4 * STUDY, method=method, tolerance=4.0 * 25.4)
    assert moved.percent_of_total == pytest.approx(plain.percent_of_total, rel=1e-7)
    assert moved.percent_of_tolerance == pytest.approx(plain.percent_of_tolerance, rel=1e-7)
    assert moved.classes == plain.classes


def test_percent_of_the_tolerance_and_its_inverse():
    study = a.bench_agreement(STUDY, tolerance=8.0)
    spread = study.variances.agreement**0.5
    assert study.percent_of_tolerance == pytest.approx(100 * 6 * spread / 8.0)
    narrowest = float(a.smallest_tolerance(spread))
    assert a.bench_agreement(STUDY, tolerance=narrowest).percent_of_tolerance == pytest.approx(30.0)


def test_words_tell_where_to_look():
    between = a.bench_agreement(STUDY, tolerance=8.0, benches=["by the door", "middle", "window"]).words
    assert any("by the door reads highest, window lowest" in word for word in between)
    assert any("27.9 % of the whole spread" in word and "usable with care" in word for word in between)
    noisy = np.random.default_rng(0).normal(0, 1, (5, 3, 3)) + np.arange(5)[:, None, None]
    assert any("within one bench" in word for word in a.bench_agreement(noisy).words)
    assert any("no tolerance was given" in word for word in a.bench_agreement(noisy).words)
    fine = np.arange(5.0)[:, None, None] + np.random.default_rng(0).normal(0, 0.01, (5, 3, 3))
    assert ", good." in a.bench_agreement(fine, tolerance=5.0).words[0]
    assert "not good enough" in a.bench_agreement(noisy, tolerance=0.5).words[1]


def test_a_perfect_measurement_has_no_end_of_classes():
    exact = np.broadcast_to(np.arange(4.0)[:, None, None], (4, 2, 2))
    assert a.bench_agreement(exact).classes is None
    assert a.bench_agreement(exact).percent_of_total == 0.0


@pytest.mark.parametrize(
    "size, d2, d3", [(2, 1.128, 0.853), (3, 1.693, 0.888), (5, 2.326, 0.864), (10, 3.078, 0.797)]
)
def test_range_constants(size, d2, d3):
    # ASTM E2587 / Tippett (1925) table of d2 and d3, three decimals, from memory
    assert a.range_constants(size) == (pytest.approx(d2, abs=6e-4), pytest.approx(d3, abs=6e-4))


def test_range_constants_agree_with_scipy():
    # oracle: studentized_range of scipy.stats, infinite freedom
    for size in (4, 7):
        grid = np.linspace(0, 12, 2001)
        beyond = scipy.stats.studentized_range.sf(grid[1:], size, 1e9)
        mean = np.trapezoid(np.concatenate([[1.0], beyond]), grid)
        assert a.range_constants(size)[0] == pytest.approx(mean, abs=1e-4)


@pytest.mark.parametrize("name, tolerance", [("SiRstv", 1e-9), ("SmLs01", 1e-9), ("SmLs07", 2e-3)])
def test_one_way_tables_are_the_certified_ones(name, tolerance):
    # NIST StRD; SmLs07 has 13 digits of which a double holds the last one only in part
    certified = load.rows("nist_strd_anova_certified", dataset=name)[0]
    data = load.rows("nist_strd_anova", dataset=name)
    labels = dict.fromkeys(row["group"] for row in data)
    found = a.one_way([[float(row["y"]) for row in data if row["group"] == label] for label in labels])
    assert found.between_freedom == int(certified["df_between"])
    assert found.within_freedom == int(certified["df_within"])
    for column, value in [
        ("cert_ss_between", found.between),
        ("cert_ss_within", found.within),
        ("cert_F", found.ratio),
        ("cert_R2", found.explained),
        ("cert_residual_sd", found.within_sd),
    ]:
        assert value == pytest.approx(float(certified[column]), rel=tolerance), column


def test_one_way_agrees_with_scipy_on_uneven_groups():
    # oracle: f_oneway of scipy.stats
    rng = np.random.default_rng(4)
    groups = [rng.normal(mean, 1.0, size) for mean, size in [(0, 5), (1, 9), (0.5, 3)]]
    oracle = scipy.stats.f_oneway(*groups)
    found = a.one_way(groups)
    assert found.ratio == pytest.approx(oracle.statistic, rel=1e-10)
    assert found.probability == pytest.approx(oracle.pvalue, rel=1e-10)


def test_nested_components_of_the_resistivity_study():
    # NIST/SEMATECH e-Handbook 2.4.4: s1 0.07871, s2 0.02742157, s3 0.02885; between days -0.00028072, clamped
    rows = load.rows("nist_mpc441")
    averages = [[float(row["average"]) for row in rows if row["run"] == run] for run in ("1", "2")]
    deviations = [[float(row["sd_6reps"]) for row in rows if row["run"] == run] for run in ("1", "2")]
    found = a.nested_components(averages, deviations, 6)
    assert found.repetition_sd == pytest.approx(0.07871, abs=6e-6)
    assert found.day_average_sd == pytest.approx(0.02742157, abs=1e-8)
    assert found.run_average_sd == pytest.approx(0.02885, abs=6e-6)
    assert found.day_variance == pytest.approx(-0.00028072, abs=1e-8)
    assert found.day_sd == 0.0
    assert found.run_sd > 0.0


def test_one_run_says_nothing_of_runs():
    found = a.nested_components([[1.0, 1.2, 1.1]], [[0.1, 0.1, 0.1]], 4)
    assert np.isnan(found.run_sd)
    assert found.day_sd == pytest.approx((0.01 - 0.01 / 4) ** 0.5)


@pytest.mark.parametrize(
    "call, error, field",
    [
        (lambda: a.bench_agreement(STUDY[:, :1]), Missing, "readings"),
        (lambda: a.bench_agreement(STUDY[:, :, :1]), Missing, "readings"),
        (lambda: a.bench_agreement(STUDY[0]), Missing, "readings"),
        (lambda: a.bench_agreement(np.where(STUDY > 2, np.nan, STUDY)), OutOfRange, "readings"),
        (lambda: a.bench_agreement(np.ones((3, 3, 3))), OutOfRange, "readings"),
        (lambda: a.bench_agreement(STUDY, method="guess"), OutOfRange, "method"),
        (lambda: a.bench_agreement(STUDY, tolerance=0.0), OutOfRange, "tolerance"),
        (lambda: a.bench_agreement(STUDY, pooling_alpha=2.0), OutOfRange, "pooling_alpha"),
        (lambda: a.bench_agreement(STUDY, benches=["one"]), Contradiction, "benches"),
        (lambda: a.crossed([]), Missing, "readings"),
        (lambda: a.crossed(ROWS[:-1]), Missing, "readings"),
        (lambda: a.one_way([[1.0, 2.0]]), Missing, "groups"),
        (lambda: a.one_way([[1.0], [2.0]]), Missing, "groups"),
        (lambda: a.nested_components([[1.0]], [[0.1]], 6), Missing, "averages"),
        (lambda: a.nested_components([[1.0, 2.0]], [[0.1]], 6), Contradiction, "deviations"),
        (lambda: a.nested_components([[1.0, 2.0]], [[0.1, 0.1]], 1), OutOfRange, "repetitions"),
    ],
)
def test_bad_input_names_its_field(call, error, field):
    with pytest.raises(error) as caught:
        call()
    assert caught.value.field == field


def test_a_missing_trial_is_named():
    with pytest.raises(Missing, match="C has read 10 2 times, and 3 are needed"):
        a.crossed(ROWS[:-1])
