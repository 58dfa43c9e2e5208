"""The statuses are contract: the table below was written down from the service before the errors lost theirs."""

import pytest

from api.http.problems.status_codes import STATUS_CODES, problem_kinds, status_of
from worker.jobs.common.errors import BlobMissing, InternalError, JobTooLarge, JobTooLong
from worker.jobs.records.job_document import stored_problem
from worker.spec.errors import CheckFailed, LayoutError, SpecError, TrayError

_PUBLISHED = {
    "address-unknown": 404,
    "batch-not-found": 404,
    "batch-not-ready": 409,
    "blob-missing": 500,
    "body-too-large": 413,
    "body-too-slow": 408,
    "body-type-refused": 415,
    "broker-unavailable": 503,
    "check-failed": 500,
    "cross-site-refused": 403,
    "drawer-not-found": 404,
    "drawer-not-laid-out": 409,
    "delivery-not-found": 404,
    "file-not-found": 404,
    "household-conflict": 409,
    "household-refused": 422,
    "piece-not-found": 404,
    "thing-not-found": 404,
    "header-refused": 400,
    "host-refused": 403,
    "internal-error": 500,
    "invalid-joint": 422,
    "invalid-length": 422,
    "invalid-spec": 422,
    "invalid-panel": 422,
    "invalid-tray": 422,
    "job-cancelled": 409,
    "job-finished": 409,
    "job-not-ended": 409,
    "job-not-failed": 409,
    "job-not-found": 404,
    "job-not-ready": 409,
    "job-too-large": 500,
    "job-too-long": 500,
    "key-not-found": 404,
    "key-refused": 422,
    "key-required": 401,
    "method-refused": 405,
    "no-layout": 422,
    "no-silhouette": 422,
    "photo-refused": 422,
    "drawing-refused": 422,
    "model-refused": 422,
    "silhouette-not-found": 404,
    "silhouette-not-ready": 409,
    "silhouette-refused": 422,
    "not-ready": 503,
    "parameter-refused": 422,
    "patch-refused": 422,
    "plan-too-costly": 422,
    "plans-busy": 503,
    "precondition-failed": 412,
    "print-refused": 422,
    "clearance-not-read": 409,
    "print-repeated": 422,
    "prints-busy": 503,
    "quota-reached": 429,
    "range-refused": 416,
    "rate-exceeded": 429,
    "record-busy": 503,
    "record-damaged": 503,
    "record-full": 503,
    "redelivery-refused": 409,
    "request-refused": 400,
    "request-repeated": 422,
    "run-not-ready": 409,
    "runs-unknown": 409,
    "scope-missing": 403,
    "spec-too-large": 422,
    "thing-unknown": 404,
    "webhook-not-found": 404,
    "webhook-refused": 422,
}


def test_every_kind_has_its_published_status():
    assert {slug: status_of(kind) for slug, kind in problem_kinds().items()} == _PUBLISHED


@pytest.mark.parametrize("kind", problem_kinds().values(), ids=problem_kinds())
def test_every_kind_has_a_row_of_its_own_or_of_a_base_class(kind):
    assert any(base in STATUS_CODES for base in kind.__mro__)


def test_a_subclass_without_a_row_has_the_status_of_its_base_class():
    assert TrayError not in STATUS_CODES
    assert LayoutError not in STATUS_CODES
    assert status_of(TrayError) == STATUS_CODES[SpecError]


@pytest.mark.parametrize(
    "kind", [SpecError, LayoutError, TrayError, CheckFailed, JobTooLong, JobTooLarge, BlobMissing, InternalError]
)
def test_a_stored_problem_has_the_status_that_the_table_gives(kind):
    assert stored_problem(kind())["status"] == status_of(kind)
