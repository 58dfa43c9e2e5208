"""3MF packages by the Open Packaging Conventions (ECMA-376 part 2), and the XML that all 3MF models here share."""

import io
import re
import zipfile
import zlib
from collections.abc import Iterable, Mapping
from typing import Any, Final
from xml.parsers import expat
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import NDArray

from worker.output.bundle.zip_writer import Entry, write_zip
from worker.solids.mesh import Mesh
from worker.solids.ring import on_grid
from worker.spec.errors import CheckFailed

#: Names of metadata without a namespace (core specification, table in 3.4.1).
METADATA_NAMES: Final = frozenset(
    {
        "Title",
        "Designer",
        "Description",
        "Copyright",
        "LicenseTerms",
        "Rating",
        "CreationDate",
        "ModificationDate",
        "Application",
    }
)

#: The namespace of the core specification (C.3).
CORE: Final = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"

_MODEL_PATH: Final = "3D/3dmodel.model"
_THUMBNAIL_PATH: Final = "Metadata/thumbnail.png"
_START_PART: Final = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
_PACKAGE: Final = "http://schemas.openxmlformats.org/package/2006"
_DECLARATION: Final = '<?xml version="1.0" encoding="UTF-8"?>\n'
_PNG_TYPE: Final = '<Default Extension="png" ContentType="image/png"/>'
_THUMBNAIL: Final = (
    f'<Relationship Target="/{_THUMBNAIL_PATH}" Id="rel1" Type="{_PACKAGE}/relationships/metadata/thumbnail"/>'
)

#: Characters that XML 1.0 excludes (production 2): control characters, lone surrogates, two non-characters.
_NOT_IN_XML: Final = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")

_NUMBERS_ONLY: Final = bytes(c if chr(c) in "0123456789.+-eE" else 0x20 for c in range(256))

#: What a block of triangles consists of besides the names of its elements.
_OF_TRIANGLES: Final = b'0123456789v="/> \n'

_LEAST_TRIANGLES: Final = 4

#: Coordinates at most this far from the coordinate grid are written with three decimals, mm.
_ON_GRID: Final = 1e-7


def write_package(resources: str, build: str, metadata: Mapping[str, str], thumbnail: bytes | None = None) -> bytes:
    """Return the 3MF package of a model in millimetres.

    Args:
        resources: the XML inside ``<resources>``.
        build: the XML inside ``<build>``.
        metadata: values by name, see `METADATA_NAMES`.
        thumbnail: a picture of the model as PNG.

    Raises:
        ValueError: when a metadata name is not in the core specification.
    """
    if unknown := sorted(metadata.keys() - METADATA_NAMES):
        raise ValueError(f"{unknown[0]!r} is not a metadata name of the 3MF core specification.")
    model = "".join(
        [
            f'{_DECLARATION}<model unit="millimeter" xml:lang="en-US" xmlns="{CORE}">\n',
            *(f'<metadata name="{key}">{escape(_clean(metadata[key]))}</metadata>\n' for key in sorted(metadata)),
            f"<resources>\n{resources}</resources>\n<build>\n{build}</build>\n</model>\n",
        ]
    )
    pictured = thumbnail is not None
    types = (
        f'{_DECLARATION}<Types xmlns="{_PACKAGE}/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
        f"{_PNG_TYPE if pictured else ''}</Types>"
    )
    relationships = (
        f'{_DECLARATION}<Relationships xmlns="{_PACKAGE}/relationships">'
        f'<Relationship Target="/{_MODEL_PATH}" Id="rel0" Type="{_START_PART}"/>'
        f"{_THUMBNAIL if pictured else ''}</Relationships>"
    )
    entries = [
        Entry("[Content_Types].xml", types.encode()),
        Entry("_rels/.rels", relationships.encode()),
        Entry(_MODEL_PATH, model.encode()),
    ]
    if thumbnail is not None:
        entries.append(Entry(_THUMBNAIL_PATH, thumbnail, packed=True))
    return write_zip(entries)


def mesh_element(mesh: Mesh) -> str:
    """Return the ``<mesh>`` element of a closed solid in mm.

    Vertices on the coordinate grid are written with three decimals. Others are written as single-precision numbers
    with nine significant digits, which restore them exactly, so that STL and 3MF of a mesh hold the same points.

    Raises:
        CheckFailed: when there are fewer than four triangles (rule 4.1 of the specification).
    """
    if len(mesh.triangles) < _LEAST_TRIANGLES:
        raise CheckFailed("The mesh encloses no volume.", value=len(mesh.triangles), limit="at least 4 triangles")
    return "".join(
        [
            "<mesh>\n<vertices>\n",
            _vertices(mesh.vertices),
            "</vertices>\n<triangles>\n",
            _triangles(mesh.triangles),
            "</triangles>\n</mesh>\n",
        ]
    )


def base_materials(bases: Iterable[tuple[str, str]]) -> str:
    """Return the ``<basematerials>`` with id 1 (core specification, chapter 5): names with colours #RRGGBB."""
    lines = (f"<base name={attribute(name)} displaycolor={attribute(colour)}/>\n" for name, colour in bases)
    return f'<basematerials id="1">\n{"".join(lines)}</basematerials>\n'


