"""What is off: found and named where it is built in, and nothing named where nothing is."""

from dataclasses import replace

import numpy as np
import pandas
import pytest

from fem.case.case import CaseError
from fem.compare import causes
from fem.compare import diagnose as diagnosing
from fem.compare.altered import loosened, stiffened, turned
from fem.compare.causes import Cause, Effect, gauge, predict
from fem.compare.comparison import compare_with_bench
from fem.compare.curve import Curve
from fem.compare.diagnose import diagnose
from fem.compare.fit import Evidence, Scope
from fem.compare.match import find_curves, match, read
from fem.measurements.bench import read_bench
from fem.quantities import table
from fem.quantities.column import Measure
from fem.study.plan import Study
from fem.study.study_result import StudyResult, tabulate
from fem.study.worker import Task, solve_task
from tests.helpers.compared import CASES, fast_rows, make_bench, make_study_result

SEEDS = range(6)
TAKEN_UP = Scope("slack", "taken up")
SLACK = Cause("slack", "%")


@pytest.fixture(scope="module")
def predicted(tmp_path_factory):
    """Return what the fast model predicts; it hangs on settings and pressures alone."""
    return predict(make_bench(tmp_path_factory.mktemp("bench"), fast_rows()))


def by_case(curves, model="fast"):
    return {key: curve for (key, name), curve in curves.items() if name == model}


@pytest.fixture
def held(tmp_path, predicted):
    """Return a function that diagnoses a bench; what it compares is the fast model.

    Of other settings or pressures than those of the usual bench it has to be predicted anew: None.

    Taken for the FE model it is trusted as such, and mended by itself.
    """

    def hold(rows, seed, model="fast", predicted=predicted):
        bench = make_bench(tmp_path, rows, seed)
        predicted = predicted or predict(bench)
        curves = find_curves(bench, make_study_result(), ["fast"])
        matched = match(bench, curves, ["fast"]).assign(model=model)
        return diagnose(matched, bench, model, by_case(curves), predicted)

    return hold


@pytest.fixture
def mended_by_itself(monkeypatch):
    """Let what is named of the FE model be solved by the model that plays its part."""

    solved = diagnosing.solved
    monkeypatch.setattr(
        diagnosing, "solved", lambda case, _, *others: solved(case, "fast", *others)
    )


# ------------------------------------------------------------------------ what is altered of a case


def test_slack_is_added_to_the_natural_length(make_case):
    case = make_case(threads__1__slack="3 %")
    altered = loosened(["A", "B"])(case, 2.0)
    lengths = [(c.threads[n].natural(1.0)) for n in (0, 1) for c in (altered, case)]
    assert lengths[0] / lengths[1] == pytest.approx(1.02)
    assert lengths[2] / lengths[3] == pytest.approx(1.02)
    alone = loosened(["B"])(case, 2.0)
    assert alone.threads[0] == case.threads[0]


def test_no_thread_is_wound_beyond_just_taut(make_case):
    case = make_case(threads__0__slack="3 %", threads__1__slack="cut at 20 deg")
    altered = loosened(["A", "B"])(case, -5.0)
    assert altered.threads[0].slack_strain == 0
    assert altered.threads[1].slack_strain == pytest.approx(case.threads[1].slack_strain)
    assert case.threads[1].slack_strain < 0, "cut too short for its angle"


def test_threads_of_twice_their_length_are_loosened_too(make_case):
    """A rule in per cent ends at 100 %."""
    case = make_case(threads__0__slack="cut at 80 deg")
    assert case.threads[0].slack_strain > 4
    altered = loosened(["A"])(case, 2.0)
    ratio = altered.threads[0].natural(1.0) / case.threads[0].natural(1.0)
    assert ratio == pytest.approx(1.02, rel=1e-14)


def test_tube_that_cannot_be_made_changes_nothing_further(monkeypatch, tmp_path):
    """Turned by 200 deg no thread runs along the tube; it counts as the nearest amount that can."""
    with pytest.raises(CaseError, match="less than 90 deg"):
        turned(["A"])(next(iter(make_bench(tmp_path, fast_rows()).cases.values())), 200.0)
    monkeypatch.setattr(causes, "ANGLES", np.array([0.0, 2.0, 200.0]))
    effects = predict(make_bench(tmp_path, fast_rows()))[1]
    (angle,) = (effect for effect in effects if effect.cause == Cause("angle", "deg"))
    assert np.abs(angle.changes[1]).max() > 0
    assert np.array_equal(angle.changes[2], angle.changes[1])


