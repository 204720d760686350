"""What the settings become under an environment, read in a process of its own, and the checks on them."""

import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.staticfiles import finders

from brewbar import bootstrap, checks, testing

ASKED = (
    "ALLOWED_HOSTS AXES_CLIENT_IP_CALLABLE BASE_URL CSRF_COOKIE_SECURE CSRF_TRUSTED_ORIGINS DATABASES "
    "DATA_DIR DEBUG DEMO SECURE_HSTS_SECONDS SECURE_PROXY_SSL_HEADER SECURE_SSL_REDIRECT SESSION_COOKIE_NAME "
    "SESSION_COOKIE_SECURE"
)


def settings_under(data: Path, **environment: str) -> dict[str, Any]:
    script = (
        "import json; from brewbar import settings\n"
        f"print(json.dumps({{name: getattr(settings, name, None) for name in {ASKED.split()}}}, default=str))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        cwd=bootstrap.ROOT,
        env=testing.test_environment(os.environ, data) | environment,
        capture_output=True,
        text=True,
        check=True,
    )
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def test_behind_a_proxy_everything_is_secure(tmp_path: Path) -> None:
    found = settings_under(tmp_path, BREWBAR_URL="https://brew.example.org", BREWBAR_PROXY="1")
    assert found["ALLOWED_HOSTS"][0] == "brew.example.org"
    assert "*" not in found["ALLOWED_HOSTS"]
    assert found["CSRF_TRUSTED_ORIGINS"] == ["https://brew.example.org"]
    assert found["SESSION_COOKIE_SECURE"]
    assert found["CSRF_COOKIE_SECURE"]
    assert found["SECURE_HSTS_SECONDS"] > 0
    assert found["SECURE_SSL_REDIRECT"]
    assert found["SECURE_PROXY_SSL_HEADER"] == ["HTTP_X_FORWARDED_PROTO", "https"]
    assert found["AXES_CLIENT_IP_CALLABLE"] == "brewbar.deployment.client_behind_proxy"
    assert not found["DEBUG"]


def test_without_a_proxy_nobody_s_headers_are_believed(tmp_path: Path) -> None:
    found = settings_under(tmp_path, BREWBAR_URL="http://192.168.1.20:8000")
    assert found["SECURE_PROXY_SSL_HEADER"] is None
    assert found["AXES_CLIENT_IP_CALLABLE"] is None
    assert not found["SESSION_COOKIE_SECURE"]
    assert found["SECURE_HSTS_SECONDS"] == 0


def test_the_demo_has_data_and_cookies_of_its_own(tmp_path: Path) -> None:
    found = settings_under(
        tmp_path,
        BREWBAR_DEMO="1",
        BREWBAR_URL="http://127.0.0.1:8001",
        DATABASE_URL="postgresql://me@db/real",
    )
    own = bootstrap.ROOT / "data" / "demo"
    assert found["DEMO"]
    assert found["DATA_DIR"] == str(own)
    assert found["DATABASES"]["default"]["NAME"] == str(own / "brewbar.sqlite3")
    assert found["BASE_URL"] == "http://127.0.0.1:8001"
    assert found["SESSION_COOKIE_NAME"] != "sessionid"


def test_a_named_database_is_used(tmp_path: Path) -> None:
    found = settings_under(tmp_path, DATABASE_URL="postgresql://me:pw@db:5433/brewbar")["DATABASES"][
        "default"
    ]
    assert (found["ENGINE"], found["HOST"], found["PORT"]) == ("django.db.backends.postgresql", "db", 5433)


def test_reading_the_settings_makes_no_key(tmp_path: Path) -> None:
    settings_under(tmp_path)
    assert not list(tmp_path.rglob("secret-key"))


def test_the_checks_tell_what_serve_would_refuse(monkeypatch: pytest.MonkeyPatch) -> None:
    given = replace(settings.DEPLOYMENT, base_url="https://brew.example.org", is_configured=True)
    monkeypatch.setattr(settings, "DEPLOYMENT", given)
    assert [found.id for found in checks.deployment_fits(None)] == ["brewbar.E001"]
    monkeypatch.setattr(settings, "DEPLOYMENT", replace(given, behind_proxy=True))
    assert checks.deployment_fits(None) == []
    monkeypatch.setattr(settings, "DEPLOYMENT", replace(given, base_url="http://192.168.1.20"))
    assert [found.id for found in checks.plain_http_is_known(None)] == ["brewbar.W001"]


def test_every_static_file_that_a_page_names_is_there() -> None:
    asked = re.compile(r"""\{%\s*static\s+["']([^"']+)["']""")
    named = {
        name: page
        for page in sorted(bootstrap.ROOT.glob("templates/**/*.html"))
        for name in asked.findall(page.read_text())
    }
    assert named
    assert [f"{page}: {name}" for name, page in named.items() if finders.find(name) is None] == []


def test_our_scripts_import_no_other_by_its_plain_name() -> None:
    """A collected file has a hash in its name, which an import inside a script cannot know."""
    imports = re.compile(r"""(from|import)\s*\(?\s*["'][./]""")
    assert [
        path for path in bootstrap.ROOT.glob("static/js/**/*.js") if imports.search(path.read_text())
    ] == []


def test_one_thread_is_asked_for_before_numpy_is_loaded_and_a_wish_is_kept(tmp_path: Path) -> None:
    script = (
        "import os, sys; from brewbar import settings\n"
        "print(os.environ['OPENBLAS_NUM_THREADS'], 'numpy' in sys.modules)"
    )
    own = testing.test_environment(os.environ, tmp_path)
    own.pop("OPENBLAS_NUM_THREADS", None)
    for wish, threads in (({}, "1"), ({"OPENBLAS_NUM_THREADS": "2"}, "2")):
        said = subprocess.check_output([sys.executable, "-c", script], cwd=bootstrap.ROOT, env=own | wish)
        assert said.decode().split() == [threads, "False"]


def checked_for_deployment(data: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    kept = testing.test_environment(os.environ, data)
    # Set by the browser's fixture for its own process, and rightly found here.
    kept.pop("DJANGO_ALLOW_ASYNC_UNSAFE", None)
    return subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=bootstrap.ROOT,
        env=kept | {"BREWBAR_DATA": str(data)} | environment,
        capture_output=True,
        text=True,
    )


def test_the_checks_for_deployment_find_nothing_where_all_is_set(tmp_path: Path) -> None:
    (tmp_path / "cert.pem").touch()
    own = {f"BREWBAR_TLS_{name}": str(tmp_path / "cert.pem") for name in ("CERT", "KEY")}
    for tls in ({"BREWBAR_PROXY": "1"}, own):
        done = checked_for_deployment(tmp_path, BREWBAR_URL="https://bar.example", BREWBAR_SERVING="1", **tls)
        assert done.returncode == 0, done.stderr


def test_the_checks_for_deployment_find_what_is_not_secure(tmp_path: Path) -> None:
    done = checked_for_deployment(tmp_path, BREWBAR_URL="http://192.168.1.20:8000")
    assert done.returncode == 1
    for said in ("brewbar.W001", "security.W004", "security.W008", "security.W012", "security.W016"):
        assert said in done.stderr
