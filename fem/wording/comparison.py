"""Sentences on a comparison: what single cause explains the residuals, or that none does."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from fem.compare.diagnose import Diagnosis
from fem.compare.fit import Fit, Scope
from fem.measurements.bench import Bench
from fem.measurements.columns import GAUGE
from fem.results.termination import restore
from fem.wording.run_sections import NAMES
from fem.wording.termination import reason


def not_reached(entry: Mapping[str, Any]) -> str:
    """Return why a model has no value for an entry of :func:`fem.compare.match.unreached`."""
    end, known = restore(entry["termination"]), entry["curve_kPa"]
    if known is None:
        return reason(end)
    begin, last = (GAUGE.text({GAUGE.column: pressure}) for pressure in known)
    if entry[GAUGE.column] < known[0]:
        return f"the curve begins at {begin}"
    return reason(end) or f"the curve ends at {last}, its last step"


def diagnosis_lines(found: Diagnosis, bench: Bench) -> Iterator[str]:
    """Yield what is to be said of the residuals of the compared model, a line each."""
    yield from diagnosis_lines_in(found, {measure.name: measure.unit for measure in bench.measures})


def diagnosis_lines_in(found: Diagnosis, units: Mapping[str, str]) -> Iterator[str]:
    """Yield the same by the units of the measured quantities alone."""
    name = NAMES[found.model]
    if not found.fits:
        yield f"{name}: too few settings ({found.settings}) to tell what may be off"
        return
    if not found.found:
        yield f"{name}: no single cause that would be off is supported by the data"
        return
    best, *others = found.found
    yield f"{name}: {_rows(best.scope)} agree best with {cause_text(best)} ({_gain(best, units)})"
    if others:
        causes = "; ".join(f"{_rows(fit.scope)}: {cause_text(fit)}" for fit in others)
        yield f"{name}: the data do not tell this from {causes}"
    elif found.next:
        yield (
            f"{name}: no other single cause explains as much; the next, {cause_text(found.next)}, "
            f"leaves {_left(found.next, units)}"
        )
    if found.model == "fast":
        yield "fast: its own end effects shift these amounts; compare the FE model to be sure"


def _rows(scope: Scope) -> str:
    if not scope.rule:
        return "all rows"
    return f'the rows with {scope.rule.replace("_", " ")} "{scope.value}"'


def _gain(fit: Fit, units: Mapping[str, str]) -> str:
    """Return how the RMS errors fall."""
    falls = [
        f"RMS error of the {name.replace('_', ' ')} {was:.2g} → {now:.2g} {units[name]}"
        for name, (was, now) in fit.rms.items()
    ]
    return ", ".join(falls)


def _left(fit: Fit, units: Mapping[str, str]) -> str:
    return ", ".join(f"{now:.2g} {units[name]}" for name, (_, now) in fit.rms.items())


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
            spools = ", left on the spools" if more and fit.scope.value == "taken up" else ""
            return f"{least}{size} {words}{family}{spools}"
        case "stiffness":
            return f"rubber {least}{size} {'stiffer' if more else 'softer'} than stated"
        case "angle":
            return f"helix angles{family} {least}{'+' if more else '-'}{size} off"
        case "gauge":
            return f"a pressure {least}{size} {'above' if more else 'below'} what the gauge says"
        case "scale":
            return (
                f"a read-out of the{of} that shows {least}{size} too {'much' if more else 'little'}"
            )
        case "zero":
            return f"a read-out of the{of} whose zero is {least}{'+' if more else '-'}{size} off"


def count_text(number: int, word: str) -> str:
    """Return a number of things in words."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def value_text(size: float, plus_minus: float, unit: str) -> str:
    """Return an amount with its interval, in no more digits than the interval makes sense of."""
    if not 0 < plus_minus < math.inf:
        return f"{size:.3g} {unit}"
    digits = max(0, -math.floor(math.log10(plus_minus / 2)))
    return f"{size:.{digits}f} ± {plus_minus:.{digits}f} {unit}"
