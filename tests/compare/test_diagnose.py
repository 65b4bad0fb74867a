"""Diagnosis: a built-in cause is identified, and no cause is reported without one."""

from dataclasses import replace

import numpy as np
import pandas
import pytest

from fem.case.case import CaseError
from fem.compare import causes
from fem.compare import diagnose as module
from fem.compare.altered import with_added_angle, with_added_slack, with_stiffer_rubber
from fem.compare.causes import Cause, Effect, gauge_effect, predict
from fem.compare.comparison import compare_with_bench
from fem.compare.curve import Curve
from fem.compare.diagnose import diagnose
from fem.compare.fit import Evidence, Scope
from fem.compare.match import find_curves, match, values_at_measurements
from fem.measurements.bench import read_bench
from fem.quantities import table
from fem.quantities.column import Measure
from fem.study.plan import Study
from fem.study.study_result import StudyResult, tabulate
from fem.study.worker import Task, solve_task
from tests.helpers.compared import CASES, fast_rows, make_bench, make_study_result
from tests.helpers.messages import refused

SEEDS = range(6)
TAKEN_UP = Scope("slack", "taken up")
SLACK = Cause("slack", "%")


@pytest.fixture(scope="module")
def predicted(tmp_path_factory):
    """Return the prediction of the fast model, which depends only on settings and pressures."""
    return predict(make_bench(tmp_path_factory.mktemp("bench"), fast_rows()))


def by_case(curves, model="fast"):
    return {key: curve for (key, name), curve in curves.items() if name == model}


@pytest.fixture
def diagnosis(tmp_path, predicted):
    """Return a function that diagnoses measurements compared with the fast model.

    For other settings or pressures than the usual ones, `predicted` is None and computed again.
    With the model "fe", the fast model takes the part of the FE model.
    """

    def diagnose_rows(rows, seed, model="fast", predicted=predicted):
        bench = make_bench(tmp_path, rows, seed)
        predicted = predicted or predict(bench)
        curves = find_curves(bench, make_study_result(), ["fast"])
        matched = match(bench, curves, ["fast"]).assign(model=model)
        return diagnose(matched, bench, model, by_case(curves), predicted)

    return diagnose_rows


@pytest.fixture
def checked_by_fast_model(monkeypatch):
    """Solve the checks of the FE model by the fast model."""
    solve = module.solve_curves
    monkeypatch.setattr(
        module, "solve_curves", lambda case, _, *others: solve(case, "fast", *others)
    )


# ------------------------------------------------------------------------ changes of a case


def test_slack_is_added_to_the_natural_length(make_case):
    case = make_case(threads__1__slack="3 %")
    altered = with_added_slack(["A", "B"])(case, 2.0)
    lengths = [(c.threads[n].natural(1.0)) for n in (0, 1) for c in (altered, case)]
    assert lengths[0] / lengths[1] == pytest.approx(1.02)
    assert lengths[2] / lengths[3] == pytest.approx(1.02)
    alone = with_added_slack(["B"])(case, 2.0)
    assert alone.threads[0] == case.threads[0]


def test_no_thread_is_shortened_beyond_zero_slack(make_case):
    case = make_case(threads__0__slack="3 %", threads__1__slack="cut at 20 deg")
    altered = with_added_slack(["A", "B"])(case, -5.0)
    assert altered.threads[0].slack_strain == 0
    assert altered.threads[1].slack_strain == pytest.approx(case.threads[1].slack_strain)
    assert case.threads[1].slack_strain < 0, "cut too short"


def test_threads_of_more_than_twice_their_length_are_lengthened(make_case):
    """A slack rule in per cent allows at most 100 %."""
    case = make_case(threads__0__slack="cut at 80 deg")
    assert case.threads[0].slack_strain > 4
    altered = with_added_slack(["A"])(case, 2.0)
    ratio = altered.threads[0].natural(1.0) / case.threads[0].natural(1.0)
    assert ratio == pytest.approx(1.02, rel=1e-14)


def test_an_invalid_case_has_the_effect_of_the_nearest_valid_amount(monkeypatch, tmp_path):
    """A helix angle of more than 90 deg is not valid."""
    with refused(CaseError, "90 deg"):
        with_added_angle(["A"])(next(iter(make_bench(tmp_path, fast_rows()).cases.values())), 200.0)
    monkeypatch.setattr(causes, "ANGLES", np.array([0.0, 2.0, 200.0]))
    effects = predict(make_bench(tmp_path, fast_rows()))[1]
    (angle,) = (effect for effect in effects if effect.cause == Cause("angle", "deg"))
    assert np.abs(angle.changes[1]).max() > 0
    assert np.array_equal(angle.changes[2], angle.changes[1])


