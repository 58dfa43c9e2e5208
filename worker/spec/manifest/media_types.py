"""Media types of the files that a job writes."""

from typing import Final

STL_TYPE: Final = "model/stl"
THREEMF_TYPE: Final = "model/3mf"
JSON_TYPE: Final = "application/json"
ZIP_TYPE: Final = "application/zip"
SVG_TYPE: Final = "image/svg+xml"
PDF_TYPE: Final = "application/pdf"
GLB_TYPE: Final = "model/gltf-binary"
PNG_TYPE: Final = "image/png"
CSV_TYPE: Final = "text/csv"
CALENDAR_TYPE: Final = "text/calendar"

#: Every media type that a file of a job can have.
FILE_TYPES: Final = (
    STL_TYPE, THREEMF_TYPE, JSON_TYPE, ZIP_TYPE, SVG_TYPE, PDF_TYPE, GLB_TYPE, PNG_TYPE, CSV_TYPE,
    CALENDAR_TYPE,
)  # fmt: skip
