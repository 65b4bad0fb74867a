"""The server of a study: its settings, their results, the shapes of each."""

import asyncio
import json
import shutil

import pytest
from aiohttp.test_utils import TestClient, TestServer

from fem.core.errors import InputError
from fem.core.processes import WorkerPool
from fem.scene.study_view import NO_SHAPES, setting_views
from fem.solving.single import solve
from fem.study.job_list import JobList
from fem.study.plan import Study
from fem.study.runner import run
from fem.web import study as studying
from fem.web.server import BASE_CASE_NOTE, make_app
from fem.web.study import StudyHandler
from tests.helpers.messages import refused

KEY = "wren"

PLAN = {
    "title": "Brief reach",
    "case": "greenhouse_wrist.toml",
    "models": ["fast", "fe"],
    "resolution": "1x1x4",
    "set": {"pressure.steps": 2, "pressure.end": "16 kPa"},
    "vary": [
        {"field": "threads.A.angle", "values": ["0 deg", "20 deg"]},
        {"field": "threads.B.angle", "values": ["0 deg", "-30 deg", "95 deg"]},
    ],
    "shapes": [{"threads.A.angle": "20 deg", "threads.B.angle": "-30 deg"}],
}


@pytest.fixture(scope="module")
def folder(cases_folder, tmp_path_factory):
    """Return the folder of a study: four settings, two invalid ones, one with its shapes."""
    folder = tmp_path_factory.mktemp("study")
    study_result = run(JobList.of(Study.parse(PLAN, cases_folder)), folder, WorkerPool(1))
    study_result.save(folder)
    return folder


@pytest.fixture
def handler(folder):
    return StudyHandler(folder)


def key_of(handler, *values):
    settings = handler.data()["settings"]
    return next(setting["key"] for setting in settings if setting["values"] == list(values))


def test_the_data_list_each_valid_setting(handler, make_case):
    data = handler.data()
    assert data["title"] == "Brief reach"
    assert [(axis["title"], axis["unit"]) for axis in data["axes"]] == [
        ("helix angle of A", "deg"),
        ("helix angle of B", "deg"),
    ]
    values = [setting["values"] for setting in data["settings"]]
    assert sorted(values) == [[0, -30], [0, 0], [20, -30], [20, 0]]
    case = make_case(pressure__steps=2, pressure__end="16 kPa", threads__0__angle="0 deg")
    assert key_of(handler, 0, -30) == case.key
    json.dumps(data, allow_nan=False)


def test_the_data_have_the_result_of_each_model_and_none_beyond_a_limit(handler):
    data = handler.data()
    reach = data["reach"]
    columns = [one["name"] for one in reach["columns"]]
    assert columns == ["displacement_mm", "twist_deg"]
    assert "16 kPa" in reach["where"]
    for model in ["fast", "fe"]:
        for setting, point in zip(data["settings"], reach["models"][model], strict=True):
            found = next(e for e in handler.views(setting["key"]) if e.model == model)
            row = found.rows[-1]
            if row["pressure_kPa"] == 16:
                assert point == pytest.approx([row[c] for c in columns], abs=1e-4)
            else:
                assert (setting["values"], point) == ([0, 0], None)  # its balloon limit is lower


def test_the_view_of_the_fast_model_equals_a_single_solve(handler, make_case):
    shown = handler.views(key_of(handler, 20, 0))[0]
    case = make_case(pressure__steps=2, pressure__end="16 kPa", threads__1__angle="0 deg")
    (alone,) = solve(case, "fast").runs
    assert shown.case == case
    assert shown.name == "helix angle of A: 20 deg, helix angle of B: 0 deg"
    assert [row["twist_deg"] for row in shown.rows] == pytest.approx(
        [row["twist_deg"] for row in alone.rows], abs=1e-6
    )
    assert len(shown.shapes) == len(shown.rows)
    assert not any("angle_deg" in name for name in shown.rows[0])


def test_stored_shapes_are_shown_and_missing_ones_have_a_note(handler):
    kept = handler.views(key_of(handler, 20, -30))
    assert [(e.model, len(e.shapes)) for e in kept] == [("fast", 3), ("fe", 3)]
    bare = handler.views(key_of(handler, 20, 0))
    assert [(e.model, len(e.shapes)) for e in bare] == [("fast", 3), ("fe", 0)]
    assert len(bare[1].rows) == 3
    assert bare[1].note == NO_SHAPES
    assert [e.case for e in handler.first()] == [e.case for e in kept]


def test_a_path_that_ends_early_has_a_note(handler):
    fast, fe = handler.views(key_of(handler, 0, 0))
    assert fast.note.startswith("balloon limit at ")
    assert fast.rows[-1]["limit"]
    ended = fe.rows[-1]["pressure_kPa"] < 16
    assert fe.note == NO_SHAPES or (ended and fe.note.endswith(f"; {NO_SHAPES}"))


def test_a_case_of_another_study_is_refused(handler, folder, make_case):
    with pytest.raises(KeyError):
        handler.views("0" * 16)
    with pytest.raises(InputError):
        setting_views(handler._study_result, folder, make_case())


def test_damaged_shapes_are_refused(folder, tmp_path):
    broken = tmp_path / "study"
    shutil.copytree(folder, broken)
    handler = StudyHandler(broken)
    key = key_of(handler, 20, -30)
    (broken / "shapes" / key / "run.json").write_text("{", encoding="utf-8")
    with refused(InputError, f"{broken / 'shapes' / key / 'run.json'}: ", "JSON"):
        handler.views(key)


def test_a_folder_without_a_study_is_refused(tmp_path):
    with refused(InputError, f"{tmp_path / 'run.json'}: "):
        StudyHandler(tmp_path)


def test_too_many_settings_are_refused(folder, monkeypatch):
    monkeypatch.setattr(studying, "MAX_SETTINGS", 3)
    with refused(InputError, str(folder), "4 settings", "at most 3"):
        StudyHandler(folder)


def test_the_server_has_study_scene_and_explorer(handler):
    async def run():
        app = make_app(handler.first(), handler.title, base=handler.base, key=KEY, study=handler)
        async with TestClient(TestServer(app)) as client:
            paths = [
                "study",
                f"study/{key_of(handler, 20, 0)}/scene",
                "study/none/scene",
                "scene",
                "live",
            ]
            answers = [await client.get(f"/{KEY}/{path}") for path in paths]
            return [(answer.status, await answer.read()) for answer in answers]

    data, scene, none, first, live = asyncio.run(run())
    assert json.loads(data[1]) == handler.data()
    assert (scene[0], none[0], first[0]) == (200, 404, 200)
    end = 4 + int.from_bytes(scene[1][:4], "little")
    fast, fe = json.loads(scene[1][4:end])["views"]
    assert (fast["model"], fe["model"]) == ("fast", "fe")
    assert {solid["role"] for solid in fast["solids"]} >= {"wall", "threads"}
    assert [solid["role"] for solid in fe["solids"]] == ["plates", "marks", "start"]
    assert len(fe["steps"]) == 3
    assert json.loads(live[1])["notes"] == [BASE_CASE_NOTE]


def test_without_a_study_none_is_available():
    async def run():
        app = make_app([], "Wrist", base=None, key=KEY)
        async with TestClient(TestServer(app)) as client:
            answers = [await client.get(f"/{KEY}/{path}") for path in ["study", "study/a/scene"]]
            return [(answer.status, await answer.json()) for answer in answers]

    (status, data), (missing, error) = asyncio.run(run())
    assert (status, data["available"]) == (200, False) and data["reason"]
    assert missing == 404 and error["error"]
