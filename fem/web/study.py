"""A study behind the page: its settings, what they reach, and the shapes of any of them."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from aiohttp import web

from fem.browser.pack import described, pack
from fem.case.case import Case
from fem.core.errors import InputError
from fem.explore.reachable_set import AXES
from fem.scene.result_view import Exhibit
from fem.scene.study_view import setting_exhibits
from fem.study.plot_data import PlotData, plot_data
from fem.study.study_result import StudyResult
from fem.web.guard import binary

if TYPE_CHECKING:
    import pandas

MOST = 20_000
"""Settings that a page lists."""


class StudyRoom:
    """A study whose settings are chosen in the page.

    Parameters
    ----------
    folder
        Its folder, where shapes may be kept.

    Raises
    ------
    InputError
        If there is no study, it found nothing, or has more settings than a page can list.
    """

    def __init__(self, folder: str | Path) -> None:
        self._study_result, self._folder = StudyResult.load(folder), Path(folder)
        found = plot_data(self._study_result)
        if found is None:
            raise InputError(f"{folder}: the study has no step that could be shown")
        self._settings = found.rows.drop_duplicates("case")
        if len(self._settings) > MOST:
            raise InputError(
                f"{folder}: the study has {len(self._settings)} settings; "
                f"a page lists {MOST} at most"
            )
        self._plot_data = found
        self._cases: dict[str, Case] = {}
        self._rest = iter(self._study_result.study.settings)
        self._lock = asyncio.Lock()

    def routes(self, root: str) -> list[web.RouteDef]:
        """Return what it answers."""
        return [
            web.get(f"{root}study", self.describe),
            web.get(f"{root}study/{{key}}/scene", self.scene),
        ]

    async def describe(self, _: web.Request) -> web.Response:
        """Answer which settings the study has, and what they reach."""
        return web.json_response(self.described())

    async def scene(self, request: web.Request) -> web.Response:
        """Answer the shapes of a setting."""
        try:
            async with self._lock:  # it goes through the settings
                shown = await asyncio.to_thread(self.exhibits, request.match_info["key"])
        except KeyError:
            raise web.HTTPNotFound from None
        return binary(await asyncio.to_thread(pack, shown, self.title))

    @property
    def base(self) -> Case:
        """The case that varies."""
        return self._study_result.study.base

    @property
    def title(self) -> str:
        """What the study is called."""
        return self._study_result.study.title

    def first(self) -> list[Exhibit]:
        """Return what is shown at first."""
        return self.exhibits(self._first)

    @property
    def _first(self) -> str:
        """The key of a setting whose shapes are kept, or else of the first one."""
        keys = [*self._settings.case]
        return next((key for key in keys if (self._folder / "shapes" / key).is_dir()), keys[0])

    def exhibits(self, key: str) -> list[Exhibit]:
        """Return what is shown of a setting by the key of its case; it bears the setting's name.

        Raises
        ------
        KeyError
            If the study has no such setting.
        InputError
            If its kept shapes are damaged.
        """
        shown = setting_exhibits(self._study_result, self._folder, self._case(key))
        row = self._settings[self._settings.case == key].iloc[0]
        name = ", ".join(axis.say(row[axis.column]) for axis in self._plot_data.axes)
        return [replace(exhibit, name=name or exhibit.name) for exhibit in shown]

    def _case(self, key: str) -> Case:
        """Return the case of a key; settings are made cases only as far as needed."""
        while key not in self._cases:
            setting = next(self._rest, None)
            if setting is None:
                raise KeyError(key)
            try:
                case = self._study_result.study.case_of(setting)
            except InputError:  # a setting that makes no case
                continue
            self._cases[case.key] = case
        return self._cases[key]

    def described(self) -> dict[str, Any]:
        """Return settings and what they reach as JSON data."""
        found, settings = self._plot_data, self._settings
        return {
            "offered": True,
            "title": self.title,
            "first": self._first,
            "axes": [
                {"title": axis.words, "unit": axis.unit, "numeric": axis.numeric}
                for axis in found.axes
            ],
            "settings": [
                {"key": key, "values": values}
                for key, *values in zip(
                    settings.case,
                    *(settings[axis.column].tolist() for axis in found.axes),
                    strict=True,
                )
            ],
            "reach": {
                "columns": [described(measure) for measure in AXES],
                "where": found.where(found.shown),
                "models": {model: _reached(found, model, settings.case) for model in found.models},
            },
        }


def _reached(found: PlotData, model: str, keys: pandas.Series[Any]) -> list[Sequence[float] | None]:
    """Return where each setting is at the level that is shown; None where it does not come so."""
    rows = found.rows[(found.rows.model == model) & (found.rows.level == found.shown)]
    there = rows.set_index("case")[[measure.column for measure in AXES]]
    points = dict(zip(there.index, there.round(4).to_numpy(float).tolist(), strict=True))
    return [points.get(key) for key in keys]
