"""Examples of the plan document, the manifest and the manifest of a batch, for the contract."""

from typing import Any, Final

from pydantic import BaseModel

from worker.spec.manifest import (
    CautionEntry,
    Cells,
    Check,
    DrawerEntry,
    EstimateEntry,
    FileEntry,
    Generator,
    Manifest,
    PartEntry,
    PlacementEntry,
    PlanDocument,
    PlannedPart,
    PurchaseEntry,
    RunEntry,
    RunPiece,
    WorkEntry,
)
from worker.spec.manifest.batch_manifest import BatchBeds, BatchDrawer, BatchManifest, BatchPiece, BatchRun

__all__ = ["MANIFEST_EXAMPLES"]

_ID: Final = "01k9x5m8w2q4r6t8v0y2a4c6e8"
_DIGEST: Final = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"

_DRAWER: Final = DrawerEntry(
    name="keys and coins", copies=1, size=(136.0, 136.0, 45.0),
    outline=(((0.0, 0.0), (136.0, 0.0), (136.0, 136.0), (0.0, 136.0)),),
    origin=(5.0, 5.0), pitch=42.0, cells=Cells(whole=9, half=0, across=(3, 3)), leftover=(10.0, 10.0), free=24,
    placements=(
        PlacementEntry(mark="F1", at=(5.0, 5.0, 0.0), turn=0),
        PlacementEntry(mark="T1", at=(5.3, 5.3, 0.0), turn=0, cell=(0.0, 0.0), name="keys"),
    ),
)  # fmt: skip
_PLANNED: Final = PlannedPart(mark="T1", kind="tray", name="keys", quantity=1, size=(41.4, 125.4, 30.0), shape=_DIGEST)
_RUN: Final = RunEntry(
    number=1, material="PLA", colour=None, layer=0.2, line_width=0.44,
    pieces=(RunPiece(mark="T1", at=(5.0, 5.0), turn=0, drawer="keys and coins"),),
)  # fmt: skip
_PRICED: Final = {"seconds": 5400.0, "grams": 31.5, "metres": 10.56, "cost": 0.79, "file": "run-01.3mf"}
_WORK: Final = WorkEntry(pieces=1, runs=1, least_runs=1)
_TOTAL: Final = _WORK.model_copy(update={"grams": 31.5, "metres": 10.56, "cost": 0.79, "seconds": 5400.0})
_CAUTION: Final = CautionEntry(topic="heat", text="Keep the parts away from heaters and cars in the sun.")
_BOUGHT: Final = PurchaseEntry(material="PLA", colour=None, grams=31.5, left=400.0, spools=0, cost=0.0)
_MADE_BY: Final = Generator(version="0.1.0", kernel="manifold3d 3.5.4, build 1")
_MANIFEST: Final = Manifest(
    generator=_MADE_BY, name="hall table", spec_digest=_DIGEST, drawers=(_DRAWER,),
    parts=(
        PartEntry(
            **_PLANNED.model_dump(), triangles=1284, volume=25400.0, area=36200.0, digest=_DIGEST,
            estimate=EstimateEntry(
                material="PLA", colour=None, layer=0.2, line_width=0.44, grams=31.5, metres=10.56, cost=0.79,
                seconds=5400.0, laying_seconds=5040.0, layers=150,
            ),
            checks=(Check(name="closed", passed=True, value=0, limit="0 open edges"),),
            files=(FileEntry(name="T1-tray.stl", media_type="model/stl", bytes=64284, sha256=_DIGEST),),
        ),
    ),
    assembly=(Check(name="overlap", passed=True, value=0.0, limit="at most 0.01 mm3"),),
    warnings=(), cautions=(_CAUTION,), numbering={"F": 1, "T": 1}, runs=(_RUN.model_copy(update=_PRICED),),
    work=_TOTAL, purchases=(_BOUGHT,),
)  # fmt: skip
_PIECE: Final = BatchPiece(entry=0, mark="T1", at=(5.0, 5.0), turn=0, drawer="keys and coins")
_BATCH_MANIFEST: Final = BatchManifest(
    generator=_MADE_BY, name="kitchen",
    entries=(
        BatchDrawer(
            entry=0, name="hall table", state="succeeded", job=_ID, drawers=("keys and coins",), parts=1, problem=None
        ),
    ),
    runs=(BatchRun(**{**_RUN.model_dump(), **_PRICED, "pieces": (_PIECE,)}),),
    beds=(BatchBeds(bed=(160.0, 160.0, 160.0), entries=(0,), runs=(1,), work=_TOTAL),),
    pieces=1, grams=31.5, seconds=5400.0, purchases=(_BOUGHT,), cautions=(_CAUTION,),
)  # fmt: skip
_PLAN: Final = PlanDocument(
    name="hall table", drawers=(_DRAWER,), parts=(_PLANNED,), warnings=(), cautions=(_CAUTION,), runs=(_RUN,),
    numbering={"F": 1, "T": 1}, work=_WORK,
)  # fmt: skip

_DOCUMENTS: Final[tuple[BaseModel, ...]] = (_PLAN, _MANIFEST, _BATCH_MANIFEST)

#: Each example as JSON, by the name of its model.
MANIFEST_EXAMPLES: Final[dict[str, Any]] = {
    type(document).__name__: document.model_dump(mode="json") for document in _DOCUMENTS
}
