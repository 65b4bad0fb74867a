"""Studies with a known difference of both models: invented tables, nothing is solved."""

from pathlib import Path

import numpy as np
import pandas

from fem.continuation.load_steps import steps_of
from fem.quantities.case_fields import cells
from fem.study.plan import Study
from fem.study.study_result import StudyResult
from tests.helpers.records import study_record

CASES = Path(__file__).parents[2] / "cases"
ANGLES = {"from": "-30 deg", "to": "30 deg"}


def make_study(vary, steps=5, case="greenhouse_wrist.toml", **more):
    data = {"title": "Toy", "case": case, "models": ["fast", "fe"], "vary": vary}
    data["set"] = {"pressure.steps": steps, **more.pop("set", {})}
    return Study.parse(data | more, CASES)


def two_angles(count=None, **more):
    vary = [{"field": f"threads.{name}.angle", **ANGLES} for name in "AB"]
    if count:
        vary = [table | {"count": count} for table in vary]
    return make_study(vary, **more)


def driven(study, **drive):
    """Return a study with another drive than pressure."""
    data = {key: value for key, value in study.base.data.items() if key != "pressure"}
    return Study.restore({**study.data, "set": {}}, data | drive)


def tabulated(study, fast, difference, ends=None):
    """Return a study result from functions of the varied fields and the pressure (kPa).

    `fast` and `difference` return columns of the step table, `ends` the last step of a model.
    """
    rows = []
    for setting in study.settings:
        case = study.case_of(setting)
        own = cells(case, study.fields)
        top, steps = (1e3 * case.pressure.end if case.pressure else 12.0), steps_of(case)
        for model in study.models:
            last = ends(model, own) if ends else steps
            for step in range(last + 1):
                pressure = top * step / steps
                row = {"case": case.key, "model": model, **own, "step": step}
                row |= {"pressure_kPa": pressure, "requested": True}
                values = fast(own, pressure)
                if model == "fe":
                    more = difference(own, pressure)
                    values = {name: value + more.get(name, 0.0) for name, value in values.items()}
                rows.append(row | values | {"stable": True, "limit": False})
    return StudyResult(study, pandas.DataFrame(rows), study_record(study))


def of_angles(function):
    """Return a function of the cells that calls another with both helix angles (rad)."""
    return lambda own, pressure: function(
        *(np.radians(own[f"angle_deg.{name}"]) for name in "AB"), pressure
    )
