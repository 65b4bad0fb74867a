"""The file of a corrected fast model: NumPy arrays, and JSON text for all other data.

The fit is rebuilt from its points and hyperparameters. A pickled object could run foreign code when
it is loaded; these files cannot.
"""

from __future__ import annotations

import json
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import TypeAdapter

from fem.core.arrays import Array
from fem.core.atomic_write import stream_in_place_of
from fem.core.errors import InputError
from fem.quantities.case_fields import cells
from fem.study.plan import Study
from fem.trust.fit import Fit
from fem.trust.inputs import Inputs, Ranges

FORMAT = 2
"""Number of the layout of the file."""


READ_ERRORS = (
    *(ValueError, LookupError, TypeError, AttributeError, ArithmeticError),
    *(EOFError, RuntimeError, zipfile.BadZipFile, zlib.error),
)
"""Errors that reading of truncated, changed or foreign files raises."""


type Parts = tuple[Study, Ranges, Inputs, dict[str, Fit], dict[str, Any]]
"""Parts of a corrected model; see :class:`fem.trust.corrected.CorrectedModel`."""


def write(path: str | Path, parts: Parts) -> None:
    """Write a model.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    study, ranges, inputs, fits, facts = parts
    arrays: dict[str, Any] = {}
    for number, fit in enumerate(fits.values()):
        arrays["inputs"] = fit.inputs  # the same for all quantities
        arrays |= {f"values_{number}": fit.values, f"theta_{number}": fit.theta}
    scales = [{"column": c, "scale": f.scale, "widening": f.widening} for c, f in fits.items()]
    data = {"format": FORMAT, "study": study.data, "case": study.base.data, "fits": scales}
    data |= {"ranges": asdict(ranges), "inputs": asdict(inputs), "facts": facts}
    text = json.dumps(data, allow_nan=False)
    with stream_in_place_of(Path(path)) as stream:
        np.savez_compressed(stream, text=np.array(text), **arrays)


def read(path: str | Path) -> Parts:
    """Read what :func:`write` wrote.

    Raises
    ------
    InputError
        If the file cannot be read, or is not valid.
    """
    try:
        if Path(path).is_file() and not zipfile.is_zipfile(path):
            raise ValueError("not a complete .npz file")
        with np.load(path, allow_pickle=False) as file:
            arrays = dict(file)
        return _rebuilt(json.loads(str(arrays.pop("text"))), arrays)
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror or error}") from None
    except READ_ERRORS as error:
        reason = f"{error} is missing" if isinstance(error, KeyError) else error
        raise InputError(f"{path}: not a corrected fast model: {reason}") from None


def _rebuilt(data: dict[str, Any], arrays: Mapping[str, Array]) -> Parts:
    if data["format"] != FORMAT:
        raise ValueError(
            f"format {data['format']}; this version reads format {FORMAT}: solve the study "
            "again, and fit the model again"
        )
    study = Study.restore(data["study"], data["case"])
    if study.hash != data["facts"]["study_hash"]:
        raise ValueError("its study does not match its hash")
    ranges = TypeAdapter(Ranges).validate_python(data["ranges"])
    inputs = TypeAdapter(Inputs).validate_python(data["inputs"])
    if ranges.fields != set(cells(study.case_of(study.settings[0]), study.fields)):
        raise ValueError("its ranges do not match the fields that its study varies")
    fits = {
        fit["column"]: Fit(
            inputs=arrays["inputs"],
            values=arrays[f"values_{number}"],
            scale=fit["scale"],
            group=inputs.group(fit["column"]),
            shared=inputs.shared,
            theta=arrays[f"theta_{number}"],
            widening=fit["widening"],
        )
        for number, fit in enumerate(data["fits"])
    }
    for column, fit in fits.items():
        _check(column, fit, inputs, data["facts"]["errors"])
    return study, ranges, inputs, fits, data["facts"]


def _check(column: str, fit: Fit, inputs: Inputs, errors: Mapping[str, Any]) -> None:
    """Check that the parts of a fit are consistent.

    Raises
    ------
    ValueError
        If they are not.
    """
    if not len(inputs.names) == len(inputs.scales) == len(inputs.shared):
        raise ValueError("names, scales and sets of the inputs differ in number")
    points, sets = len(fit.values), len(set(inputs.shared))
    arrays = {
        "inputs": (fit.inputs, (points, len(inputs.names) + 1)),
        "values": (fit.values, (points,)),
        "theta": (fit.theta, (sets + 2,)),  # length scales, variance, noise
        "scale": (np.array(fit.scale), ()),
        "widening": (np.array(fit.widening), ()),
    }
    for name, (array, shape) in arrays.items():
        if array.shape != shape or array.dtype.kind not in "if" or not np.isfinite(array).all():
            size = " by ".join(map(str, shape)) or "single"
            raise ValueError(f"{name} of {column}: {size} finite numbers are required")
    if not points or column not in errors:
        raise ValueError(f"{column}: no points or no errors")
