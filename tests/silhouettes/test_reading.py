"""Reading of files of strangers: whatever they hold, there is an outline or a refusal with a reason."""

import pytest

from tests.silhouettes.mutations import CORPUS, mutated, originals
from worker.silhouettes.errors import SilhouetteError
from worker.silhouettes.file_format import format_of, kind_of
from worker.silhouettes.reading import SourceFile, read_files
from worker.spec.requests.silhouette import SilhouetteRequest

_FILES = originals()

#: Mutations of each file here; `python -m tests.bench mutated_files` tries 10,000 in all.
_MUTATIONS = 40


def _read(kind, content):
    """Read a file; whatever else than a refusal is raised fails the test."""
    try:
        reading = read_files([SourceFile(kind, content)], SilhouetteRequest(unit="mm", repair=True))
    except SilhouetteError as error:
        return error.reason, error.remedy
    return reading.document["outline"]["corners"]


@pytest.mark.parametrize("kind", _FILES)
def test_each_original_gives_an_outline(kind):
    request = SilhouetteRequest(outline=1 if kind == "dxf" else None)

    assert read_files([SourceFile(kind, _FILES[kind])], request).document["outline"]["outer"]


@pytest.mark.parametrize("kind", _FILES)
def test_mutated_files_give_an_outline_or_a_reason(kind):
    for number in range(_MUTATIONS):
        assert all(_read(kind, mutated(_FILES[kind], number)))


@pytest.mark.parametrize("path", sorted(CORPUS.iterdir()), ids=lambda path: path.name)
def test_files_that_failed_once(path):
    content = path.read_bytes()

    assert all(_read(format_of(path.name, content), content))


def test_formats_are_told_by_the_end_of_the_name_and_the_first_bytes():
    assert format_of("a photo.JPG", b"\xff\xd8\xff\xe0") == "jpeg"
    assert kind_of(format_of("part.3MF", b"PK\x03\x04")) == "model"
    for name, content in (("a.exe", b"MZ"), ("a.png", b"\xff\xd8\xff"), ("a.webp", b"RIFF1234WAVE"), ("a", b"")):
        with pytest.raises(SilhouetteError) as refusal:
            format_of(name, content)
        assert refusal.value.reason == "unknown-format"


def test_files_of_several_kinds_are_refused():
    files = [SourceFile("svg", _FILES["svg"]), SourceFile("stl", _FILES["stl"])]

    with pytest.raises(SilhouetteError) as refusal:
        read_files(files, SilhouetteRequest())

    assert refusal.value.reason == "several-files"


def test_a_unit_of_another_kind_of_file_is_refused():
    with pytest.raises(SilhouetteError) as refusal:
        read_files([SourceFile("stl", _FILES["stl"])], SilhouetteRequest(unit="pt"))

    assert refusal.value.pointer == "/unit"
