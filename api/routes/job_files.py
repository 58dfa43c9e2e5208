"""The files of a job: its manifest, the archive and single files."""

from typing import Final

from fastapi import APIRouter, Request, Response

from api.app_state import JobServiceDep
from api.http.responses.file_routes import file_responses, file_route, is_file_name
from api.http.responses.streaming import file_response
from worker.jobs.common.errors import BlobMissing, FileNotInJob, JobNotFound, JobNotReady
from worker.spec.manifest import FILE_TYPES, JSON_TYPE, ZIP_TYPE, Manifest

__all__ = ["router"]

router = APIRouter(prefix="/v1/jobs", tags=["jobs"])

_ERRORS: Final = (JobNotFound, JobNotReady, FileNotInJob, BlobMissing)


@file_route(
    router,
    "/{job_id}/manifest",
    name="Manifest",
    summary="Get the manifest",
    head_summary="Get the size and checksum of the manifest",
    responses={
        **file_responses("The manifest.", JSON_TYPE, errors=_ERRORS),
        200: {"model": Manifest, "description": "The manifest."},
    },
)
def get_manifest(request: Request, job_service: JobServiceDep, job_id: str) -> Response:
    """Get everything that a job made: drawers, placements, parts with their checks and files, runs and cautions."""
    return file_response(request, job_service, job_service.manifest(job_id), attachment=False)


@file_route(
    router,
    "/{job_id}/bundle.zip",
    name="Bundle",
    summary="Download all files as one archive",
    head_summary="Get the size and checksum of the archive",
    responses=file_responses("All files and the manifest.", ZIP_TYPE, errors=_ERRORS),
)
def get_bundle(request: Request, job_service: JobServiceDep, job_id: str) -> Response:
    """Download all files and the manifest as one ZIP archive."""
    return file_response(request, job_service, job_service.bundle(job_id))


@file_route(
    router,
    "/{job_id}/files/{name}",
    name="File",
    summary="Download a file",
    head_summary="Get the size and checksum of a file",
    responses=file_responses("The file; the manifest names its media type.", *FILE_TYPES, errors=_ERRORS),
)
def get_file(request: Request, job_service: JobServiceDep, job_id: str, name: str) -> Response:
    """Download one of the files that the manifest lists."""
    if not is_file_name(name):
        job_service.job(job_id)
        raise FileNotInJob(value=name)
    return file_response(request, job_service, job_service.file(job_id, name))
