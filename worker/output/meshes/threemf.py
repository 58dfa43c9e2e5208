"""3MF files of one part (3MF Core Specification 1.4.0): one object in millimetres, deterministic for the same mesh."""

from collections.abc import Mapping

from worker.output.meshes.opc_package import (
    METADATA_NAMES,
    attribute,
    mesh_element,
    read_meshes,
    read_model,
    write_package,
)
from worker.solids.mesh import Mesh
from worker.spec.errors import CheckFailed

__all__ = ["METADATA_NAMES", "read_3mf", "write_3mf"]


def write_3mf(mesh: Mesh, *, name: str, part_number: str, metadata: Mapping[str, str] | None = None) -> bytes:
    """Return the mesh as a 3MF package.

    Args:
        mesh: a closed solid, in mm, in the positive octant; see `worker.output.meshes.opc_package.mesh_element`.
        name: the object's name; characters that XML cannot carry become U+FFFD.
        part_number: the part number of the object and of its build item.
        metadata: values by name, see `METADATA_NAMES`.

    Raises:
        ValueError: when a metadata name is not of the core specification.
        CheckFailed: when there are fewer than four triangles, which enclose nothing (rule 4.1 of the specification).
    """
    number = attribute(part_number)
    resources = (
        f'<object id="1" type="model" name={attribute(name)} partnumber={number}>\n{mesh_element(mesh)}</object>\n'
    )
    return write_package(resources, f'<item objectid="1" partnumber={number}/>\n', metadata or {})


def read_3mf(data: bytes) -> list[Mesh]:
    """Return the meshes of a 3MF package that we wrote, in the file's order.

    This reader is for checking our own files: it verifies the archive's checksums and that the XML is well-formed, but
    supports no transforms, no components and no other order of attributes than ours.

    Raises:
        CheckFailed: when the package cannot be read or holds no mesh.
    """
    meshes = read_meshes(read_model(data))
    if not meshes:
        raise CheckFailed("The 3MF package holds no mesh.", limit="at least one mesh")
    return meshes
