"""The reference sheet over HTTP."""

import pytest

from worker.output.drawings.reference_sheet import write_reference_sheet


@pytest.mark.parametrize(
    ("query", "size", "tint"), [({}, "a4", "green"), ({"size": "letter", "tint": "pink"}, "letter", "pink")]
)
def test_it_answers_with_the_sheet(service, query, size, tint):
    answer = service.get("/v1/reference-sheet.pdf", params=query)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/pdf"
    assert f"{size}-{tint}.pdf" in answer.headers["content-disposition"]
    assert answer.content == write_reference_sheet(size, tint)
    tag = {"If-None-Match": answer.headers["etag"]}
    assert service.get("/v1/reference-sheet.pdf", params=query, headers=tag).status_code == 304
    head = service.head("/v1/reference-sheet.pdf", params=query)
    assert (head.status_code, head.headers["etag"]) == (200, answer.headers["etag"])


@pytest.mark.parametrize("query", [{"size": "a3"}, {"tint": "white"}, {"colour": "pink"}])
def test_another_size_or_tint_is_refused(service, query):
    answer = service.get("/v1/reference-sheet.pdf", params=query)
    assert answer.status_code == 422
    assert answer.json()["type"].endswith("/problems/parameter-refused")
