"""What the page draws, read back by other means: meshes, a shape's travel, the tube on the bender.

Volumes by trimesh against section area times length (Pappus and Guldin: the outline's centroid runs along the
centreline where the section is symmetric); rotations by scipy.
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from live import JOB, Page, Z, demo_job, page, small_job
from scipy.spatial.transform import Rotation

from railmodel.app.page.mesh_bank import MeshBank
from railmodel.app.page.rehearsal_view import rehearsal_view
from railmodel.app.page.scene import SceneMaker
from railmodel.app.page.solid_mesh import shape_mesh
from railmodel.app.page.stages import late_parts
from railmodel.app.page.travel import pose_of
from railmodel.app.plan_answer import plan_answer
from railmodel.fitting.clear_job import clearances
from railmodel.fitting.keep_clear import shapes_of
from railmodel.fitting.meshes import MeshShape
from railmodel.frame import build_frame
from railmodel.geometry.section import Section
from railmodel.job.reader import read_job


def unpacked(data: bytes) -> tuple[dict[str, Any], dict[str, trimesh.Trimesh], dict[str, np.ndarray]]:
    """The header, the meshes and the normals, read as the page's own description says."""
    size = int.from_bytes(data[:4], "little")
    assert (4 + size) % 4 == 0
    header, body = json.loads(data[4 : 4 + size]), data[4 + size :]
    meshes, normals = {}, {}
    for one in header["meshes"]:
        def read(name: str, kind: str, one: Any = one) -> np.ndarray:
            offset, count = one[name]
            assert offset % 4 == 0
            return np.frombuffer(body, np.dtype(kind), 3 * count, offset).reshape(-1, 3)

        index = {"uint16": "<u2", "uint32": "<u4"}[one["index"]]
        meshes[one["id"]] = trimesh.Trimesh(read("points", "<f4"), read("triangles", index), process=False)
        normals[one["id"]] = read("normals", "<i1")
    return header, meshes, normals


