"""All of it for one study: the map, the rules and the corrected model, written into a folder."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Self

from fem.core.atomic_write import csv_bytes, json_bytes, together
from fem.core.errors import InputError
from fem.core.plotting import draw
from fem.trust.corrected import QUANTITIES, CorrectedModel
from fem.trust.pairs import trust_map
from fem.trust.rules import Rule, rule_table, rules
from fem.trust.tolerance import Tolerance, parse

if TYPE_CHECKING:
    import pandas
    from matplotlib.figure import Figure

    from fem.study.study_result import StudyResult


@dataclass(frozen=True, eq=False)
class Trust:
    """How far the fast model may be trusted in a study.

    Attributes
    ----------
    study_result, tolerances
        The study and what error is borne.
    map
        See :func:`fem.trust.pairs.trust_map`.
    rules
        See :func:`fem.trust.rules.rules`.
    model
        The corrected fast model; None where the study does not yield one.
    lacking
        Why there is no corrected model; empty where there is one.

    Examples
    --------
    >>> trust = Trust.of(study_result, "twist 3 deg, displacement 5 %")
    >>> [rule.sentence for rule in trust.rules]
    """

    study_result: StudyResult = field(repr=False)
    tolerances: tuple[Tolerance, ...]
    map: pandas.DataFrame = field(repr=False)
    rules: list[Rule]
    model: CorrectedModel | None
    lacking: str = ""

    @classmethod
    def of(cls, study_result: StudyResult, tolerance: str) -> Self:
        """Judge a study by the text of a tolerance.

        A study that yields no corrected model has its map and rules all the same.

        Raises
        ------
        InputError
            If the tolerance cannot be read, or a model did not take part in the study.
        """
        tolerances = parse(tolerance, study_result)
        table = trust_map(study_result, tolerances)
        found = rules(table, study_result.study, tolerances)
        wanted = dict.fromkeys([*QUANTITIES, *(t.quantity.column for t in tolerances)])
        try:
            model = CorrectedModel.fit(study_result, list(wanted))
        except InputError as error:
            return cls(study_result, tolerances, table, found, None, str(error))
        return cls(study_result, tolerances, table, found, model)

    def plot(self) -> Figure:
        """Draw the greatest error, as a share of its tolerance, over the fields that vary.

        Returns
        -------
        matplotlib.figure.Figure
            A figure that is not known to pyplot; save it by its method ``savefig``.

        Raises
        ------
        InputError
            If no number varies in the study.

        Examples
        --------
        >>> trust.plot().savefig("trust.png")
        """
        return draw("map_trust", self)

    def save(self, folder: Path) -> list[Path]:
        """Write trust.csv, rules.csv, trust.json and corrected.npz; return the files.

        Where there is no corrected model, an older corrected.npz is removed.

        Raises
        ------
        OSError
            If that is impossible.
        """
        files = [folder / name for name in ("trust.csv", "rules.csv", "trust.json")]
        facts = {
            "study_hash": self.study_result.study.hash,
            "tolerances": {t.quantity.column: t.limit for t in self.tolerances},
            "rules": [rule.sentence for rule in self.rules],
            "corrected": self.model.facts if self.model else None,
            "no_corrected_model": self.lacking or None,
        }
        with together() as batch:
            batch.write(files[0], csv_bytes(self.map))
            batch.write(files[1], csv_bytes(rule_table(self.rules)))
            batch.write(files[2], json_bytes(facts))
        corrected = folder / "corrected.npz"
        if self.model is None:
            corrected.unlink(missing_ok=True)  # an older one would be of another study
            return files
        self.model.save(corrected)
        return [*files, corrected]
