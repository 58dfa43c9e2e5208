"""A guard in front of XML of strangers: size, nesting and number of elements are checked, and entities are refused.

A document type can define entities that grow without bound when they are expanded, or that name files of the machine
(CWE-776, CWE-611); no drawing needs one.
"""

from typing import Any, Final
from xml.etree import ElementTree as ET
from xml.parsers import expat

from worker.silhouettes.errors import SilhouetteError

__all__ = ["MOST_ELEMENTS", "check_xml", "read_xml"]

#: Elements of one document, and how deep they may be nested.
MOST_ELEMENTS: Final = 50_000
_DEEPEST: Final = 64

#: Characters of all attributes of one element: a path of 100,000 points.
_LONGEST_ATTRIBUTES: Final = 4_000_000


def read_xml(content: bytes, error: type[SilhouetteError]) -> ET.Element:
    """Return the root element of a document that keeps the limits.

    Raises:
        SilhouetteError: of the class ``error``, if it is no XML, has a document type, or exceeds a limit.
    """
    check_xml(content, error)
    return ET.fromstring(content)  # noqa: S314 - without a document type there are no entities to expand


def check_xml(content: bytes, error: type[SilhouetteError], *, most_elements: int = MOST_ELEMENTS) -> None:
    """Check a document against the limits; raise as `read_xml`."""
    scan = _Scan(error, most_elements)
    parser = expat.ParserCreate()
    parser.StartElementHandler = scan.start
    parser.EndElementHandler = scan.end
    parser.EntityDeclHandler = scan.entity
    parser.StartDoctypeDeclHandler = scan.doctype
    try:
        parser.Parse(content, True)  # noqa: FBT003 - the parser's own signature
    except expat.ExpatError as fault:
        raise error(
            f"The file is no XML: {expat.ErrorString(fault.code)} in line {fault.lineno}.",
            reason="not-xml", remedy="Export the drawing again.",
        ) from None  # fmt: skip
    except (LookupError, ValueError):  # an encoding that is not supported
        raise error("The file has an unusual encoding.", reason="not-xml", remedy="Save it as UTF-8.") from None


class _Scan:
    def __init__(self, error: type[SilhouetteError], most_elements: int) -> None:
        self._error = error
        self._most_elements = most_elements
        self._depth = 0
        self._count = 0

    def start(self, _name: str, attributes: dict[str, str]) -> None:
        self._depth += 1
        self._count += 1
        if self._depth > _DEEPEST:
            self._refuse("too-deep", self._depth, f"elements nested at most {_DEEPEST} deep")
        if self._count > self._most_elements:
            self._refuse("too-large", self._count, f"at most {self._most_elements} elements")
        length = sum(map(len, attributes.values()))
        if length > _LONGEST_ATTRIBUTES:
            self._refuse("too-large", length, f"at most {_LONGEST_ATTRIBUTES} characters in an element")

    def end(self, _name: str) -> None:
        self._depth -= 1

    def doctype(self, name: str, *identifiers: Any) -> None:
        if identifiers[-1]:  # it has an internal subset: definitions of its own
            self._refuse("entities", name, "no definitions in the document type")

    def entity(self, name: str, *_: Any) -> None:
        self._refuse("entities", name, "no entities")

    def _refuse(self, reason: str, value: object, limit: str) -> None:
        raise self._error(
            "The file has more or other XML than a drawing of one thing needs.",
            reason=reason, value=value, limit=limit, remedy="Export only the outline, as plain SVG.",
        )  # fmt: skip
