"""A STEP keep-clear is made into a mesh once; the mesh is read back by another reader and checked against the solid."""

from pathlib import Path

import pytest
import trimesh
from typer.testing import CliRunner

from railmodel.app.cli import app
from railmodel.errors import InputError
from railmodel.fitting.mesh_files import load_mesh


@pytest.fixture(scope="module")
def ball(tmp_path_factory: pytest.TempPathFactory) -> Path:
    import cadquery as cq

    path = tmp_path_factory.mktemp("step") / "ball.step"
    cq.exporters.export(cq.Workplane().sphere(50).translate((10, 20, 30)), str(path))
    return path


def test_a_step_file_becomes_a_closed_mesh_within_its_sag(ball: Path, tmp_path: Path) -> None:
    out = tmp_path / "ball.stl"
    result = CliRunner().invoke(app, ["import-mesh", str(ball), "--out", str(out)])
    assert result.exit_code == 0, result.output
    assert "units: mm" in result.stdout
    mesh = trimesh.load_mesh(out)
    assert mesh.is_watertight
    assert mesh.bounds[0].tolist() == pytest.approx([-40, -30, -20], abs=0.2)
    assert mesh.bounds[1].tolist() == pytest.approx([60, 70, 80], abs=0.2)
    assert load_mesh(out, "mm").closed


NO_SHAPE = b"ISO-10303-21;\nHEADER;\nENDSEC;\nDATA;\nENDSEC;\nEND-ISO-10303-21;\n"


@pytest.mark.parametrize("content", [b"", NO_SHAPE, b"x"])
def test_a_file_that_is_no_step_is_one_sentence(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "bad.step"
    path.write_bytes(content)
    result = CliRunner().invoke(app, ["import-mesh", str(path)])
    assert isinstance(result.exception, InputError)
    assert not (tmp_path / "bad.stl").exists()


def test_the_check_says_how_to_make_the_mesh(ball: Path) -> None:
    with pytest.raises(InputError, match="railmodel import-mesh"):
        load_mesh(ball, "mm")
