"""Silhouettes over HTTP: uploads, corners, corrections, pictures, preconditions, quotas."""

import io
from pathlib import Path

import numpy as np
import orjson
import pytest
from PIL import Image
from trimesh import creation

from worker.jobs.common.settings import Settings
from worker.jobs.execution.silhouettes.silhouette_runner import SilhouetteRunner
from worker.jobs.execution.transient_errors import TaskOutcome

_SVG = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
    b'<path d="M5 5h50v30h-50z M10 10h10v10h-10z"/></svg>'
)
_PHOTOS = Path(__file__).parents[2] / "silhouettes" / "photo" / "data"
_POLYGON = {"name": "shim", "points": [[0, 0], [40, 0], [40, 20], [0, 20]], "depth": 2}


@pytest.fixture(scope="module")
def closed_settings(tmp_path_factory):
    return Settings.read(data_dir=tmp_path_factory.mktemp("closed"), allowed_hosts="drawers.test")


@pytest.fixture
def run(job_service, blobs):
    """Give a function that reads a silhouette as a worker does."""
    return SilhouetteRunner(job_service.silhouettes.records, blobs).run


def _post(service, *files, **options):
    parts = [("file", (name, io.BytesIO(content))) for name, content in files]
    headers = options.pop("headers", {})
    return service.post(
        "/v1/silhouettes", files=parts, data={"options": orjson.dumps(options).decode()}, headers=headers
    )


def _stored(blobs, made):
    return [stored.key for stored in blobs.under(f"silhouettes/{made['id']}")]


def _read(service, run, made):
    run(made["id"])
    return service.get(made["links"]["self"]).json()


def test_a_drawing_is_read_by_a_worker_and_its_file_deleted(service, run, blobs):
    answer = _post(service, ("shim.svg", _SVG), name="shim", thickness="2 mm")

    assert answer.status_code == 202
    made = answer.json()
    assert answer.headers["location"] == made["links"]["self"]
    assert (made["state"], made["kind"], made["outline"], len(_stored(blobs, made))) == ("queued", "drawing", None, 1)
    assert service.get(f"{made['links']['self']}/outline.svg").status_code == 409

    assert run(made["id"]) is TaskOutcome.DONE
    assert run(made["id"]) is TaskOutcome.NOT_DUE

    read = service.get(made["links"]["self"]).json()
    assert (read["state"], read["kept"], _stored(blobs, made)) == ("succeeded", [], [])
    assert read["request"] == {"name": "shim", "thickness": 2.0}
    assert read["outline"]["depth"] == 2.0
    assert sorted(map(tuple, read["outline"]["corners"])) == [(0, 0), (0, 30), (50, 0), (50, 30)]
    assert len(read["outline"]["holes"]) == 1
    drawing = service.get(read["links"]["outline"])
    assert drawing.headers["content-type"] == "image/svg+xml"
    assert "50.0 x 30.0 mm, 2.0 mm high" in drawing.text
    again = service.get(read["links"]["outline"], headers={"If-None-Match": drawing.headers["etag"]})
    assert again.status_code == 304
    assert service.get(f"{made['links']['self']}/overlay.png").json()["type"].endswith("/silhouette-not-ready")


def test_a_photo_is_read_by_a_worker_and_nothing_of_it_kept_but_pictures(service, run, blobs):
    """The outline takes the washer of ISO 7089 (M20: 37 mm outside, from memory), and the picture has no metadata."""
    photo = (_PHOTOS / "washer.jpg").read_bytes()
    made = _post(service, ("washer.jpg", photo), name="washer", thickness="3 mm", body="flat", bar=150).json()
    assert (made["kind"], made["state"], len(_stored(blobs, made))) == ("photo", "queued", 1)

    assert run(made["id"]) is TaskOutcome.DONE

    read = service.get(made["links"]["self"]).json()
    assert (read["state"], read["kept"]) == ("succeeded", [])
    assert len(_stored(blobs, made)) == 2
    outline = read["outline"]
    sides = [max(values) - min(values) for values in zip(*outline["outer"], strict=True)]
    assert all(37.0 <= side <= 39.5 for side in sides)
    picture = service.get(read["links"]["overlay"])
    assert picture.headers["content-type"] == "image/png"
    with Image.open(io.BytesIO(picture.content)) as overlay:
        assert not overlay.getexif()
        assert overlay.info == {}
        assert overlay.width == pytest.approx(outline["details"]["overlay_per_mm"] * (sides[0] + 24.0), abs=3.0)


