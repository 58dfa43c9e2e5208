from datetime import timedelta

import pytest
from sqlalchemy import event

from worker.jobs.common.ids import new_id
from worker.jobs.records.models import StoredFile
from worker.jobs.records.silhouettes import NewSilhouette, SilhouetteRecords, silhouette_fields
from worker.silhouettes.picture_names import OVERLAY_NAME, RECTIFIED_NAME

_OUTLINE = {"outline": {"corners": [[0, 0], [40, 0], [0, 20]]}}
_PROBLEM = {"type": "/problems/silhouette-refused", "title": "Blurred", "status": 422}


@pytest.fixture
def silhouettes(database):
    return SilhouetteRecords(database)


def test_a_summary_says_what_a_message_has(silhouettes):
    pictures = [StoredFile(name, "image/png", 3, "0" * 64, name) for name in (OVERLAY_NAME, RECTIFIED_NAME)]
    made = {
        name: silhouettes.add(NewSilhouette(new_id(), name, "photo", "{}", ("metal", "long")), owner="local")
        for name in ("waiting", "read", "older", "drawn", "refused")
    }
    for name, files in (("read", pictures), ("older", pictures[:1]), ("drawn", [])):
        assert silhouettes.finish(made[name], silhouettes.claim(made[name], attempts=3), _OUTLINE, files)
    silhouettes.fail(made["refused"], silhouettes.claim(made["refused"], attempts=3), _PROBLEM, [])
    whole = [silhouettes.find(identity, None) for identity in made.values()]
    since = min(entry.created for entry in whole) - timedelta(seconds=1)
    summaries = {summary.id: summary for summary in silhouettes.changed_since(since, 9)}
    for entry in whole:
        summary = summaries[entry.id]
        assert silhouette_fields(summary, "") == silhouette_fields(entry, "")
        assert (summary.revision, summary.updated, summary.corrected) == (entry.revision, entry.updated, False)
    links = {name: silhouette_fields(summaries[identity], "")["links"] for name, identity in made.items()}
    assert [name for name in links if links[name]["overlay"]] == ["read", "older"]
    assert [name for name in links if links[name]["photo"]] == ["read"]
    assert [name for name in links if links[name]["outline"]] == ["read", "older", "drawn"]
    assert silhouettes.changed_since(since, 9, owner="another") == []


def test_changes_are_read_without_outlines_and_in_one_query(silhouettes, database):
    made = [silhouettes.add(NewSilhouette(new_id(), "shim", "drawing", "{}"), owner="local") for _ in range(5)]
    since = silhouettes.find(made[0], None).created
    statements = []
    event.listen(database, "before_cursor_execute", lambda *values: statements.append(values[2]))
    assert len(silhouettes.changed_since(since, 9)) == len(made)
    (statement,) = [statement for statement in statements if statement.startswith("SELECT")]
    columns, _ = statement.split("FROM silhouettes", 1)
    assert "request" not in columns
    assert columns.count("result") == columns.count("result IS NOT NULL") == 1