def test_angles_are_turned(make_case):
    case = make_case(threads__0__angle=None, threads__0__ring_turn="100 deg")
    altered = turned(["A"])(case, 3.0)
    assert np.degrees(altered.threads[0].angle - case.threads[0].angle) == pytest.approx(3)
    assert altered.threads[0].ring_turn is None
    assert altered.threads[1] == case.threads[1]


def shear_modulus(case):
    return case.rubber.constitutive_law.shear_modulus


def test_every_rubber_is_stiffened(make_case, rubbers):
    """The shear modulus at rest is linear in the stresses of every law."""
    for data in rubbers.values():
        case = make_case(rubber=data)
        altered = stiffened(case, 20.0)
        ratio = shear_modulus(altered) / shear_modulus(case)
        assert ratio == pytest.approx(1.2, rel=1e-12)
        assert altered.rubber.constitutive_law.locking == case.rubber.constitutive_law.locking


# ------------------------------------------------------------------------------- the fit by itself


def evidence(bench, said, std=1.0):
    """Return the evidence of a twist at settings of five rows each."""
    rows = pandas.DataFrame({"case": np.arange(len(bench)) // 5, "twist_deg": bench})
    rows["twist_deg.std"] = std
    figures = np.asarray(said, dtype=float)[:, None]
    twist = Measure(table.twist)
    return Evidence("fe", rows, [twist], np.asarray(bench)[:, None], figures, figures)


def test_the_amount_is_that_of_weighted_least_squares():
    """For an effect in proportion to the amount: a = sum(w d r) / sum(w d^2), by hand."""
    rng = np.random.default_rng(2)
    said, per_one = rng.normal(scale=0.01, size=60), rng.normal(size=60)
    std = rng.uniform(0.5, 2.0, size=60)
    bench = said + 0.7 * per_one + std * rng.normal(size=60)
    amounts = np.array([-2.0, 0.0, 2.0])
    changes = amounts[:, None, None] * per_one[None, :, None]
    found = evidence(bench, said, std).fit(
        Effect(Cause("angle", "deg"), amounts, changes, by_fast=False), Scope()
    )
    weight = 1 / std**2
    expected = np.sum(weight * per_one * (bench - said)) / np.sum(weight * per_one**2)
    assert found.amount == pytest.approx(expected, rel=1e-3)
    chance = 2.0 / np.sqrt(np.sum(weight * per_one**2))
    assert found.plus_minus == pytest.approx(chance, rel=0.5)
    assert not found.at_bound


def test_intervals_hold_the_truth_as_often_as_they_say():
    rng = np.random.default_rng(3)
    amounts = np.array([-2.0, 0.0, 2.0])
    inside = 0
    for _ in range(200):
        per_one = rng.normal(size=60)
        bench = 0.5 * per_one + rng.normal(size=60)
        changes = amounts[:, None, None] * per_one[None, :, None]
        effect = Effect(Cause("angle", "deg"), amounts, changes, by_fast=False)
        found = evidence(bench, np.zeros(60)).fit(effect, Scope())
        inside += abs(found.amount - 0.5) < found.plus_minus
    assert 0.92 < inside / 200 < 1.0


def test_an_effect_is_scaled_as_the_models_are():
    """A model of half the fast model's figures shows half of its changes."""
    amounts = np.array([0.0, 1.0])
    plain = np.linspace(1, 5, 20)
    effect = Effect(Cause("stiffness", "%"), amounts, amounts[:, None, None] * plain[:, None])
    held = evidence(0.5 * plain + 0.5 * 0.3 * plain, 0.5 * plain)
    held = replace(held, plain=plain[:, None])
    assert held.slope == pytest.approx([0.5])
    assert held.fit(effect, Scope()).amount == pytest.approx(0.3, rel=1e-4)


def test_the_models_own_error_adds_to_that_of_the_measurement():
    """Independent errors add by their squares; 1 % of 100 deg, and 15 % of 20 deg, by hand."""
    held = evidence(np.zeros(2), [100.0, 20.0])
    assert held.sigma[0, 0] == pytest.approx(np.sqrt(2))
    assert replace(held, model="fast").sigma[1, 0] == pytest.approx(np.sqrt(10))


def test_an_amount_at_the_end_of_what_was_tried_is_told():
    amounts = np.array([-1.0, 0.0, 1.0])
    ones = np.ones(20)
    effect = Effect(Cause("zero", "deg"), amounts, amounts[:, None, None] * ones[:, None])
    found = evidence(3 * ones + np.linspace(-0.1, 0.1, 20), 0.01 * ones).fit(
        replace(effect, by_fast=False), Scope()
    )
    assert found.at_bound
    assert found.amount == pytest.approx(1.0, abs=1e-3)


def test_mending_puts_the_effect_through_what_was_solved():
    amounts = np.array([0.0, 1.0, 2.0])
    effect = Effect(Cause("slack", "%"), amounts, amounts[:, None, None] * np.array([[1.0, 1.0]]))
    mended = effect.through(1.5, np.array([[6.0, np.nan]]), np.array([2.0, 2.0]))
    assert mended.at(1.5) == pytest.approx(np.array([[6.0, 3.0]]))
    assert mended.at(0.0) == pytest.approx(np.array([[0.0, 0.0]]))
    assert not mended.by_fast


def test_the_zero_of_the_gauge_moves_along_the_models_own_curve(tmp_path):
    """On y = x^2 a shift s changes y by 2 x s + s^2; beyond 13 kPa the fast model goes on."""
    bench = make_bench(tmp_path, fast_rows()[:8])  # 3 to 13 kPa at one setting
    steps = np.linspace(0, 13, 261)
    columns = {"step": range(261), "requested": True, "pressure_kPa": steps, "twist_deg": steps**2}
    (key,) = bench.cases
    (fast,) = (effect for effect in predict(bench)[1] if effect.cause.kind == "gauge")
    found = gauge(bench, {key: Curve.of(pandas.DataFrame(columns))}, fast, np.array([2.0, 1.0]))
    assert not found.by_fast
    pressures = bench.table.pressure_kPa.to_numpy()
    for amount in (-1.3, -0.65, 0.0, 0.65):
        expected = 2 * pressures * amount + amount**2
        inside = pressures + amount <= 13
        assert found.at(amount)[inside, 0] == pytest.approx(expected[inside], abs=1e-3)
    assert found.at(1.3)[-1, 0] == pytest.approx(2 * fast.at(1.3)[-1, 0])
    step = fast.at(1.3)[-2, 0] - fast.at(0.975)[-2, 0]
    assert found.at(1.3)[-2, 0] - found.at(0.975)[-2, 0] == pytest.approx(2 * step)


# ------------------------------------------------------------------------------- what is built in


def test_slack_left_in_the_rows_of_one_rule_is_named(held):
    inside = 0
    for seed in range(12):
        found = held(fast_rows(left=1.5), seed)
        (best,) = found.found
        assert (best.cause, best.scope) == (Cause("slack", "%"), TAKEN_UP)
        assert best.plus_minus < 0.5
        assert abs(best.amount - 1.5) < 2 * best.plus_minus
        inside += abs(best.amount - 1.5) < best.plus_minus
        was, now = best.rms["twist"]
        assert was > 2.5 and now < 1.5, "what is left is noise"
        assert found.next.bic - best.bic > diagnosing.APART
    assert inside >= 9, "intervals of 95 % miss more than 3 times in 12 once in 500"


def test_it_is_named_of_the_finite_element_model_too(held, mended_by_itself):
    (best,) = held(fast_rows(left=1.5), 1, model="fe").found
    assert (best.cause, best.scope) == (Cause("slack", "%"), TAKEN_UP)
    assert abs(best.amount - 1.5) < best.plus_minus < 0.2


def test_what_is_solved_mends_what_was_predicted(held, mended_by_itself, predicted):
    """Were the effects predicted too small by half, the amount would come out too great."""
    half = [replace(effect, changes=effect.changes / 2) for effect in predicted[1]]
    (best,) = held(fast_rows(left=1.0), 1, "fe", (predicted[0], half)).found
    assert best.cause == Cause("slack", "%")
    assert best.amount == pytest.approx(1.0, abs=0.25)
    (trusted,) = held(fast_rows(left=1.0), 1, "fast", (predicted[0], half)).found
    assert trusted.amount > 1.5


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("model", ["fe", "fast"])
def test_nothing_is_named_where_nothing_is_off(held, seed, model):
    found = held(fast_rows(), seed, model)
    assert found.fits
    assert found.found == []


@pytest.mark.parametrize(
    ("kind", "alter"),
    [
        ("scale", lambda twist, displacement: (1.3 * twist, displacement)),
        ("zero", lambda twist, displacement: (twist, displacement + 0.4)),
    ],
)
def test_a_wrong_read_out_is_named_as_such(held, kind, alter):
    rows = [(*row[:4], *alter(*row[4:])) for row in fast_rows()]
    (best,) = held(rows, 1, model="fe").found
    of = {"scale": "twist", "zero": "displacement"}[kind]
    amount = {"scale": 30.0, "zero": 0.4}[kind]
    assert (best.cause.kind, best.cause.of, best.scope) == (kind, of, Scope())
    assert abs(best.amount - amount) < best.plus_minus


@pytest.mark.parametrize("model", ["fe", "fast"])
def test_what_is_not_reached_does_not_count(held, mended_by_itself, model):
    """The study ends at 13 kPa; a row beyond it has no figure, and no say."""
    rows = fast_rows(left=1.5)
    more = [*rows, *((*row[:3], 20.0, *row[4:]) for row in rows[::8])]
    found, without = held(more, 1, model, None), held(rows, 1, model)
    (best,), (expected,) = found.found, without.found
    assert (best.cause, best.scope) == (expected.cause, expected.scope) == (SLACK, TAKEN_UP)
    assert found.points == without.points
    assert best.amount == pytest.approx(expected.amount, abs=0.05)


def test_a_quantity_that_is_reached_nowhere_has_no_say():
    """Of two quantities the second has no figure: the fit is that of the first alone."""
    amounts, rng = np.array([-2.0, 0.0, 2.0]), np.random.default_rng(1)
    per_one = rng.normal(size=20)
    one = evidence(0.7 * per_one + 0.1 * rng.normal(size=20), np.zeros(20))
    nothing = np.full((20, 1), np.nan)
    changes = amounts[:, None, None] * per_one[None, :, None]
    effect = Effect(Cause("angle", "deg"), amounts, changes, by_fast=False)
    measures = [*one.measures, Measure(table.displacement)]
    rows = one.rows.assign(displacement_mm=1.0)
    both = replace(
        one,
        rows=rows,
        measures=measures,
        bench=np.hstack([one.bench, np.ones((20, 1))]),
        said=np.hstack([one.said, nothing]),
        plain=np.hstack([one.plain, nothing]),
    )
    wider = replace(effect, changes=np.concatenate([changes, np.nan * changes], axis=2))
    assert both.fit(wider, Scope()) == one.fit(effect, Scope())


@pytest.mark.parametrize("model", ["fe", "fast"])
@pytest.mark.parametrize("std", [None, 1e-6])
@pytest.mark.parametrize("off", [0.0, 1e-10])
def test_nothing_is_named_where_all_agrees_exactly(predicted, tmp_path, model, std, off):
    """Nor where rounding is all that is left. A deviation of 1e-6 deg is one that nobody states."""
    bench = make_bench(tmp_path, fast_rows())
    curves = find_curves(bench, make_study_result(), ["fast"])
    rows = match(bench, curves, ["fast"]).assign(model=model)
    for measure in bench.measures:
        rows[measure.column] = (1 + off) * rows[measure.column + ".model"]
        rows[measure.std] = std
    chosen = rows.drop(columns=[m.std for m in bench.measures]) if std is None else rows
    found = diagnose(chosen, bench, model, by_case(curves), predicted)
    assert found.found == []
    assert np.isfinite([found.bic, *(fit.bic for fit in found.fits)]).all()


def test_a_quantity_at_rest_throughout_has_no_say():
    """A tube that neither model nor bench says turns."""
    found = evidence(np.zeros(20), np.zeros(20), std=np.nan)
    bare = replace(found, rows=found.rows.drop(columns="twist_deg.std"))
    amounts = np.array([-1.0, 0.0, 1.0])
    effect = Effect(Cause("zero", "deg"), amounts, amounts[:, None, None] * np.ones((20, 1)))
    fit = bare.fit(replace(effect, by_fast=False), Scope())
    assert (fit.amount, fit.explained) == (pytest.approx(0, abs=1e-6), 0.0)
    assert fit.bic > bare.bic


def test_what_makes_all_agree_exactly_is_named(held):
    """A read-out that shows 10 % too much, and no noise at all."""
    rows = [(*row[:4], 1.1 * row[4], row[5]) for row in fast_rows() if row[3] != 7.5]
    (best,) = held(rows, None, "fe", None).found
    assert (best.cause.kind, best.cause.of) == ("scale", "twist")
    assert best.amount == pytest.approx(10, abs=0.01)


def test_too_few_settings_tell_nothing(tmp_path):
    bench = make_bench(tmp_path, fast_rows(left=1.5)[:16], 1)
    assert len(bench.cases) == 2
    curves = find_curves(bench, make_study_result(), ["fast"])
    matched = match(bench, curves, ["fast"])
    found = diagnose(matched, bench, "fast", by_case(curves), predict(bench))
    assert (found.settings, found.fits, found.found) == (2, [], [])


def test_read_outs_and_noise_need_no_further_solve(held, monkeypatch):
    def refuse(*_):
        raise AssertionError("nothing was to be solved")

    monkeypatch.setattr(diagnosing, "solved", refuse)
    assert not held(fast_rows(), 0, model="fe").found
    assert held([(*row[:5], row[5] + 0.4) for row in fast_rows()], 0, model="fe").found


# --------------------------------------------------------------------------- the shipped bench file


@pytest.fixture(scope="module")
def shipped():
    """Return the shipped study, solved where the shipped bench file asks for it."""
    study = Study.load(CASES / "greenhouse_wrist.study.toml")
    bench = read_bench(CASES / "greenhouse_wrist.bench.csv", study.base)
    cases = list(bench.cases.values())
    tasks = [Task(model, tuple(cases), study.resolution) for model in study.models]
    curves = [done.curve for task in tasks for done in solve_task(task)]
    return StudyResult(study, tabulate(study, cases, curves), {"not_reached": []})


@pytest.mark.slow
@pytest.mark.parametrize("models", [["fast"], ["fe"]])
def test_the_slack_left_in_the_shipped_bench_file_is_named(shipped, models):
    """tools/invent_bench.py left 1.5 % in the rows "taken up"."""
    bench = read_bench(CASES / "greenhouse_wrist.bench.csv", shipped.study.base)
    comparison = compare_with_bench(shipped, bench, models)
    (best,) = comparison.diagnosis.found
    assert (best.cause, best.scope) == (Cause("slack", "%"), TAKEN_UP)
    assert abs(best.amount - 1.5) < best.plus_minus
    assert best.plus_minus < {"fast": 0.8, "fe": 0.1}[models[0]]
    table = comparison.summary[comparison.summary.measure == "twist"].set_index("value")
    if models == ["fe"]:
        assert table.loc["cut at 30 deg"].within_95 > 0.9, "there nothing is off"
        assert table.loc["taken up"].within_95 < 0.6


@pytest.mark.slow
def test_a_wrong_zero_of_the_gauge_is_found_against_the_finite_element_model(shipped, tmp_path):
    """The FE model plays the bench, at a pressure 0.8 kPa above what the gauge says."""
    bench = read_bench(CASES / "greenhouse_wrist.bench.csv", shipped.study.base)
    curves = find_curves(bench, shipped, ["fe"])
    bench = replace(bench, table=bench.table[bench.table.pressure_kPa < 15].reset_index(drop=True))
    rows, predicted = match(bench, curves, ["fe"]), predict(bench)
    moved = read(bench, by_case(curves, "fe"), 0.8)
    for seed in SEEDS:
        rng, blurred = np.random.default_rng(seed), rows.copy()
        for number, measure in enumerate(bench.measures):
            noise = rng.normal(size=len(rows)) * rows[measure.std]
            blurred[measure.column] = moved[:, number] + noise
        (best,) = diagnose(blurred, bench, "fe", by_case(curves, "fe"), predicted).found
        assert (best.cause.kind, best.scope) == ("gauge", Scope())
        assert abs(best.amount - 0.8) < max(best.plus_minus, 0.05)
        assert best.plus_minus < 0.1


@pytest.mark.slow
def test_nothing_is_named_where_the_finite_element_model_plays_the_bench(shipped, tmp_path):
    """Against itself there is noise, against the fast model its end effects: neither has a name."""
    study_result = shipped
    bench = read_bench(CASES / "greenhouse_wrist.bench.csv", study_result.study.base)
    curves = find_curves(bench, study_result, ["fe", "fast"])
    rows = match(bench, curves, ["fe", "fast"])
    predicted = predict(bench)
    played = rows[rows.model == "fe"]
    for seed in SEEDS:
        rng = np.random.default_rng(seed)
        blurred = rows.copy()
        for measure in bench.measures:
            noise = rng.normal(size=len(played)) * played[measure.std].to_numpy()
            blurred[measure.column] = np.tile(played[measure.column + ".model"] + noise, 2)
        for model in ("fe", "fast"):
            found = diagnose(blurred, bench, model, by_case(curves, model), predicted)
            assert found.found == [], (seed, model)