def test_a_photo_needs_the_thickness(service):
    without = _post(service, ("washer.jpg", (_PHOTOS / "washer.jpg").read_bytes()))
    assert (without.status_code, without.json()["pointer"]) == (422, "/thickness")


def _with_owner(photo):
    """The photo with an owner and a place in its EXIF (CIPA DC-008: tags 0x013B, 0x8825)."""
    with Image.open(io.BytesIO(photo)) as image:
        exif = image.getexif()
        exif[0x013B] = "Owner of the camera"
        exif.get_ifd(0x8825)[2] = (47.0, 22.0, 8.5)
        file = io.BytesIO()
        image.save(file, "JPEG", quality=92, exif=exif, comment=b"a comment")
    return file.getvalue()


def test_a_photo_is_kept_when_asked_with_nothing_but_its_pixels(service, run, blobs, job_service):
    photo = _with_owner((_PHOTOS / "washer.jpg").read_bytes())
    assert b"Owner of the camera" in photo

    made = _post(service, ("washer.jpg", photo), thickness=2.5, keep=True).json()
    read = _read(service, run, made)

    assert read["kept"] == ["photo-1.jpg"]
    stored = job_service.silhouettes.records.find(made["id"], None)
    assert [file.name for file in stored.files] == ["overlay.png", "photo-1.jpg", "rectified.png"]
    for file in stored.files:
        content = blobs.get(file.key)
        assert not any(secret in content for secret in (b"Owner", b"Exif", b"comment"))
        with Image.open(io.BytesIO(content)) as image:
            assert not image.getexif()
    with (
        Image.open(io.BytesIO(photo)) as sent,
        Image.open(io.BytesIO(blobs.get(stored.file("photo-1.jpg").key))) as kept,
    ):
        apart = np.abs(np.asarray(sent, dtype=float) - np.asarray(kept, dtype=float))
    assert apart.mean() < 3.0
    assert sorted(file.key for file in stored.files) == sorted(_stored(blobs, made))
    etag = service.get(made["links"]["self"]).headers["etag"]
    assert service.delete(made["links"]["self"], headers={"If-Match": etag}).status_code == 204
    assert _stored(blobs, made) == []


def test_a_photo_that_shows_no_outline_is_not_kept(service, run, blobs):
    blank = io.BytesIO()
    Image.new("RGB", (1200, 1000), "white").save(blank, "JPEG")
    made = _post(service, ("blank.jpg", blank.getvalue()), thickness=2.5, keep=True).json()
    assert _read(service, run, made)["state"] == "failed"
    assert _stored(blobs, made) == []


def test_the_rectified_photo_lies_below_a_corrected_outline(service, run):
    """Where the lines are not, both pictures are the same."""
    made = _post(service, ("washer.jpg", (_PHOTOS / "washer.jpg").read_bytes()), thickness=2.5).json()
    links = _read(service, run, made)["links"]
    pictures = [service.get(links[name]) for name in ("overlay", "photo")]
    overlay, plain = (np.asarray(Image.open(io.BytesIO(picture.content)), dtype=float) for picture in pictures)
    assert overlay.shape == plain.shape
    lines = np.abs(overlay - plain).max(axis=2) > 40.0
    assert 0.005 < lines.mean() < 0.2
    magenta = (overlay[..., 0] > 180) & (overlay[..., 1] < 80)
    assert magenta[lines].any()
    assert not ((plain[..., 0] > 180) & (plain[..., 1] < 80)).any()


