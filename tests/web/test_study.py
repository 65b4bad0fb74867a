"""A study behind the page: its settings, what they reach, the shapes of each."""

import asyncio
import json
import shutil

import pytest
from aiohttp.test_utils import TestClient, TestServer

from fem.core.errors import InputError
from fem.core.processes import WorkerPool
from fem.scene.study_view import UNSHAPED, setting_exhibits
from fem.solving.single import solve
from fem.study.job_list import JobList
from fem.study.plan import Study
from fem.study.runner import run
from fem.web import study as studying
from fem.web.server import OF_BASE, make_app
from fem.web.study import StudyRoom

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
    """Return the folder of a study: four settings, two of no case, one with its shapes."""
    folder = tmp_path_factory.mktemp("study")
    study_result = run(JobList.of(Study.parse(PLAN, cases_folder)), folder, WorkerPool(1))
    study_result.save(folder)
    return folder


@pytest.fixture
def room(folder):
    return StudyRoom(folder)


def key_of(room, *values):
    told = room.described()["settings"]
    return next(setting["key"] for setting in told if setting["values"] == list(values))


def test_it_lists_each_setting_that_makes_a_case(room, make_case):
    told = room.described()
    assert told["title"] == "Brief reach"
    assert [(axis["title"], axis["unit"]) for axis in told["axes"]] == [
        ("helix angle of A", "deg"),
        ("helix angle of B", "deg"),
    ]
    values = [setting["values"] for setting in told["settings"]]
    assert sorted(values) == [[0, -30], [0, 0], [20, -30], [20, 0]]
    case = make_case(pressure__steps=2, pressure__end="16 kPa", threads__0__angle="0 deg")
    assert key_of(room, 0, -30) == case.key
    json.dumps(told, allow_nan=False)


def test_it_tells_what_each_model_reaches_and_nothing_beyond_a_limit(room):
    told = room.described()
    reach = told["reach"]
    columns = [one["name"] for one in reach["columns"]]
    assert columns == ["displacement_mm", "twist_deg"]
    assert "16 kPa" in reach["where"]
    for model in ["fast", "fe"]:
        for setting, point in zip(told["settings"], reach["models"][model], strict=True):
            found = next(e for e in room.exhibits(setting["key"]) if e.model == model)
            row = found.rows[-1]
            if row["pressure_kPa"] == 16:
                assert point == pytest.approx([row[c] for c in columns], abs=1e-4)
            else:
                assert (setting["values"], point) == ([0, 0], None)  # its balloon limit is lower


def test_the_fast_model_is_shown_as_it_is_solved_by_itself(room, make_case):
    shown = room.exhibits(key_of(room, 20, 0))[0]
    case = make_case(pressure__steps=2, pressure__end="16 kPa", threads__1__angle="0 deg")
    (alone,) = solve(case, "fast").runs
    assert shown.case == case
    assert shown.name == "helix angle of A: 20 deg, helix angle of B: 0 deg"
    assert [row["twist_deg"] for row in shown.rows] == pytest.approx(
        [row["twist_deg"] for row in alone.rows], abs=1e-6
    )
    assert len(shown.shapes) == len(shown.rows)
    assert not any("angle_deg" in name for name in shown.rows[0])


def test_kept_shapes_are_shown_and_where_none_are_kept_it_is_said(room):
    kept = room.exhibits(key_of(room, 20, -30))
    assert [(e.model, len(e.shapes)) for e in kept] == [("fast", 3), ("fe", 3)]
    bare = room.exhibits(key_of(room, 20, 0))
    assert [(e.model, len(e.shapes)) for e in bare] == [("fast", 3), ("fe", 0)]
    assert len(bare[1].rows) == 3
    assert bare[1].note == UNSHAPED
    assert [e.case for e in room.first()] == [e.case for e in kept]


def test_a_path_that_ends_early_says_why(room):
    fast, fe = room.exhibits(key_of(room, 0, 0))
    assert fast.note.startswith("balloon limit at ")
    assert fast.rows[-1]["limit"]
    ended = fe.rows[-1]["pressure_kPa"] < 16
    assert fe.note == UNSHAPED or (ended and fe.note.endswith(f"; {UNSHAPED}"))


def test_a_case_that_the_study_has_not_is_refused(room, folder, make_case):
    with pytest.raises(KeyError):
        room.exhibits("0" * 16)
    with pytest.raises(InputError, match="no curve of this setting"):
        setting_exhibits(room._study_result, folder, make_case())


def test_damaged_shapes_are_told(folder, tmp_path):
    broken = tmp_path / "study"
    shutil.copytree(folder, broken)
    room = StudyRoom(broken)
    key = key_of(room, 20, -30)
    (broken / "shapes" / key / "run.json").write_text("{", encoding="utf-8")
    with pytest.raises(InputError, match=r"run\.json: not valid JSON"):
        room.exhibits(key)


def test_a_folder_without_a_study_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"run\.json: missing"):
        StudyRoom(tmp_path)


def test_more_settings_than_a_page_lists_are_refused(folder, monkeypatch):
    monkeypatch.setattr(studying, "MOST", 3)
    with pytest.raises(InputError, match="4 settings; a page lists 3 at most"):
        StudyRoom(folder)


def test_the_server_answers_for_a_study(room):
    async def run():
        app = make_app(room.first(), room.title, base=room.base, key=KEY, study=room)
        async with TestClient(TestServer(app)) as client:
            paths = [
                "study",
                f"study/{key_of(room, 20, 0)}/scene",
                "study/none/scene",
                "scene",
                "live",
            ]
            answers = [await client.get(f"/{KEY}/{path}") for path in paths]
            return [(answer.status, await answer.read()) for answer in answers]

    told, scene, none, first, live = asyncio.run(run())
    assert json.loads(told[1]) == room.described()
    assert (scene[0], none[0], first[0]) == (200, 404, 200)
    end = 4 + int.from_bytes(scene[1][:4], "little")
    fast, fe = json.loads(scene[1][4:end])["exhibits"]
    assert (fast["model"], fe["model"]) == ("fast", "fe")
    assert {solid["role"] for solid in fast["solids"]} >= {"wall", "threads"}
    assert [solid["role"] for solid in fe["solids"]] == ["plates", "marks", "start"]
    assert len(fe["steps"]) == 3
    assert json.loads(live[1])["notes"] == [OF_BASE]


def test_without_a_study_the_server_says_so():
    async def run():
        app = make_app([], "Wrist", base=None, key=KEY)
        async with TestClient(TestServer(app)) as client:
            answers = [await client.get(f"/{KEY}/{path}") for path in ["study", "study/a/scene"]]
            return [(answer.status, await answer.json()) for answer in answers]

    told, none = asyncio.run(run())
    assert told == (200, {"offered": False, "reason": "no study is shown"})
    assert none == (404, {"error": "there is nothing here"})
