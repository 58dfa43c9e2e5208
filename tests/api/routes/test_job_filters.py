"""Lists of jobs: chosen by state, name and time, page by page."""

import re
from datetime import UTC, datetime, timedelta

import pytest


@pytest.fixture(scope="module")
def made(service):
    """The documents of five jobs, of which two are cancelled."""
    spec = {
        "spec": "1",
        "name": "bench left",
        "drawers": [{"name": "top", "width": 136, "depth": 136, "height": 40}],
        "printer": {"bed": [180, 180, 180]},
    }
    names = ["screws & nuts", "Screws 100 %", "pens", "pens", "screwdrivers"]
    jobs = [service.post("/v1/jobs", json={**spec, "name": name}).json() for name in names]
    for job in jobs[:2]:
        service.delete(job["links"]["self"])
    return jobs


def _names(service, **query):
    answer = service.get("/v1/jobs", params=query)
    assert answer.status_code == 200, answer.text
    return [job["name"] for job in answer.json()["jobs"]]


@pytest.mark.parametrize(
    ("query", "names"),
    [
        ({"state": "cancelled"}, ["Screws 100 %", "screws & nuts"]),
        ({"state": ["queued", "running"], "name": "screw"}, ["screwdrivers"]),
        ({"name": "SCREW"}, ["screwdrivers", "Screws 100 %", "screws & nuts"]),
        ({"name": "%"}, ["Screws 100 %"]),
        ({"name": "_"}, []),
        ({"name": "pens", "limit": 1}, ["pens"]),
    ],
)
@pytest.mark.usefixtures("made")
def test_jobs_are_chosen(service, query, names):
    assert _names(service, **query) == names


def test_jobs_are_chosen_by_time(service, made):
    assert _names(service, created_after=made[2]["created"]) == ["screwdrivers", "pens"]
    assert _names(service, created_before=made[1]["created"]) == ["screws & nuts"]
    later = (datetime.now(UTC) + timedelta(hours=1)).isoformat()
    assert _names(service, created_after=later) == []


def test_links_lead_through_all_pages_with_the_same_choice(service, made):
    answer = service.get("/v1/jobs", params={"name": "s", "limit": 2, "state": ["queued", "cancelled"]})
    seen = []
    while True:
        seen += [job["name"] for job in answer.json()["jobs"]]
        if "link" not in answer.headers:
            break
        match = re.fullmatch(r'<([^<>]*)>; rel="next"', answer.headers["link"])
        assert match[1] == answer.json()["next"]
        answer = service.get(match[1])
    assert answer.json()["next"] is None
    assert seen == [job["name"] for job in reversed(made)]


@pytest.mark.parametrize(
    ("query", "name"),
    [
        ("state=done", "state"),
        ("colour=red", "colour"),
        ("name=", "name"),
        ("created_after=yesterday", "created_after"),
        ("created_after=2026-11-25T10:00:00", "created_after"),  # of which zone?
    ],
)
def test_what_cannot_be_asked_for_is_named(service, query, name):
    answer = service.get(f"/v1/jobs?{query}")
    assert answer.status_code == 422
    problem = answer.json()
    assert name in (problem.get("parameter"), *(error["parameter"] for error in problem.get("errors", ()))) or any(
        error["parameter"].isdigit() for error in problem["errors"]
    )