def test_a_model_offers_its_poses_and_can_be_kept(service, run, blobs):
    content = creation.box((30, 20, 10)).export(file_type="stl")
    made = _post(service, ("block.STL", content), unit="mm", keep=True, pose=3).json()

    run(made["id"])

    read = service.get(made["links"]["self"]).json()
    assert [pose["size"] for pose in read["poses"]] == [[30, 20, 10], [30, 10, 20], [20, 10, 30]]
    assert read["outline"]["depth"] == pytest.approx(30)
    assert (read["kept"], len(_stored(blobs, made))) == (["source-1.stl"], 1)


def test_a_file_that_cannot_be_read_fails_with_reason_and_field(service, run, blobs):
    made = _post(service, ("shim.svg", _SVG.replace(b"mm", b""))).json()

    assert run(made["id"]) is TaskOutcome.FAILED

    read = service.get(made["links"]["self"]).json()
    assert (read["state"], read["outline"], _stored(blobs, made)) == ("failed", None, [])
    assert read["problem"]["type"].endswith("/problems/drawing-refused")
    assert (read["problem"]["reason"], read["problem"]["pointer"]) == ("no-unit", "/unit")
    assert (read["problem"]["status"], bool(read["problem"]["remedy"])) == (422, True)

    answer = service.request("PUT", f"{made['links']['self']}/outline", json={"points": _POLYGON["points"]})
    assert (answer.json()["state"], answer.json()["corrected"]) == ("succeeded", True)


def test_corners_are_a_silhouette_at_once(service):
    answer = service.post("/v1/silhouettes", json=_POLYGON)

    assert answer.status_code == 201
    made = answer.json()
    assert (made["state"], made["kind"], made["name"]) == ("succeeded", "points", "shim")
    assert made["outline"]["outer"] == [[0, 0], [40, 0], [40, 20], [0, 20]]
    assert service.get("/v1/silhouettes?name=shi&limit=1").json()["silhouettes"][0]["id"] == made["id"]


def test_corners_keep_how_uncertain_the_outline_is_that_they_correct(service):
    made = service.post("/v1/silhouettes", json={**_POLYGON, "uncertainty": 0.4}).json()
    assert made["outline"]["uncertainty"] == 0.4
    refused = service.post("/v1/silhouettes", json={**_POLYGON, "uncertainty": -1})
    assert refused.json()["errors"][0]["pointer"] == "/uncertainty"


def test_silhouettes_are_listed_by_their_tags(service):
    tagged = _post(service, ("shim.svg", _SVG), tags=["desk 7", "shop"]).json()
    other = service.post("/v1/silhouettes", json={**_POLYGON, "tags": ["desk 8"]}).json()
    assert (tagged["tags"], other["tags"]) == (["desk 7", "shop"], ["desk 8"])

    def listed(*tags):
        answer = service.get("/v1/silhouettes", params=[("tag", tag) for tag in tags])
        return [silhouette["id"] for silhouette in answer.json()["silhouettes"]]

    assert listed("desk 7") == listed("desk 7", "shop") == [tagged["id"]]
    assert listed("desk 8") == [other["id"]]
    assert listed("desk") == listed("desk 8", "shop") == []
    assert _post(service, ("shim.svg", _SVG), tags=["a", "a"]).json()["errors"][0]["pointer"] == "/tags"


def test_an_outline_is_corrected_only_as_it_was_seen(service):
    made = service.post("/v1/silhouettes", json=_POLYGON)
    url, tag = made.json()["links"]["self"], made.headers["etag"]
    wider = {"points": [[0, 0], [42, 0], [42, 20], [0, 20]]}

    changed = service.request("PUT", f"{url}/outline", json=wider, headers={"If-Match": tag})
    late = service.request("PUT", f"{url}/outline", json=wider, headers={"If-Match": tag})

    assert changed.json()["outline"]["outer"][1] == [42, 0]
    assert (changed.json()["outline"]["depth"], changed.json()["corrected"]) == (2.0, True)
    assert late.status_code == 412
    assert service.delete(url, headers={"If-Match": tag}).status_code == 412
    assert service.delete(url, headers={"If-Match": changed.headers["etag"]}).status_code == 204
    assert service.get(url).status_code == 404


