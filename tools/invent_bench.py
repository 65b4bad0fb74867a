"""Make cases/greenhouse_wrist.bench.csv: measurements of an invented bench, by the FE model.

Every value is computed on the standard mesh; noise of the given standard deviation is added. One
fault is built in: rows with the slack "taken up" were solved with slack left. `tubewright compare`
must find it from the values alone; it does not read the comments.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from rich.progress import track

from fem import solve
from fem.core.cache import MeshCache
from fem.study.plan import Study

CASES = Path(__file__).parent.parent / "cases"
STUDY = CASES / "greenhouse_wrist.study.toml"
BENCH = CASES / "greenhouse_wrist.bench.csv"

RULES = {"taken up": "1.5 %", "cut at 30 deg": "cut at 30 deg"}
"""The slack that a row states, and the slack that it is solved with."""

ANGLES = {
    "taken up": [
        *((20, -30), (10, -20), (30, -10), (-20, 30), (-10, 25), (-25, 5), (0, 15), (15, 15)),
        *((25, 10), (-20, -10), (-5, -25), (30, -30), (12, -24), (-18, 7), (27, -13)),
    ],
    "cut at 30 deg": [
        *((30, -30), (25, -30), (30, -20), (20, -30), (-30, 25), (-25, 20), (-30, 10), (30, 0)),
        *((30, 15), (25, 25), (-30, -20), (-20, -30), (28, -22), (-24, 29)),
    ],
}
"""Helix angles of families A and B (deg); most of them are on the grid of the study."""

STEPS = 6
"""Equal steps up to the pressure of the study; most are between its steps."""

NOISE = {"twist_deg": 1.0, "displacement_mm": 0.08}
"""Standard deviation of a measurement."""

DIGITS = {"twist_deg": 1, "displacement_mm": 2}
SEED = 20

HEAD = [
    "# Invented: there is no such test rig, and nothing was measured.",
    "# Made by tools/invent_bench.py: results of the FE model on the standard mesh with noise",
    "# of the given standard deviations (normal).",
    '# Deliberate error: the rows "taken up" were solved with 1.5 % of slack left.',
]
COLUMNS = [
    *("angle.A [deg]", "angle.B [deg]", "slack", "pressure [kPa]"),
    *("twist [deg]", "twist.std [deg]", "displacement [mm]", "displacement.std [mm]"),
]


def main() -> None:
    """Solve the settings and write the file."""
    rng = np.random.default_rng(SEED)
    settings = [(rule, *pair) for rule, pairs in ANGLES.items() for pair in pairs]
    base, mesh_cache = Study.load(STUDY).base, MeshCache()
    rows: list[list[Any]] = []
    for rule, first, second in track(settings):
        case = base.changed(
            pressure__steps=STEPS,
            threads__0__angle=f"{first} deg",
            threads__1__angle=f"{second} deg",
            threads__0__slack=RULES[rule],
            threads__1__slack=RULES[rule],
        )
        (run,) = solve(case, "fe", "standard", mesh_cache=mesh_cache).runs
        states = [row for row in run.rows[1:] if row["requested"]]
        rows += [
            [first, second, rule, f"{state['pressure_kPa']:g}", *_measured(state, rng)]
            for state in states
        ]
    with open(BENCH, "w", newline="", encoding="utf-8") as file:
        file.writelines(f"{line}\n" for line in HEAD)
        csv.writer(file, lineterminator="\n").writerows([COLUMNS, *rows])


def _measured(state: dict[str, Any], rng: np.random.Generator) -> Iterator[str]:
    """Yield the values of a state with noise, each with its standard deviation."""
    for name, std in NOISE.items():
        yield f"{rng.normal(state[name], std):.{DIGITS[name]}f}"
        yield f"{std:g}"


if __name__ == "__main__":
    main()