def test_helix_angles_are_increased(make_case):
    case = make_case(threads__0__angle=None, threads__0__ring_turn="100 deg")
    altered = with_added_angle(["A"])(case, 3.0)
    assert np.degrees(altered.threads[0].angle - case.threads[0].angle) == pytest.approx(3)
    assert altered.threads[0].ring_turn is None
    assert altered.threads[1] == case.threads[1]


def shear_modulus(case):
    return case.rubber.constitutive_law.shear_modulus


def test_every_rubber_is_made_stiffer(make_case, rubbers):
    """The shear modulus at rest is linear in the stresses of every law."""
    for data in rubbers.values():
        case = make_case(rubber=data)
        altered = with_stiffer_rubber(case, 20.0)
        ratio = shear_modulus(altered) / shear_modulus(case)
        assert ratio == pytest.approx(1.2, rel=1e-12)
        assert altered.rubber.constitutive_law.locking == case.rubber.constitutive_law.locking


# ------------------------------------------------------------------------------- the fit


def evidence(measured, model_values, std=1.0):
    """Return the evidence of a twist at settings of five rows each."""
    rows = pandas.DataFrame({"case": np.arange(len(measured)) // 5, "twist_deg": measured})
    rows["twist_deg.std"] = std
    values = np.asarray(model_values, dtype=float)[:, None]
    twist = Measure(table.twist)
    return Evidence("fe", rows, [twist], np.asarray(measured)[:, None], values, values)


def test_the_amount_is_that_of_weighted_least_squares():
    """For an effect proportional to the amount: a = sum(w d r) / sum(w d^2), by hand."""
    rng = np.random.default_rng(2)
    values, per_unit = rng.normal(scale=0.01, size=60), rng.normal(size=60)
    std = rng.uniform(0.5, 2.0, size=60)
    measured = values + 0.7 * per_unit + std * rng.normal(size=60)
    amounts = np.array([-2.0, 0.0, 2.0])
    changes = amounts[:, None, None] * per_unit[None, :, None]
    found = evidence(measured, values, std).fit(
        Effect(Cause("angle", "deg"), amounts, changes, by_fast=False), Scope()
    )
    weight = 1 / std**2
    expected = np.sum(weight * per_unit * (measured - values)) / np.sum(weight * per_unit**2)
    assert found.amount == pytest.approx(expected, rel=1e-3)
    half_interval = 2.0 / np.sqrt(np.sum(weight * per_unit**2))
    assert found.plus_minus == pytest.approx(half_interval, rel=0.5)
    assert not found.at_bound


def test_intervals_contain_the_true_amount_in_95_percent_of_trials():
    rng = np.random.default_rng(3)
    amounts = np.array([-2.0, 0.0, 2.0])
    inside = 0
    for _ in range(200):
        per_unit = rng.normal(size=60)
        measured = 0.5 * per_unit + rng.normal(size=60)
        changes = amounts[:, None, None] * per_unit[None, :, None]
        effect = Effect(Cause("angle", "deg"), amounts, changes, by_fast=False)
        found = evidence(measured, np.zeros(60)).fit(effect, Scope())
        inside += abs(found.amount - 0.5) < found.plus_minus
    assert 0.92 < inside / 200 < 1.0


def test_an_effect_is_scaled_like_the_values_of_the_models():
    """A model with half the values of the fast model has half of its changes."""
    amounts = np.array([0.0, 1.0])
    fast = np.linspace(1, 5, 20)
    effect = Effect(Cause("stiffness", "%"), amounts, amounts[:, None, None] * fast[:, None])
    found = evidence(0.5 * fast + 0.5 * 0.3 * fast, 0.5 * fast)
    found = replace(found, fast_values=fast[:, None])
    assert found.slope == pytest.approx([0.5])
    assert found.fit(effect, Scope()).amount == pytest.approx(0.3, rel=1e-4)


def test_the_error_of_the_model_adds_to_that_of_the_measurement():
    """Independent errors add in quadrature; 1 % of 100 deg, and 15 % of 20 deg, by hand."""
    found = evidence(np.zeros(2), [100.0, 20.0])
    assert found.sigma[0, 0] == pytest.approx(np.sqrt(2))
    assert replace(found, model="fast").sigma[1, 0] == pytest.approx(np.sqrt(10))


def test_an_amount_at_the_end_of_its_range_is_marked():
    amounts = np.array([-1.0, 0.0, 1.0])
    ones = np.ones(20)
    effect = Effect(Cause("zero", "deg"), amounts, amounts[:, None, None] * ones[:, None])
    found = evidence(3 * ones + np.linspace(-0.1, 0.1, 20), 0.01 * ones).fit(
        replace(effect, by_fast=False), Scope()
    )
    assert found.at_bound
    assert found.amount == pytest.approx(1.0, abs=1e-3)


def test_a_corrected_effect_has_the_solved_change():
    amounts = np.array([0.0, 1.0, 2.0])
    effect = Effect(Cause("slack", "%"), amounts, amounts[:, None, None] * np.array([[1.0, 1.0]]))
    corrected = effect.corrected(1.5, np.array([[6.0, np.nan]]), np.array([2.0, 2.0]))
    assert corrected.at(1.5) == pytest.approx(np.array([[6.0, 3.0]]))
    assert corrected.at(0.0) == pytest.approx(np.array([[0.0, 0.0]]))
    assert not corrected.by_fast


def test_the_zero_error_of_the_gauge_follows_the_curve_of_the_model(tmp_path):
    """On y = x^2 a shift s changes y by 2 x s + s^2; above 13 kPa the fast model is used."""
    bench = make_bench(tmp_path, fast_rows()[:8])  # 3 to 13 kPa at one setting
    steps = np.linspace(0, 13, 261)
    columns = {"step": range(261), "requested": True, "pressure_kPa": steps, "twist_deg": steps**2}
    (key,) = bench.cases
    (fast,) = (effect for effect in predict(bench)[1] if effect.cause.kind == "gauge")
    found = gauge_effect(
        bench, {key: Curve.of(pandas.DataFrame(columns))}, fast, np.array([2.0, 1.0])
    )
    assert not found.by_fast
    pressures = bench.table.pressure_kPa.to_numpy()
    for amount in (-1.3, -0.65, 0.0, 0.65):
        expected = 2 * pressures * amount + amount**2
        inside = pressures + amount <= 13
        assert found.at(amount)[inside, 0] == pytest.approx(expected[inside], abs=1e-3)
    assert found.at(1.3)[-1, 0] == pytest.approx(2 * fast.at(1.3)[-1, 0])
    step = fast.at(1.3)[-2, 0] - fast.at(0.975)[-2, 0]
    assert found.at(1.3)[-2, 0] - found.at(0.975)[-2, 0] == pytest.approx(2 * step)


# ------------------------------------------------------------------------------- built-in causes


def test_slack_in_the_rows_of_one_rule_is_identified(diagnosis):
    inside = 0
    for seed in range(12):
        found = diagnosis(fast_rows(left=1.5), seed)
        (best,) = found.supported
        assert (best.cause, best.scope) == (Cause("slack", "%"), TAKEN_UP)
        assert best.plus_minus < 0.5
        assert abs(best.amount - 1.5) < 2 * best.plus_minus
        inside += abs(best.amount - 1.5) < best.plus_minus
        without, with_cause = best.rms["twist"]
        assert without > 2.5 and with_cause < 1.5
        assert found.next_best.bic - best.bic > module.INDISTINCT
    assert inside >= 9  # 95 % intervals miss more than 3 of 12 with a probability of 1/500


def test_slack_is_identified_for_the_fe_model(diagnosis, checked_by_fast_model):
    (best,) = diagnosis(fast_rows(left=1.5), 1, model="fe").supported
    assert (best.cause, best.scope) == (Cause("slack", "%"), TAKEN_UP)
    assert abs(best.amount - 1.5) < best.plus_minus < 0.2


def test_the_solved_check_corrects_the_predicted_effect(
    diagnosis, checked_by_fast_model, predicted
):
    """With half of the predicted effects, the amount would be too large without the check."""
    half = [replace(effect, changes=effect.changes / 2) for effect in predicted[1]]
    (best,) = diagnosis(fast_rows(left=1.0), 1, "fe", (predicted[0], half)).supported
    assert best.cause == Cause("slack", "%")
    assert best.amount == pytest.approx(1.0, abs=0.25)
    (unchecked,) = diagnosis(fast_rows(left=1.0), 1, "fast", (predicted[0], half)).supported
    assert unchecked.amount > 1.5


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("model", ["fe", "fast"])
def test_no_cause_is_supported_without_one(diagnosis, seed, model):
    found = diagnosis(fast_rows(), seed, model)
    assert found.fits
    assert found.supported == []


@pytest.mark.parametrize(
    ("kind", "change"),
    [
        ("scale", lambda twist, displacement: (1.3 * twist, displacement)),
        ("zero", lambda twist, displacement: (twist, displacement + 0.4)),
    ],
)
def test_an_error_of_a_reading_is_identified(diagnosis, kind, change):
    rows = [(*row[:4], *change(*row[4:])) for row in fast_rows()]
    (best,) = diagnosis(rows, 1, model="fe").supported
    of = {"scale": "twist", "zero": "displacement"}[kind]
    amount = {"scale": 30.0, "zero": 0.4}[kind]
    assert (best.cause.kind, best.cause.of, best.scope) == (kind, of, Scope())
    assert abs(best.amount - amount) < best.plus_minus


@pytest.mark.parametrize("model", ["fe", "fast"])
def test_rows_that_are_not_reached_are_ignored(diagnosis, checked_by_fast_model, model):
    """The study ends at 13 kPa; a row beyond it has no value."""
    rows = fast_rows(left=1.5)
    more = [*rows, *((*row[:3], 20.0, *row[4:]) for row in rows[::8])]
    found, without = diagnosis(more, 1, model, None), diagnosis(rows, 1, model)
    (best,), (expected,) = found.supported, without.supported
    assert (best.cause, best.scope) == (expected.cause, expected.scope) == (SLACK, TAKEN_UP)
    assert found.points == without.points
    assert best.amount == pytest.approx(expected.amount, abs=0.05)


def test_a_quantity_without_values_is_ignored():
    """The second quantity has no values: the fit is that of the first."""
    amounts, rng = np.array([-2.0, 0.0, 2.0]), np.random.default_rng(1)
    per_unit = rng.normal(size=20)
    one = evidence(0.7 * per_unit + 0.1 * rng.normal(size=20), np.zeros(20))
    nothing = np.full((20, 1), np.nan)
    changes = amounts[:, None, None] * per_unit[None, :, None]
    effect = Effect(Cause("angle", "deg"), amounts, changes, by_fast=False)
    measures = [*one.measures, Measure(table.displacement)]
    rows = one.rows.assign(displacement_mm=1.0)
    both = replace(
        one,
        rows=rows,
        measures=measures,
        measured=np.hstack([one.measured, np.ones((20, 1))]),
        values=np.hstack([one.values, nothing]),
        fast_values=np.hstack([one.fast_values, nothing]),
    )
    wider = replace(effect, changes=np.concatenate([changes, np.nan * changes], axis=2))
    assert both.fit(wider, Scope()) == one.fit(effect, Scope())


@pytest.mark.parametrize("model", ["fe", "fast"])
@pytest.mark.parametrize("std", [None, 1e-6])
@pytest.mark.parametrize("error", [0.0, 1e-10])
def test_no_cause_is_supported_if_all_values_agree(predicted, tmp_path, model, std, error):
    """Also with round-off only, and with a stated standard deviation of 1e-6 deg."""
    bench = make_bench(tmp_path, fast_rows())
    curves = find_curves(bench, make_study_result(), ["fast"])
    rows = match(bench, curves, ["fast"]).assign(model=model)
    for measure in bench.measures:
        rows[measure.column] = (1 + error) * rows[measure.column + ".model"]
        rows[measure.std] = std
    chosen = rows.drop(columns=[m.std for m in bench.measures]) if std is None else rows
    found = diagnose(chosen, bench, model, by_case(curves), predicted)
    assert found.supported == []
    assert np.isfinite([found.bic, *(fit.bic for fit in found.fits)]).all()


def test_a_quantity_that_is_zero_everywhere_has_no_effect():
    """Neither model nor measurements have a twist."""
    found = evidence(np.zeros(20), np.zeros(20), std=np.nan)
    without_std = replace(found, rows=found.rows.drop(columns="twist_deg.std"))
    amounts = np.array([-1.0, 0.0, 1.0])
    effect = Effect(Cause("zero", "deg"), amounts, amounts[:, None, None] * np.ones((20, 1)))
    fit = without_std.fit(replace(effect, by_fast=False), Scope())
    assert (fit.amount, fit.explained) == (pytest.approx(0, abs=1e-6), 0.0)
    assert fit.bic > without_std.bic


def test_a_cause_that_explains_all_residuals_is_identified(diagnosis):
    """A reading that is 10 % too high, without noise."""
    rows = [(*row[:4], 1.1 * row[4], row[5]) for row in fast_rows() if row[3] != 7.5]
    (best,) = diagnosis(rows, None, "fe", None).supported
    assert (best.cause.kind, best.cause.of) == ("scale", "twist")
    assert best.amount == pytest.approx(10, abs=0.01)


def test_too_few_settings_give_no_fits(tmp_path):
    bench = make_bench(tmp_path, fast_rows(left=1.5)[:16], 1)
    assert len(bench.cases) == 2
    curves = find_curves(bench, make_study_result(), ["fast"])
    matched = match(bench, curves, ["fast"])
    found = diagnose(matched, bench, "fast", by_case(curves), predict(bench))
    assert (found.settings, found.fits, found.supported) == (2, [], [])


def test_reading_errors_and_noise_need_no_check(diagnosis, monkeypatch):
    def refuse(*_):
        raise AssertionError("no check is needed")

    monkeypatch.setattr(module, "solve_curves", refuse)
    assert not diagnosis(fast_rows(), 0, model="fe").supported
    assert diagnosis([(*row[:5], row[5] + 0.4) for row in fast_rows()], 0, model="fe").supported


# --------------------------------------------------------------------------- the shipped bench file


@pytest.fixture(scope="module")
def shipped():
    """Return the result of the shipped study for the settings of the shipped bench file."""
    study = Study.load(CASES / "greenhouse_wrist.study.toml")
    bench = read_bench(CASES / "greenhouse_wrist.bench.csv", study.base)
    cases = list(bench.cases.values())
    tasks = [Task(model, tuple(cases), study.resolution) for model in study.models]
    curves = [solved.curve for task in tasks for solved in solve_task(task)]
    return StudyResult(study, tabulate(study, cases, curves), {"not_reached": []})


@pytest.mark.slow
@pytest.mark.parametrize("models", [["fast"], ["fe"]])
def test_the_slack_in_the_shipped_bench_file_is_identified(shipped, models):
    """tools/invent_bench.py put 1.5 % into the rows "taken up"."""
    bench = read_bench(CASES / "greenhouse_wrist.bench.csv", shipped.study.base)
    comparison = compare_with_bench(shipped, bench, models)
    (best,) = comparison.diagnosis.supported
    assert (best.cause, best.scope) == (Cause("slack", "%"), TAKEN_UP)
    assert abs(best.amount - 1.5) < best.plus_minus
    assert best.plus_minus < {"fast": 0.8, "fe": 0.1}[models[0]]
    table = comparison.summary[comparison.summary.measure == "twist"].set_index("value")
    if models == ["fe"]:
        assert table.loc["cut at 30 deg"].within_95 > 0.9
        assert table.loc["taken up"].within_95 < 0.6


@pytest.mark.slow
def test_a_zero_error_of_the_gauge_is_identified_for_the_fe_model(shipped, tmp_path):
    """Measurements made by the FE model, at a pressure 0.8 kPa above the gauge reading."""
    bench = read_bench(CASES / "greenhouse_wrist.bench.csv", shipped.study.base)
    curves = find_curves(bench, shipped, ["fe"])
    bench = replace(bench, table=bench.table[bench.table.pressure_kPa < 15].reset_index(drop=True))
    rows, predicted = match(bench, curves, ["fe"]), predict(bench)
    moved = values_at_measurements(bench, by_case(curves, "fe"), 0.8)
    for seed in SEEDS:
        rng, noisy = np.random.default_rng(seed), rows.copy()
        for number, measure in enumerate(bench.measures):
            noise = rng.normal(size=len(rows)) * rows[measure.std]
            noisy[measure.column] = moved[:, number] + noise
        (best,) = diagnose(noisy, bench, "fe", by_case(curves, "fe"), predicted).supported
        assert (best.cause.kind, best.scope) == ("gauge", Scope())
        assert abs(best.amount - 0.8) < max(best.plus_minus, 0.05)
        assert best.plus_minus < 0.1


@pytest.mark.slow
def test_no_cause_is_supported_for_measurements_made_by_the_fe_model(shipped, tmp_path):
    """Neither noise alone nor the end effects, which the fast model neglects, are a cause."""
    study_result = shipped
    bench = read_bench(CASES / "greenhouse_wrist.bench.csv", study_result.study.base)
    curves = find_curves(bench, study_result, ["fe", "fast"])
    rows = match(bench, curves, ["fe", "fast"])
    predicted = predict(bench)
    fe_rows = rows[rows.model == "fe"]
    for seed in SEEDS:
        rng = np.random.default_rng(seed)
        noisy = rows.copy()
        for measure in bench.measures:
            noise = rng.normal(size=len(fe_rows)) * fe_rows[measure.std].to_numpy()
            noisy[measure.column] = np.tile(fe_rows[measure.column + ".model"] + noise, 2)
        for model in ("fe", "fast"):
            found = diagnose(noisy, bench, model, by_case(curves, model), predicted)
            assert found.supported == [], (seed, model)
