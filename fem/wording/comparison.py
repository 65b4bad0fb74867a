"""Sentences on a comparison: the single cause that explains the residuals, if there is one."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from fem.compare.diagnose import Diagnosis
from fem.compare.fit import Fit, Scope
from fem.measurements.bench import Bench
from fem.measurements.columns import PRESSURE
from fem.results.termination import restore
from fem.wording.run_sections import NAMES
from fem.wording.termination import reason


def not_reached(entry: Mapping[str, Any]) -> str:
    """Return why a model has no value for an entry of :func:`fem.compare.match.unreached`."""
    end, known = restore(entry["termination"]), entry["curve_kPa"]
    if known is None:
        return reason(end)
    begin, last = (PRESSURE.text({PRESSURE.column: pressure}) for pressure in known)
    if entry[PRESSURE.column] < known[0]:
        return f"the curve begins at {begin}"
    return reason(end) or f"the curve ends at {last}, its last step"


def diagnosis_lines(found: Diagnosis, bench: Bench) -> Iterator[str]:
    """Yield what the residuals of the compared model indicate, one finding a line."""
    yield from diagnosis_lines_in(found, {measure.name: measure.unit for measure in bench.measures})


def diagnosis_lines_in(found: Diagnosis, units: Mapping[str, str]) -> Iterator[str]:
    """Yield the same, given only the units of the measured quantities."""
    name = NAMES[found.model]
    if not found.fits:
        yield f"{name}: too few settings ({found.settings}) to identify a cause"
        return
    if not found.supported:
        yield f"{name}: the data support no single cause"
        return
    best, *others = found.supported
    yield f"{name}: likely cause for {_rows(best.scope)}: {cause_text(best)} ({_gain(best, units)})"
    if others:
        causes = "; ".join(f"{cause_text(fit)} ({_rows(fit.scope)})" for fit in others)
        yield f"{name}: the data cannot distinguish this from {causes}"
    elif found.next_best:
        yield (
            f"{name}: the next best single cause, {cause_text(found.next_best)}, explains less "
            f"({_gain(found.next_best, units)})"
        )
    if found.model == "fast":
        yield "fast: neglected end effects bias these amounts; compare the FE model as well"


def _rows(scope: Scope) -> str:
    if not scope.rule:
        return "all rows"
    return f'the rows with {scope.rule.replace("_", " ")} "{scope.value}"'


def _gain(fit: Fit, units: Mapping[str, str]) -> str:
    """Return the RMS errors without and with the cause."""
    changes = [
        f"RMS error of {name.replace('_', ' ')} {was:.2g} → {now:.2g} {units[name]}"
        for name, (was, now) in fit.rms.items()
    ]
    return ", ".join(changes)


def cause_text(fit: Fit) -> str:
    """Return a cause and its amount in words."""
    cause, interval = fit.cause, math.inf if fit.at_bound else fit.plus_minus
    size = value_text(abs(fit.amount), interval, cause.unit)
    more = fit.amount > 0
    least = "at least " if fit.at_bound else ""
    of = f" {cause.of.replace('_', ' ')}" if cause.of else ""
    family = f" of family{of}" if of else ""
    match cause.kind:
        case "slack":
            words = "more slack than stated" if more else "less slack than stated"
            where = f" in family{of}" if of else ""
            spools = ", left on the spools" if more and fit.scope.value == "taken up" else ""
            return f"{least}{size} {words}{where}{spools}"
        case "stiffness":
            return f"rubber {least}{size} {'stiffer' if more else 'softer'} than stated"
        case "angle":
            return (
                f"helix angles{family} {least}{size} {'larger' if more else 'smaller'} than stated"
            )
        case "gauge":
            return f"pressure {least}{size} {'above' if more else 'below'} the gauge reading"
        case "scale":
            return f"reading of{of} {least}{size} too {'high' if more else 'low'}"
        case "zero":
            return f"zero of the{of} reading {least}{size} too {'high' if more else 'low'}"


def count_text(number: int, word: str) -> str:
    """Return a number and its noun, in the plural unless it is 1."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def value_text(size: float, plus_minus: float, unit: str) -> str:
    """Return an amount with its interval, in as many digits as the interval justifies."""
    if not 0 < plus_minus < math.inf:
        return f"{size:.3g} {unit}"
    digits = max(0, -math.floor(math.log10(plus_minus / 2)))
    return f"{size:.{digits}f} ± {plus_minus:.{digits}f} {unit}"