def test_corners_that_are_no_outline_are_refused(service):
    for points in ([[0, 0], [30, 30], [30, 0], [0, 30]], [[0, 0], [0.1, 0], [0, 30]], [[0, 0], [1, 1]]):
        answer = service.post("/v1/silhouettes", json={"points": points})

        assert answer.status_code == 422
        assert answer.json()["remedy"] or answer.json()["errors"]


@pytest.mark.parametrize(
    ("files", "options", "slug"),
    [
        ([("shim.txt", b"x")], {}, "no-silhouette"),
        ([("shim.png", _SVG)], {}, "no-silhouette"),
        ([("a.svg", _SVG), ("b.svg", _SVG)], {}, "no-silhouette"),
        ([("a.jpg", b"\xff\xd8\xff"), ("b.svg", _SVG)], {}, "no-silhouette"),
        ([("a.jpg", b"\xff\xd8\xff")], {}, "no-silhouette"),
        ([("a.svg", _SVG)] * 4, {}, "request-refused"),
        ([("a.svg", _SVG)], {"unit": "furlong"}, "silhouette-refused"),
        ([("a.svg", _SVG)], {"colour": "red"}, "silhouette-refused"),
    ],
)
def test_uploads_that_make_no_sense_are_refused(service, files, options, slug):
    answer = _post(service, *files, **options)

    assert answer.json()["type"].endswith(f"/{slug}"), answer.json()
    assert answer.status_code in {400, 422}


def test_a_malformed_body_is_refused(service):
    for body in (b"", b"--x", b"--x\r\nContent-Disposition: form-data\r\n\r\n1\r\n--x--\r\n", b"\x00" * 500):
        answer = service.post(
            "/v1/silhouettes", content=body, headers={"Content-Type": "multipart/form-data; boundary=x"}
        )
        assert answer.status_code in {400, 422}, body
    assert service.post("/v1/silhouettes", content=b"x", headers={"Content-Type": "text/plain"}).status_code == 415
    assert (
        service.post("/v1/silhouettes", content=b"x", headers={"Content-Type": "multipart/form-data"}).status_code
        == 400
    )


def test_large_uploads_are_refused(service, job_service):
    answer = _post(service, ("a.svg", b" " * (job_service.settings.largest_upload + 1)))

    assert answer.status_code == 413


def test_a_repeated_request_makes_one_silhouette(service, blobs):
    key = {"Idempotency-Key": '"first"'}

    first = _post(service, ("a.svg", _SVG), headers=key).json()
    again = _post(service, ("a.svg", _SVG), headers=key).json()
    other = _post(service, ("a.svg", _SVG.replace(b"h50", b"h49")), headers=key)

    assert first["id"] == again["id"]
    assert other.status_code == 422
    assert len(_stored(blobs, first)) == 1


def test_a_thing_keeps_its_silhouette(service):
    made = service.post("/v1/silhouettes", json=_POLYGON).json()
    shape = {"kind": "silhouette", "id": made["id"]}

    thing = service.post("/v1/things", json={"name": "shim", "shape": shape})

    assert thing.status_code == 201
    assert thing.json()["thing"]["shape"] == shape
    refused = service.delete(made["links"]["self"])
    assert refused.status_code == 409
    assert refused.json()["value"] == thing.json()["id"]
    unknown = service.post("/v1/things", json={"name": "other", "shape": {"kind": "silhouette", "id": "0" * 26}})
    assert unknown.status_code == 404
    assert unknown.json()["pointer"] == "/shape/id"


def test_silhouettes_of_others_are_not_found(closed, closed_job_service):
    keys = [closed_job_service.keys.create(name, ["submit", "read"]) for name in ("one", "other")]
    own, other = ({"Authorization": f"Bearer {secret.get_secret_value()}"} for _, secret in keys)

    made = closed.post("/v1/silhouettes", json=_POLYGON, headers=own)

    assert made.status_code == 201
    assert closed.get(made.json()["links"]["self"], headers=own).status_code == 200
    assert closed.get(made.json()["links"]["self"], headers=other).status_code == 404
    assert closed.get("/v1/silhouettes", headers=other).json()["silhouettes"] == []
    assert closed.delete(made.json()["links"]["self"], headers=other).status_code == 404
