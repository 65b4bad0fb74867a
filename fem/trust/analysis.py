"""The analysis of one study: map, rules and corrected model, and their files."""

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
    """Accuracy of the fast model in a study.

    Attributes
    ----------
    study_result, tolerances
        The result of the study, and the tolerances.
    map
        A row for each point with errors and shares of the tolerances; see
        :func:`fem.trust.pairs.trust_map`.
    rules
        Where the errors are within the tolerances; see :func:`fem.trust.rules.rules`.
    model
        The corrected fast model; None if the study does not allow one.
    no_model_reason
        Why there is no corrected model; empty if there is one.

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
    no_model_reason: str = ""

    @classmethod
    def of(cls, study_result: StudyResult, tolerance: str) -> Self:
        """Analyse a study with the tolerances in a text.

        Map and rules are made even if the study does not allow a corrected model.

        Raises
        ------
        InputError
            If the text is not valid, or the study lacks a model.
        """
        tolerances = parse(tolerance, study_result)
        table = trust_map(study_result, tolerances)
        found = rules(table, study_result.study, tolerances)
        columns = dict.fromkeys([*QUANTITIES, *(t.quantity.column for t in tolerances)])
        try:
            model = CorrectedModel.fit(study_result, list(columns))
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

    def save(self, folder: str | Path) -> list[Path]:
        """Write trust.csv, rules.csv, trust.json and corrected.npz; return the files.

        The folder is made if needed. If there is no corrected model, an older corrected.npz is
        removed.

        Raises
        ------
        OSError
            If the files cannot be written.
        """
        folder = Path(folder)
        folder.mkdir(parents=True, exist_ok=True)
        files = [folder / name for name in ("trust.csv", "rules.csv", "trust.json")]
        facts = {
            "study_hash": self.study_result.study.hash,
            "tolerances": {t.quantity.column: t.limit for t in self.tolerances},
            "rules": [rule.sentence for rule in self.rules],
            "corrected": self.model.facts if self.model else None,
            "no_corrected_model": self.no_model_reason or None,
        }
        with together() as batch:
            batch.write(files[0], csv_bytes(self.map))
            batch.write(files[1], csv_bytes(rule_table(self.rules)))
            batch.write(files[2], json_bytes(facts))
        corrected = folder / "corrected.npz"
        if self.model is None:
            corrected.unlink(missing_ok=True)  # an older file belongs to another study
            return files
        self.model.save(corrected)
        return [*files, corrected]
