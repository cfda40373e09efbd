"""Reliability against pingouin (intraclass coefficients), statsmodels (mixed model) and scipy."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pingouin
import pytest
import statsmodels.formula.api as smf
from scipy import stats

from analysis.agreement import limits_of_agreement
from analysis.detectable_change import swings_needed
from analysis.intraclass import IccForm, intraclass_correlations
from analysis.reliability import sd_interval, session_to_session, within_session_sd

# pingouin 0.7 calls pandas 3.1 in a way that pandas deprecates; nothing of ours.
pytestmark = pytest.mark.filterwarnings("ignore:The inplace keyword")

FORMS_ELSEWHERE = {
    "ICC(1,1)": IccForm.ONE_SINGLE,
    "ICC(A,1)": IccForm.TWO_SINGLE,
    "ICC(C,1)": IccForm.THREE_SINGLE,
    "ICC(1,k)": IccForm.ONE_MEAN,
    "ICC(A,k)": IccForm.TWO_MEAN,
    "ICC(C,k)": IccForm.THREE_MEAN,
}


def long_table(scores: np.ndarray) -> pd.DataFrame:
    golfers, occasions = np.indices(scores.shape)
    return pd.DataFrame(
        {"golfer": golfers.ravel(), "occasion": occasions.ravel(), "score": scores.ravel()}
    )


def invented_retest(golfers: int, occasions: int, seed: int) -> np.ndarray:
    """Separation of golfers on occasions, degrees: level, shift of an occasion, error."""
    rng = np.random.default_rng(seed)
    return (
        45.0
        + 6.0 * rng.standard_normal((golfers, 1))
        + 1.5 * rng.standard_normal(occasions)
        + 2.5 * rng.standard_normal((golfers, occasions))
    )


def assert_like_pingouin(scores: np.ndarray, reference: pd.DataFrame) -> None:
    ours = intraclass_correlations(scores)
    assert set(reference["Type"]) == set(FORMS_ELSEWHERE)
    for row in reference.to_dict("records"):
        found = ours[FORMS_ELSEWHERE[row["Type"]]]
        assert found.value == pytest.approx(row["ICC"], abs=1e-9)
        assert found.f == pytest.approx(row["F"], rel=1e-9)
        assert (found.dof_above, found.dof_below) == (row["df1"], row["df2"])
        assert found.p_value == pytest.approx(row["pval"], rel=1e-6)
        # It rounds its interval to two decimals.
        assert (found.low, found.high) == pytest.approx(tuple(row["CI95"]), abs=0.00501)


@pytest.mark.parametrize(("golfers", "occasions"), [(4, 2), (12, 2), (17, 3), (40, 5)])
def test_all_six_coefficients_agree_with_pingouin(golfers, occasions):
    scores = invented_retest(golfers, occasions, seed=golfers)
    reference = pingouin.intraclass_corr(long_table(scores), "golfer", "occasion", "score")
    assert_like_pingouin(scores, reference)


def test_all_six_coefficients_agree_with_pingouin_on_the_data_it_ships():
    wine = pingouin.read_dataset("icc")
    reference = pingouin.intraclass_corr(wine, "Wine", "Judge", "Scores")
    assert_like_pingouin(wine.pivot_table("Scores", "Wine", "Judge").to_numpy(), reference)


def test_one_way_coefficient_is_the_ratio_of_a_mixed_models_variances():
    """Restricted likelihood, another road: equal to the analysis of variance when balanced."""
    scores = invented_retest(20, 3, seed=5)
    fit = smf.mixedlm("score ~ 1", long_table(scores), groups="golfer").fit(reml=True)
    between = float(fit.cov_re.iloc[0, 0])
    expected = between / (between + float(fit.scale))
    found = intraclass_correlations(scores)[IccForm.ONE_SINGLE].value
    assert found == pytest.approx(expected, abs=2e-4)


def test_spread_within_and_between_sessions_agrees_with_a_mixed_model():
    rng = np.random.default_rng(11)
    sessions = 44.0 + 2.0 * rng.standard_normal((9, 1)) + 3.0 * rng.standard_normal((9, 12))
    fit = smf.mixedlm("score ~ 1", long_table(sessions), groups="golfer").fit(reml=True)
    found = session_to_session(list(sessions))
    assert found.within.sd == pytest.approx(float(fit.scale) ** 0.5, rel=1e-3)
    assert found.between_sd == pytest.approx(float(fit.cov_re.iloc[0, 0]) ** 0.5, rel=5e-3)
    assert found.standard_error_of_mean(12) * 9**-0.5 == pytest.approx(
        float(fit.bse_fe.iloc[0]), rel=5e-3
    )


def test_pooled_spread_is_the_root_of_the_one_way_residual_mean_square():
    """Unequal sessions; statsmodels' least squares with a level a session."""
    rng = np.random.default_rng(3)
    sessions = [rng.normal(45.0 + shift, 3.0, n) for shift, n in ((0, 7), (2, 15), (-1, 11))]
    table = pd.DataFrame(
        {
            "score": np.concatenate(sessions),
            "session": np.repeat(["a", "b", "c"], [7, 15, 11]),
        }
    )
    fit = smf.ols("score ~ C(session)", table).fit()
    found = within_session_sd(sessions)
    assert found.sd == pytest.approx(fit.mse_resid**0.5)
    assert found.dof == fit.df_resid


@pytest.mark.parametrize("dof", [1, 4, 29, 300])
def test_interval_of_a_spread_holds_the_chi_square_shares(dof):
    low, high = sd_interval(2.0, dof, confidence=0.9)
    assert stats.chi2.sf(dof * 4.0 / low**2, dof) == pytest.approx(0.05)
    assert stats.chi2.cdf(dof * 4.0 / high**2, dof) == pytest.approx(0.05)


@pytest.mark.parametrize("effect", [0.4, 0.8, 1.2, 1.9])
def test_swings_needed_agree_with_the_noncentral_t_of_pingouin(effect):
    exact = pingouin.power_ttest(d=effect, power=0.8, alpha=0.05, contrast="two-samples")
    assert swings_needed(effect, 1.0) == pytest.approx(np.ceil(exact), abs=1)


def test_limits_of_agreement_are_the_mean_and_spread_of_the_differences():
    rng = np.random.default_rng(8)
    optical = rng.normal(90, 5, 30)
    worn = optical + rng.normal(0.6, 1.2, 30)
    found = limits_of_agreement(optical, worn)
    paired = stats.ttest_1samp(worn - optical, 0.0).confidence_interval()
    assert (found.bias_low, found.bias_high) == pytest.approx((paired.low, paired.high))
    assert found.high - found.low == pytest.approx(2 * 1.959964 * np.std(worn - optical, ddof=1))
