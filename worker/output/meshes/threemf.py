"""3MF files of one part (3MF Core Specification 1.4.0): one object in millimetres, deterministic for the same mesh."""

from collections.abc import Mapping
from typing import Final

from worker.output.meshes.opc_package import (
    METADATA_NAMES,
    attribute,
    base_materials,
    mesh_element,
    mesh_object,
    read_mesh,
    read_model,
    two_bodies,
    write_package,
)
from worker.solids.mesh import Mesh
from worker.spec.errors import CheckFailed

__all__ = ["METADATA_NAMES", "read_3mf", "write_3mf"]

#: Base materials of a part with lettering. A part's file is shared by jobs, so its colours only tell the two apart.
_BASES: Final = (("part", "#D9D9D9"), ("lettering", "#1C2422"))


def write_3mf(
    mesh: Mesh,
    *,
    name: str,
    part_number: str,
    metadata: Mapping[str, str] | None = None,
    lettering: Mesh | None = None,
) -> bytes:
    """Return the mesh as a 3MF package.

    With lettering it is one object of two components, each with a base material of its own: printers that change
    filaments print them as one part in two.

    Args:
        mesh: a closed solid, in mm, in the positive octant; see `worker.output.meshes.opc_package.mesh_element`.
        name: the object's name; characters that XML cannot carry become U+FFFD.
        part_number: the part number of the object and of its build item.
        metadata: values by name, see `METADATA_NAMES`.
        lettering: closed solids in the same frame that do not overlap the mesh.

    Raises:
        ValueError: when a metadata name is not of the core specification.
        CheckFailed: when there are fewer than four triangles, which enclose nothing (rule 4.1 of the specification).
    """
    number = attribute(part_number)
    head = f'type="model" name={attribute(name)} partnumber={number}'
    if lettering is None:
        resources = f'<object id="1" {head}>\n{mesh_element(mesh)}</object>\n'
        return write_package(resources, f'<item objectid="1" partnumber={number}/>\n', metadata or {})
    bodies = two_bodies(4, head, (mesh_object(2, name, mesh, 0), mesh_object(3, f"{name} lettering", lettering, 1)))
    item = f'<item objectid="4" partnumber={number}/>\n'
    return write_package(base_materials(_BASES) + bodies, item, metadata or {})


def read_3mf(data: bytes) -> list[Mesh]:
    """Return the meshes of a 3MF package that we wrote, in the file's order.

    This reader is for checking our own files: it verifies the archive's checksums and that the XML is well-formed, but
    supports no transforms, no components and no other order of attributes than ours.

    Raises:
        CheckFailed: when the package cannot be read or holds no mesh.
    """
    meshes = [read_mesh(block) for block in read_model(data).split(b"<mesh>")[1:]]
    if not meshes:
        raise CheckFailed("The 3MF package holds no mesh.", limit="at least one mesh")
    return meshes
