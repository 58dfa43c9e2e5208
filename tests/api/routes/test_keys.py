import pytest

from worker.jobs.common.settings import Settings


@pytest.fixture(scope="module")
def closed_settings(tmp_path_factory):
    return Settings.read(data_dir=tmp_path_factory.mktemp("closed"), failures_per_minute=0)


@pytest.fixture(scope="module")
def ask(closed, closed_job_service):
    """Give a function that sends a request with a key of these scopes, or with this token."""
    tokens = {}

    def send(method, url, *scopes, token=None, **options):
        if token is None:
            if scopes not in tokens:
                tokens[scopes] = closed_job_service.keys.create("test", scopes)[1].get_secret_value()
            token = tokens[scopes]
        return closed.request(method, url, headers={"Authorization": f"Bearer {token}"}, **options)

    return send


def test_a_key_is_made_used_listed_and_revoked(ask):
    body = {"name": "shop kiosk", "scopes": ["read", "submit"], "expires_days": 30, "quotas": {"daily": 3}}
    made = ask("POST", "/v1/keys", "admin", json=body)
    assert made.status_code == 201
    document = made.json()
    token = document.pop("key")
    assert made.headers["location"] == document["self"]
    assert (document["scopes"], document["quotas"], document["state"]) == (["submit", "read"], {"daily": 3}, "active")
    assert ask("GET", "/v1/jobs", token=token).status_code == 200
    at = document["self"]
    got = ask("GET", at, "admin").json()
    assert {**got, "last_used": None} == document
    assert token not in ask("GET", "/v1/keys", "admin").text
    assert document["id"] in [key["id"] for key in ask("GET", "/v1/keys", "admin").json()["keys"]]
    revoked = ask("DELETE", at, "admin").json()
    assert revoked["state"] == "revoked"
    assert ask("DELETE", at, "admin").json() == revoked


def test_a_revoked_key_opens_nothing(ask, until):
    made = ask("POST", "/v1/keys", "admin", json={"name": "x", "scopes": ["read"]}).json()
    ask("DELETE", made["self"], "admin")
    assert until(lambda: ask("GET", "/v1/jobs", token=made["key"]).status_code == 401)


@pytest.mark.parametrize("scope", ["submit", "read", "record", "kiosk"])
def test_only_admin_sees_and_makes_keys(ask, scope):
    for method, url in (("GET", "/v1/keys"), ("POST", "/v1/keys"), ("GET", "/v1/keys/1"), ("DELETE", "/v1/keys/1")):
        answer = ask(method, url, scope)
        assert answer.status_code == 403, (method, url)
        assert answer.json()["type"].endswith("/problems/scope-missing")


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"name": "", "scopes": ["read"]}, "/name"),
        ({"name": "x", "scopes": []}, "/scopes"),
        ({"name": "x", "scopes": ["write"]}, "/scopes/0"),
        ({"name": "x", "scopes": ["read", "read"]}, "/scopes"),
        ({"name": "x", "scopes": ["read"], "expires_days": 0}, "/expires_days"),
        ({"name": "x", "scopes": ["read"], "quotas": {"daily": -1}}, "/quotas/daily"),
        ({"name": "x", "scopes": ["read"], "secret": "mine"}, "/secret"),
        ({"scopes": ["read"]}, "/name"),
    ],
)
def test_a_faulty_key_is_refused_with_its_place(ask, body, pointer):
    answer = ask("POST", "/v1/keys", "admin", json=body)
    assert answer.status_code == 422
    assert answer.json()["type"].endswith("/problems/key-refused")
    assert answer.json()["pointer"] == pointer


def test_a_key_that_is_not_there_is_not_found(ask):
    for method in ("GET", "DELETE"):
        answer = ask(method, "/v1/keys/0123456789", "admin")
        assert answer.status_code == 404
        assert answer.json()["type"].endswith("/problems/key-not-found")
