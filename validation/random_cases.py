"""Random but valid cases, reproducible by seed.

All rubber laws, one to three families of 3 to 48 threads at -80 to 80 deg, bonded and sliding, any
slack rule, pressures up to three times the limit of the bare neo-Hookean tube.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from fem.case.case import Case, CaseError

Random = np.random.Generator


def rubber(random: Random) -> dict[str, Any]:
    """Return a rubber of a random law with a shear modulus of 20 to 500 kPa."""
    mu = random.uniform(20, 500)
    share = random.uniform(0, 0.6)
    laws: list[dict[str, Any]] = [
        {"law": "neo-Hookean", "shear_modulus": f"{mu} kPa"},
        {
            "law": "Mooney-Rivlin",
            "c1": f"{mu / 2 * (1 - share)} kPa",
            "c2": f"{mu / 2 * share} kPa",
        },
        {"law": "Yeoh", "c1": f"{mu / 2} kPa", "c2": f"{mu * share / 50} kPa", "c3": "0 kPa"},
        {"law": "Gent", "shear_modulus": f"{mu} kPa", "limit": float(random.uniform(10, 100))},
        {
            "law": "Ogden",
            "terms": [
                {"modulus": f"{mu * (1 - share) * 2 / 1.3} kPa", "exponent": 1.3},
                {"modulus": f"{-mu * share} kPa", "exponent": -2.0},
            ],
        },
    ]
    return laws[random.integers(len(laws))]


def slack(random: Random, angle: float) -> str:
    """Return a random slack rule at a helix angle (deg)."""
    rules = [
        "taken up",
        f"{random.uniform(0, 15)} %",
        f"cut at {np.clip(angle + random.uniform(-20, 20), -80, 80)} deg",
    ]
    return rules[random.integers(len(rules))]


def family(random: Random, name: str, holds: Sequence[str]) -> dict[str, Any]:
    """Return a random family of threads."""
    angle = random.uniform(-80, 80)
    return {
        "name": name,
        "count": int(random.integers(3, 49)),
        "angle": f"{angle} deg",
        "stiffness": f"{10 ** random.uniform(1, 4)} N",
        "hold": holds[int(random.integers(len(holds)))],
        "slack": slack(random, angle),
    }


def random_case(seed: int, holds: Sequence[str] = ("bonded", "sliding")) -> Case:
    """Return the case of a seed: the first valid one of its random numbers.

    `holds` are the allowed values of the key `hold`.
    """
    random = np.random.default_rng(seed)
    while True:
        try:
            return _draw(random, f"random case {seed}", holds)
        except CaseError:
            continue


def _draw(random: Random, title: str, holds: Sequence[str]) -> Case:
    bore = random.uniform(2, 15)
    ratio = random.uniform(0.1, 0.6)
    data = {
        "title": title,
        "tube": {
            "bore_radius": f"{bore} mm",
            "wall": f"{bore * ratio} mm",
            "length": f"{bore * random.uniform(5, 20)} mm",
        },
        "rubber": rubber(random),
        "threads": [family(random, name, holds) for name in "ABC"[: random.integers(1, 4)]],
        "pressure": {"end": "1 kPa", "steps": int(random.integers(2, 6))},
    }
    case = Case.parse(data)
    # thin tubes balloon at 0.75 mu times wall over mean radius (Green & Zerna; see test_balloon.py)
    limit = 0.75 * case.rubber.constitutive_law.shear_modulus * ratio / (1 + ratio / 2)
    return case.changed(pressure__end=f"{1e3 * limit * random.uniform(0.1, 3)} kPa")
