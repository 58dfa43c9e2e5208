"""The configuration file: what is set there, what beats it, and what it may not hold."""

import os

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.jobs.common.config_file import FIELDS, read_config_file
from worker.jobs.common.errors import SettingsError
from worker.jobs.common.settings import Settings


@pytest.fixture
def write(monkeypatch, tmp_path):
    """Give a function that writes the file of a person without any variable of ours; returns its path."""
    for name in Settings.model_fields:
        monkeypatch.delenv(f"DRAWERWRIGHT_{name.upper()}", raising=False)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    path = tmp_path / "drawerwright" / "config.toml"
    path.parent.mkdir()

    def put(text, mode=0o600):
        path.write_text(text)
        path.chmod(mode)
        return path

    return put


def test_option_beats_environment_beats_file_beats_default(write, monkeypatch):
    assert Settings.read().url == ""
    write('url = "http://shop.example:8765"\nout = "parts"\nport = 9000\n')
    settings = Settings.read()
    assert (settings.url, str(settings.out), settings.port) == ("http://shop.example:8765", "parts", 9000)
    monkeypatch.setenv("DRAWERWRIGHT_PORT", "9001")
    monkeypatch.setenv("DRAWERWRIGHT_URL", "")  # nothing is set by that
    settings = Settings.read()
    assert (settings.url, settings.port) == ("http://shop.example:8765", 9001)
    assert Settings.read(port=9002).port == 9002


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('ulr = "http://shop"', "unknown setting, ulr"),
        ('database_url = "sqlite:///x"', "unknown setting, database_url"),  # a service's, not a person's
        ("[url]\nx = 1", "url in"),
        ("port = 70000", "port in"),
        ("url = http", "not valid TOML"),
        ("\x00", "not valid TOML"),
        ("#" * 70_000, "too large"),
    ],
)
def test_what_cannot_be_used_is_told_with_the_file(write, text, message):
    path = write(text)
    with pytest.raises(SettingsError) as refused:
        Settings.read()
    assert message in refused.value.message
    assert str(path) in refused.value.message


def test_a_secret_is_for_its_owner_alone(write):
    path = write('key = "dw_a_b"', mode=0o644)
    with pytest.raises(SettingsError, match="readable by other users") as refused:
        Settings.read()
    assert refused.value.remedy == f"Run: chmod 600 {path}"
    assert "dw_a_b" not in str(refused.value.problem())
    path.chmod(0o600)
    assert Settings.read().key.get_secret_value() == "dw_a_b"
    write('url = "http://x"', mode=0o644)
    assert Settings.read().url == "http://x"


@pytest.mark.usefixtures("write")
def test_a_folder_in_its_place_is_told(tmp_path):
    path = tmp_path / "drawerwright" / "config.toml"
    path.mkdir()
    with pytest.raises(SettingsError, match="cannot be read"):
        Settings.read()


def test_a_relative_home_is_ignored(write, monkeypatch, tmp_path):
    write("port = 9000")
    monkeypatch.chdir(tmp_path.parent)
    monkeypatch.setenv("XDG_CONFIG_HOME", tmp_path.name)  # XDG Base Directory Specification
    monkeypatch.setenv("HOME", str(tmp_path / "nobody"))
    assert Settings.read().port == 8765


def test_each_field_is_a_setting():
    assert set(FIELDS) <= set(Settings.model_fields)


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(tmp_path_factory, data):
    path = tmp_path_factory.getbasetemp() / f"any-{os.getpid()}.toml"
    path.write_bytes(data)
    path.chmod(0o600)
    try:
        values = read_config_file(path)
    except SettingsError:
        return
    assert set(values) <= set(FIELDS)
