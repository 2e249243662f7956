"""A seam asked for on a face the part does not have is a finding, not a crash of the drawing."""

from dataclasses import replace
from pathlib import Path

import ezdxf
import numpy as np
from rails import part, random_legal_line

from exporters.flat_layout import write_flat_layout
from railmodel.geometry.section import Section


def test_a_seam_on_no_face_of_the_part_is_left_out(tmp_path: Path) -> None:
    section = Section(height=76.2, width=50.8, wall=3, corner=6)
    rail = replace(part(random_legal_line(np.random.default_rng(3), 3, section=section), section), seam="inboard")
    path = tmp_path / "rail.dxf"
    write_flat_layout(rail, path, unit="mm", job="job", revision=None)
    assert not [e for e in ezdxf.readfile(path).modelspace() if e.dxf.layer == "SEAM"]


def test_a_rail_with_no_room_for_any_text_is_still_drawn(tmp_path: Path) -> None:
    section = Section(height=76.2, width=50.8, wall=3, corner=6)
    rail = part(random_legal_line(np.random.default_rng(1_000_000_001), 3, section=section), section)
    write_flat_layout(rail, tmp_path / "rail.dxf", unit="mm", job="job", revision=None)
    assert ezdxf.readfile(tmp_path / "rail.dxf").audit().errors == []
