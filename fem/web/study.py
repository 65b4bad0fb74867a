"""The server of a study: its settings, their results, and the shapes of any setting."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from aiohttp import web

from fem.browser.pack import column_data, pack
from fem.case.case import Case
from fem.core.errors import InputError
from fem.explore.reachable_set import AXES
from fem.scene.result_view import ResultView
from fem.scene.study_view import setting_views
from fem.study.plot_data import PlotData, plot_data
from fem.study.study_result import StudyResult
from fem.web.guard import pack_response

if TYPE_CHECKING:
    import pandas

MAX_SETTINGS = 20_000
"""Maximum number of settings in a page."""


class StudyHandler:
    """Handles requests for a study whose settings can be chosen in the page.

    Parameters
    ----------
    folder
        Its folder, which may contain stored shapes.

    Raises
    ------
    InputError
        If there is no study, it has no solved step, or it has too many settings.
    """

    def __init__(self, folder: str | Path) -> None:
        self._study_result, self._folder = StudyResult.load(folder), Path(folder)
        found = plot_data(self._study_result)
        if found is None:
            raise InputError(f"{folder}: the study has no solved step")
        self._settings = found.rows.drop_duplicates("case")
        if len(self._settings) > MAX_SETTINGS:
            raise InputError(
                f"{folder}: the study has {len(self._settings)} settings; "
                f"the page shows at most {MAX_SETTINGS}"
            )
        self._plot_data = found
        self._cases: dict[str, Case] = {}
        self._rest = iter(self._study_result.study.settings)
        self._lock = asyncio.Lock()

    def routes(self, root: str) -> list[web.RouteDef]:
        """Return the routes of its requests."""
        return [
            web.get(f"{root}study", self.describe),
            web.get(f"{root}study/{{key}}/scene", self.scene),
        ]

    async def describe(self, _: web.Request) -> web.Response:
        """Return the settings and their results."""
        return web.json_response(self.data())

    async def scene(self, request: web.Request) -> web.Response:
        """Return the shapes of a setting."""
        try:
            async with self._lock:  # the settings are iterated
                views = await asyncio.to_thread(self.views, request.match_info["key"])
        except KeyError:
            raise web.HTTPNotFound from None
        return pack_response(await asyncio.to_thread(pack, views, self.title))

    @property
    def base(self) -> Case:
        """The base case."""
        return self._study_result.study.base

    @property
    def title(self) -> str:
        """The title of the study."""
        return self._study_result.study.title

    def first(self) -> list[ResultView]:
        """Return the views that are shown first."""
        return self.views(self._first)

    @property
    def _first(self) -> str:
        """The key of the first setting with stored shapes, or else of the first one."""
        keys = [*self._settings.case]
        return next((key for key in keys if (self._folder / "shapes" / key).is_dir()), keys[0])

    def views(self, key: str) -> list[ResultView]:
        """Return the views of a setting by the key of its case, named after the setting.

        Raises
        ------
        KeyError
            If the study has no such setting.
        InputError
            If its stored shapes are damaged.
        """
        views = setting_views(self._study_result, self._folder, self._case(key))
        row = self._settings[self._settings.case == key].iloc[0]
        name = ", ".join(axis.text(row[axis.column]) for axis in self._plot_data.axes)
        return [replace(view, name=name or view.name) for view in views]

    def _case(self, key: str) -> Case:
        """Return the case of a key; cases are made from settings only as far as needed."""
        while key not in self._cases:
            setting = next(self._rest, None)
            if setting is None:
                raise KeyError(key)
            try:
                case = self._study_result.study.case_of(setting)
            except InputError:  # not a valid case
                continue
            self._cases[case.key] = case
        return self._cases[key]

    def data(self) -> dict[str, Any]:
        """Return settings and their results as JSON data."""
        found, settings = self._plot_data, self._settings
        return {
            "available": True,
            "title": self.title,
            "first": self._first,
            "axes": [
                {"title": axis.name, "unit": axis.unit, "numeric": axis.numeric}
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
                "columns": [column_data(measure) for measure in AXES],
                "where": found.where(found.main_level),
                "models": {model: _reached(found, model, settings.case) for model in found.models},
            },
        }


def _reached(found: PlotData, model: str, keys: pandas.Series[Any]) -> list[Sequence[float] | None]:
    """Return the point of each setting at the level shown; None if the level was not reached."""
    rows = found.rows[(found.rows.model == model) & (found.rows.level == found.main_level)]
    reached = rows.set_index("case")[[measure.column for measure in AXES]]
    points = dict(zip(reached.index, reached.round(4).to_numpy(float).tolist(), strict=True))
    return [points.get(key) for key in keys]
