"""A STEP file made into a mesh, once, so that the check can read it without the CAD kernel."""

from pathlib import Path

from railmodel.errors import InputError
from railmodel.files import replacing

SAG = 0.1
"""How far the mesh may lie off the true surface, mm."""

ANGLE = 0.2
"""How far two neighbouring triangles may turn against each other on a curved face, radians."""


def mesh_step(source: Path, target: Path) -> int:
    """Read a STEP file and write its faces as a binary STL file in millimetres.

    Args:
        source: the STEP file; its own unit counts.
        target: the STL file.

    Returns:
        How many triangles were written.

    Raises:
        InputError: the file cannot be read, holds no shape, or the mesh cannot be written.
    """
    from OCP.BRepMesh import BRepMesh_IncrementalMesh
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.Interface import Interface_Static
    from OCP.STEPControl import STEPControl_Reader
    from OCP.StlAPI import StlAPI_Writer

    if not source.is_file():
        raise InputError(f"{source}: no such file; give the name of a STEP file")
    reader = STEPControl_Reader()
    Interface_Static.SetCVal_s("xstep.cascade.unit", "MM")
    if reader.ReadFile(str(source)) != IFSelect_ReturnStatus.IFSelect_RetDone:
        raise InputError(f"{source}: is not a STEP file that can be read; export it again from where it was drawn")
    reader.TransferRoots()
    shape = reader.OneShape()
    if shape.IsNull():
        raise InputError(f"{source}: holds no solid or surface; export the shape itself, not only its tree")
    BRepMesh_IncrementalMesh(shape, SAG, False, ANGLE, True)
    writer = StlAPI_Writer()
    writer.ASCIIMode = False
    with replacing(target) as temporary:
        if not writer.Write(shape, str(temporary)) or temporary.stat().st_size <= 84:
            raise InputError(f"{source}: holds no face to make a mesh of; export it again as a solid, or as STL")
        return _tidied(temporary)


def _tidied(path: Path) -> int:
    """Take the triangles without area out of a binary STL file (the kernel leaves some at poles); how many stay."""
    import trimesh

    with path.open("rb") as stream:
        mesh = trimesh.load_mesh(stream, file_type="stl")
    mesh.update_faces(mesh.nondegenerate_faces())
    path.write_bytes(mesh.export(file_type="stl"))
    return len(mesh.faces)