def mesh_object(number: int, name: str, mesh: Mesh, base: int | None, part_number: str | None = None) -> str:
    """Return an ``<object>`` with a mesh; ``base`` is the index of its base material, None for none.

    Raises:
        CheckFailed: see `mesh_element`.
    """
    of_part = "" if part_number is None else f" partnumber={attribute(part_number)}"
    material = "" if base is None else f' pid="1" pindex="{base}"'
    head = f'<object id="{number}" type="model" name={attribute(name)}{of_part}{material}>'
    return f"{head}\n{mesh_element(mesh)}</object>\n"


def two_bodies(number: int, head: str, objects: tuple[str, str]) -> str:
    """Return two objects, numbered just before ``number``, and the object with that number that consists of both.

    ``head`` holds the attributes of the third object besides its id.
    """
    components = "".join(f'<component objectid="{number - back}"/>\n' for back in (2, 1))
    return f'{"".join(objects)}<object id="{number}" {head}>\n<components>\n{components}</components>\n</object>\n'


def attribute(text: str) -> str:
    """Return an attribute value in quotes; characters that XML excludes become U+FFFD."""
    return quoteattr(_clean(text))


def read_model(data: bytes) -> bytes:
    """Return the XML of a 3MF package's model, after verifying its checksum and that it is well-formed.

    Raises:
        CheckFailed: when the archive is damaged or has no model, or when the XML is not well-formed.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            model = package.read(_MODEL_PATH)  # verifies the checksum, too
        expat.ParserCreate().Parse(model, True)  # noqa: FBT003 - expat takes no name for "final"
    except (zipfile.BadZipFile, zlib.error, KeyError, expat.ExpatError) as error:
        raise CheckFailed("The 3MF package cannot be read.", value=str(error)) from error
    return model


def read_mesh(block: bytes) -> Mesh:
    """Return the mesh of an element that `mesh_element` wrote, from what follows ``<mesh>``.

    Raises:
        CheckFailed: when one of its elements does not hold three numbers.
    """
    return Mesh(_numbers(_between(block, b"vertices"), b"<vertex "), _indices(_between(block, b"triangles")))


def _vertices(vertices: NDArray[np.float64]) -> str:
    """Return the elements of vertices ``(n, 3) float64``, mm, one on each line."""
    rounded = on_grid(vertices) + 0.0  # no negative zeros
    if np.abs(rounded - vertices).max(initial=0.0) <= _ON_GRID:
        line, numbers = '<vertex x="%.3f" y="%.3f" z="%.3f"/>\n', rounded.ravel().tolist()
    else:
        line = '<vertex x="%.9g" y="%.9g" z="%.9g"/>\n'
        numbers = (vertices.astype(np.float32) + np.float32(0.0)).ravel().tolist()
    return (line * len(vertices)) % tuple(numbers)


def _triangles(triangles: NDArray[np.int32]) -> str:
    return ('<triangle v1="%d" v2="%d" v3="%d"/>\n' * len(triangles)) % tuple(triangles.ravel().tolist())


def _between(block: bytes, element: bytes) -> bytes:
    """Return the contents of the first element of this name, or nothing."""
    return block.partition(b"<%b>" % element)[2].partition(b"</%b>" % element)[0]


def _indices(block: bytes) -> NDArray[np.int32]:
    """Return the vertex indices of a block of triangles, ``(n, 3) int32``: 8 instead of 25 ms for 43,000 triangles."""
    element = b"<triangle "
    values = block.replace(element, b"")
    if values.translate(None, _OF_TRIANGLES):
        raise CheckFailed("A 3MF triangle has an attribute that is not a vertex index.")
    signs = np.frombuffer(b" " + values, dtype=np.uint8)  # a space, so that the first character follows one, too
    kept = (signs >= ord("0")) & (signs <= ord("9"))
    kept[1:] &= signs[:-1] != ord("v")  # the digits of v1, v2 and v3
    numbers = np.fromstring(np.where(kept, signs, np.uint8(ord(" "))).tobytes(), dtype=np.int64, sep=" ")
    # no mesh has the greatest index: larger numbers stay invalid
    return _by_three(np.minimum(numbers, np.iinfo(np.int32).max), block.count(element)).astype(np.int32)


def _numbers(block: bytes, element: bytes) -> NDArray[np.float64]:
    """Return the attribute values of a block of elements, ``(n, 3) float64``."""
    count = block.count(element)
    bare = block.replace(element, b"").translate(_NUMBERS_ONLY)
    try:
        numbers = np.array(bare.split(), dtype=np.float64)
    except ValueError as error:
        raise CheckFailed("A 3MF element has an attribute that is not a number.", value=str(error)) from error
    return _by_three(numbers, count)


def _by_three(numbers: NDArray[Any], count: int) -> NDArray[Any]:
    """Return numbers as rows of three, of which there must be so many."""
    if len(numbers) != 3 * count:
        raise CheckFailed(
            "The 3MF elements do not have three numbers each.", value=len(numbers), limit=f"{3 * count} numbers"
        )
    return numbers.reshape(-1, 3)


def _clean(text: str) -> str:
    return _NOT_IN_XML.sub("\ufffd", text)