@pytest.fixture(scope="module")
def hauler(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return demo_job(tmp_path_factory.mktemp("views"))


def test_meshes_of_parts_hold_as_much_steel_as_the_parts(hauler: Path) -> None:
    frame = build_frame(read_job(hauler))
    with page(hauler) as live:
        header, meshes, normals = unpacked(live.get("/api/mesh").content)
        assert [mesh["id"] for mesh in live.state()["meshes"]] == [mesh["id"] for mesh in header["meshes"]]
    for part in frame.parts:
        if part.cuts is not None:
            continue
        size, mesh = part.section, meshes[part.label]
        inner = Section(
            height=size.height - 2 * size.wall, width=size.width - 2 * size.wall, wall=1, corner=size.inside_corner
        )
        steel = (area(size) - area(inner)) * part.line.length
        assert mesh.volume == pytest.approx(steel, rel=0.03)  # a corner of two facets lies inside its arc
        assert abs(np.linalg.norm(normals[part.label] / 127, axis=1) - 1).max() < 0.02
    assert sum(len(mesh.faces) for mesh in meshes.values()) < 10_000


def area(size: Section) -> float:
    return size.height * size.width - (4 - np.pi) * size.corner**2


def test_a_shape_is_drawn_as_large_as_it_is(hauler: Path) -> None:
    for shape, _ in shapes_of(read_job(hauler)):
        solid, mesh = shape.shape, shape_mesh(shape.shape)
        found = trimesh.Trimesh(mesh.points, mesh.triangles, process=False).volume
        size = getattr(solid, "size", None)
        if size is not None:
            wanted = float(np.prod(size))
        else:
            radius = solid.diameter / 2  # type: ignore[attr-defined]
            length = 0.0 if hasattr(solid, "at") else float(np.linalg.norm(np.subtract(solid.end, solid.start)))  # type: ignore[attr-defined]
            ends = 0.0 if type(solid).__name__ == "Cylinder" else 4 / 3 * np.pi * radius**3
            wanted = np.pi * radius**2 * length + ends
        assert found == pytest.approx(wanted, rel=0.04)


def test_a_mesh_of_many_triangles_is_shown_by_fewer_of_about_the_same_size() -> None:
    ball = trimesh.creation.icosphere(6, 100.0)
    shown = shape_mesh(MeshShape(np.asarray(ball.triangles)))
    assert len(shown.triangles) < len(ball.faces) / 2
    assert np.ptp(shown.points, axis=0) == pytest.approx([200, 200, 200], rel=0.05)


def test_only_what_the_browser_has_not_got_is_sent(hauler: Path) -> None:
    with page(hauler) as live:
        keys = {mesh["id"]: mesh["key"] for mesh in live.state()["meshes"]}
        assert unpacked(live.get("/api/mesh", params={"have": ",".join(keys.values())}).content)[0]["meshes"] == []
        live.set(["parts", 1, "path", 2, "straight"], "20 1/2")
        header, _, _ = unpacked(live.get("/api/mesh", params={"have": ",".join(keys.values())}).content)
        assert [mesh["id"] for mesh in header["meshes"]] == ["rear cap"]
        live.post("/api/undo", {"rev": 1})
        assert {mesh["id"]: mesh["key"] for mesh in live.state()["meshes"]} == keys


def test_what_is_known_at_once_is_what_a_full_reading_gives(hauler: Path) -> None:
    with page(hauler) as live:
        live.set(["parts", 0, "points", 2, "at", 2], "18 1/2")
        late = late_parts(build_frame(live.desk.store.source))
        quick = {part["id"]: key for part, key in zip(live.state()["parts"], live.desk.store.view.keys, strict=True)}
        assert late["keys"] == quick
        assert [part["id"] for part in late["parts"]] == ["front crossmember", "middle crossmember"]


def told(live: Page, stage: str, **more: Any) -> None:
    live.portal.call(live.desk._told, {"rev": live.desk.store.rev, "stage": stage, **more})


def test_a_quick_reading_that_came_to_something_else_gives_way_to_a_full_one(tmp_path: Path) -> None:
    with page(small_job(tmp_path)) as live:
        before = live.desk.store.source
        told(live, "fit", checks={}, late={"parts": [], "meshes": [], "keys": {"rail right": "another"}})
        assert live.desk.store.source is not before
        assert live.desk.store.source.text == before.text


def test_answers_about_an_older_job_are_left(tmp_path: Path) -> None:
    with page(small_job(tmp_path)) as live:
        live.set(Z, "21")
        live.portal.call(live.desk._told, {"rev": 0, "stage": "done", "checks": {"job": "old"}, "plan": {}})
        assert live.state()["checks"]["answer"] is None


def test_a_process_that_dies_while_it_thinks_is_said(tmp_path: Path) -> None:
    with page(small_job(tmp_path)) as live:
        live.portal.call(live.desk._told, {"ended": -11})
        checks = live.state()["checks"]
        assert (checks["stage"], checks["busy"]) == ("failed", False)
        assert "broken off" in checks["says"]
        assert live.get("/api/rehearsal", params={"part": "rail", "hand": "right"}).status_code == 404


def test_old_meshes_are_forgotten_and_shown_ones_are_not(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("railmodel.app.page.mesh_bank.KEPT", 3)
    with page(small_job(tmp_path)) as live:
        for number in range(6):
            live.set(Z, f"20 {number + 1}/16")
            listed = live.state()["meshes"]
            header, _, _ = unpacked(live.get("/api/mesh").content)
            assert [mesh["key"] for mesh in header["meshes"]] == [mesh["key"] for mesh in listed]
        assert len(live.desk.bank._held) <= 3 + len(listed)


def test_shapes_are_kept_while_they_do_not_change(hauler: Path) -> None:
    maker, source = SceneMaker(MeshBank()), read_job(hauler)
    assert maker.scene(source).shapes is maker.scene(source).shapes


@pytest.mark.parametrize(("at", "up", "roll"), [((0.0, 0.0), -1, -5), ((1.0, 1.0), 2, 5), ((1 / 3, 0.5), 0, 0)])
def test_a_shape_stands_where_its_travel_puts_it(
    tmp_path: Path, at: tuple[float, float], up: float, roll: float
) -> None:
    with page(small_job(tmp_path)) as live:
        drivers = live.state()["shapes"][0]["drivers"]
        order = [driver["what"][0] for driver in drivers]
        share = {"lift": at[0], "roll": at[1]}
        wanted = ",".join(str(share[name]) for name in order)
        found = live.get("/api/travel", params={"shape": "0", "at": wanted}).json()
    matrix = np.array(found["matrix"]).reshape(4, 4)
    middle = np.array([70, 0, 14]) * 25.4
    turn = Rotation.from_euler("x", roll, degrees=True).as_matrix()
    assert matrix[:3, :3] == pytest.approx(turn, abs=1e-8)
    assert matrix[:3] @ [*middle, 1] == pytest.approx(middle + [0, 0, up * 25.4], abs=1e-5)
    assert found["position"]["up"] == pytest.approx(up)
    gap = found["gaps"][0]
    assert np.linalg.norm(np.subtract(gap["on_part"], gap["on_shape"])) / 25.4 == pytest.approx(gap["gap"], abs=0.01)


def test_no_position_of_the_travel_is_nearer_than_the_check_says(tmp_path: Path) -> None:
    frame = build_frame(read_job(small_job(tmp_path)))
    least = {gap.part: gap.gap / 25.4 for gap, _ in clearances(frame).gaps}
    seen: dict[str, list[float]] = {}
    for up in np.linspace(0, 1, 5):
        for roll in np.linspace(0, 1, 5):
            for gap in pose_of(frame, 0, [roll, up])["gaps"]:
                seen.setdefault(gap["part"], []).append(gap["gap"])
    for part, gaps in seen.items():
        assert least[part] <= min(gaps) + 1e-9
        assert min(gaps) == pytest.approx(least[part], abs=0.05)


def test_a_track_leads_through_every_travel_and_back_to_rest(tmp_path: Path) -> None:
    with page(small_job(tmp_path)) as live:
        poses = live.get("/api/travel", params={"shape": "shape 0", "track": "9"}).json()["poses"]
        assert poses[-1]["matrix"] == pytest.approx(np.eye(4).ravel(), abs=1e-8)
        every = np.array([pose["at"] for pose in poses])
        assert every.min(axis=0).tolist() == [0, 0]
        assert every.max(axis=0).tolist() == [1, 1]
        assert live.get("/api/travel", params={"shape": "1", "track": "9"}).status_code == 404
        assert live.get("/api/travel", params={"shape": "0", "at": "0.5"}).status_code == 422


@pytest.mark.parametrize(("part", "hand"), [("side rail", "right"), ("side rail", "left"), ("rear cap", "single")])
def test_the_tube_keeps_its_size_in_every_picture_on_the_bender(hauler: Path, part: str, hand: str) -> None:
    frame = build_frame(read_job(hauler))
    view = rehearsal_view(frame, part, hand, None)
    assert isinstance(view, dict)
    triangles = np.array(view["triangles"]).reshape(-1, 3)
    size = view["section"]
    own = next(one for one in frame.parts if (one.name, one.hand) == (part, hand))
    plan = next(one for one in plan_answer(frame, [])["parts"] if (one["part"], one["hand"]) == (part, hand))
    trims = (plan["trim_lead"] + plan["trim_tail"]) * 25.4
    for step in view["steps"]:
        for picture in step["frames"]:
            mesh = trimesh.Trimesh(np.reshape(picture["points"], (-1, 3)), triangles, process=False)
            assert mesh.volume == pytest.approx(size["height"] * size["width"] * (own.line.length + trims), rel=0.01)
    ends = [np.reshape(view["steps"][k]["frames"][i]["points"], (-1, 4, 3)).mean(axis=1) for k, i in ((0, 0), (-1, -1))]
    assert np.ptp(ends[0][:, 1:], axis=0).max() < 1e-6  # straight as it is loaded
    if not trims:
        apart = float(np.linalg.norm(own.line.start.at - own.line.end.at))
        assert np.linalg.norm(ends[1][0] - ends[1][-1]) == pytest.approx(apart, abs=1.0)


def test_orders_on_the_bender_are_those_of_the_plan(hauler: Path) -> None:
    frame = build_frame(read_job(hauler))
    view = rehearsal_view(frame, "side rail", "left", None)
    assert isinstance(view, dict)
    plan = next(one for one in plan_answer(frame, [])["parts"] if (one["part"], one["hand"]) == ("side rail", "left"))
    orders = {step["bend"]: step["order"] for step in view["steps"] if step["kind"] == "bend"}
    for step in plan["steps"]:
        assert {key: orders[step["bend"]][key] for key in step} == step
    assert rehearsal_view(frame, "front crossmember", "single", None) == "front crossmember has no bends"


def test_why_a_part_is_not_rehearsed_is_what_is_so(tmp_path: Path) -> None:
    wrong = build_frame(read_job(demo_job(tmp_path, "cannot_bend/cannot_bend.yaml")))
    says = rehearsal_view(wrong, "short kick", "single", None)
    assert says == "short kick is not rehearsed: bends overlap, or are tighter than the tube is deep; see the findings"
    path = small_job(tmp_path)
    shop = path.parent / "shop.yaml"
    shop.write_text(shop.read_text(encoding="utf-8").replace(", centreline_height: 38", ""), encoding="utf-8")
    assert rehearsal_view(build_frame(read_job(path)), "rail", "right", None) == (
        "bending is not rehearsed: the shop file says neither how high the tube lies (bender: centreline_height) nor "
        "what stands around the bender (bender: solids)"
    )
    path.write_text(JOB.replace("shop: shop.yaml\n", "").replace("die: hard 7", "radius: 7"), encoding="utf-8")
    assert rehearsal_view(build_frame(read_job(path)), "rail", "right", None) == (
        "bending is not rehearsed: the job names no shop file, which says how high the tube lies on the bender"
    )


def test_the_page_and_its_files_are_served(hauler: Path) -> None:
    with page(hauler) as live:
        for path in ("/", "/bend", "/static/page.css", "/static/viewer/viewer.js"):
            assert live.get(path).status_code == 200
        assert "Hillside hauler" in live.get("/").text
        assert live.get("/api/state", params={"have": live.state()["key"]}).status_code == 204
