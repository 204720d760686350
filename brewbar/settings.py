"""Settings, in one file. What a café sets comes from the environment, read and refused in deployment.py."""

import os
import secrets
import sys
import tempfile
from pathlib import Path

import dj_database_url
import font_source_sans_pro
import plotly
from csp.constants import NONE, SELF

from brewbar import deployment, logs, secret

BASE_DIR = Path(__file__).resolve().parent.parent
DEPLOYMENT = deployment.read(os.environ, BASE_DIR)
DEMO = DEPLOYMENT.is_demo
DATA_DIR = DEPLOYMENT.data
BASE_URL = DEPLOYMENT.base_url
# Set by manage.py for the two commands that serve; the server's own process inherits it.
SERVING = deployment.read_switch("BREWBAR_SERVING", os.environ)
LOG = deployment.read_choice("BREWBAR_LOG", ("json", "plain"), os.environ) or (
    "plain" if sys.stderr is not None and sys.stderr.isatty() else "json"
)
deployment.make_folder(DATA_DIR)

# Read once, when numpy is loaded, which no module above does. Whatever of ours is solved is small: a second thread
# mostly waits, so that a fit takes several times as long, and ten times where the machine has other work to do.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

DEBUG = False
# Whatever does not serve has no session or link to sign, so it neither needs nor makes the kept key.
SECRET_KEY = secret.read_or_make(DATA_DIR / "secret-key") if SERVING else secrets.token_urlsafe(64)
ALLOWED_HOSTS = DEPLOYMENT.allowed_hosts
CSRF_TRUSTED_ORIGINS = [BASE_URL]

# The demo and the real thing may run on one machine, and browsers share cookies between ports.
SESSION_COOKIE_NAME = "demo_sessionid" if DEMO else "sessionid"
CSRF_COOKIE_NAME = "demo_csrftoken" if DEMO else "csrftoken"
TABLET_COOKIE_NAME = "demo_tablet" if DEMO else "tablet"
SESSION_COOKIE_AGE = 60 * 60 * 24 * 30
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = DEPLOYMENT.is_secure
# A month, and no word on other names of the domain: a lapsed certificate must not shut a café out for a year.
SECURE_HSTS_SECONDS = 60 * 60 * 24 * 30 if DEPLOYMENT.is_secure else 0
# For the same reason, `check --deploy` need not ask for other names (W005) or the browsers' own list (W021).
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]
SECURE_SSL_REDIRECT = DEPLOYMENT.is_secure
SECURE_REDIRECT_EXEMPT = [r"^health/"]
if DEPLOYMENT.behind_proxy:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    AXES_CLIENT_IP_CALLABLE = "brewbar.deployment.client_behind_proxy"

INSTALLED_APPS = [
    "calibration",
    "recipes",
    "brewbar.crew",
    "brewbar.web",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.forms",
    "axes",
    "csp",
    "django_htmx",
    "rest_framework",
]

MIDDLEWARE = [
    "brewbar.web.middleware.RequestLog",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "brewbar.web.middleware.AnswerHeaders",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "brewbar.crew.presence.MemberMiddleware",
    "brewbar.crew.preferences.StyleMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "brewbar.urls"
WSGI_APPLICATION = "brewbar.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    }
]
FORM_RENDERER = "brewbar.web.forms.Renderer"

# Whoever saves a brew waits as long for their turn: the longest that anything writes is a spreadsheet of 200,000 rows.
SQLITE_OPTIONS = {
    "transaction_mode": "IMMEDIATE",
    "timeout": 60,
    "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON;",
}
# Test databases are named by process, so that several test runs can share one machine. SQLite's is a file,
# since an in-memory database shared with a live server loses writes.
if DEPLOYMENT.database_url:
    DATABASES = {
        "default": dj_database_url.parse(
            DEPLOYMENT.database_url,
            conn_max_age=60,
            conn_health_checks=True,
            test_options={"NAME": f"test_brewbar_{os.getpid()}"},
        )
    }
else:
    DATABASES = {
        "default": {
            "ENGINE": "django.db.backends.sqlite3",
            "NAME": str(DATA_DIR / "brewbar.sqlite3"),
            "OPTIONS": SQLITE_OPTIONS,
            "TEST": {"NAME": str(Path(tempfile.gettempdir(), f"brewbar-test-{os.getpid()}.sqlite3"))},
        }
    }
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "crew.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
    "brewbar.crew.pins.PinBackend",
]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "crew:sign_in"
LOGIN_REDIRECT_URL = "web:home"

AXES_FAILURE_LIMIT = 6
AXES_USERNAME_CALLABLE = "brewbar.crew.locks.who"
AXES_LOCKOUT_PARAMETERS = "brewbar.crew.locks.counted_by"
AXES_COOLOFF_TIME = "brewbar.crew.locks.lasts"
# Each lock ends in its own time: without this, whoever mistypes a password clears away the longer locks of PINs.
AXES_USE_ATTEMPT_EXPIRATION = True
AXES_RESET_ON_SUCCESS = True
AXES_SENSITIVE_PARAMETERS = ["pin", "pin_again", "password"]
AXES_LOCKOUT_CALLABLE = "brewbar.web.views.too_many_tries"
AXES_ENABLE_ADMIN = False
AXES_DISABLE_ACCESS_LOG = True

CSRF_FAILURE_VIEW = "brewbar.web.views.form_too_old"

# Without BREWBAR_MAIL nothing is ever sent, and what would send says so.
MAIL = DEPLOYMENT.mail
EMAIL_BACKEND = f"django.core.mail.backends.{'smtp' if MAIL else 'dummy'}.EmailBackend"
EMAIL_TIMEOUT = 30
if MAIL:
    EMAIL_HOST, EMAIL_PORT = MAIL.host, MAIL.port
    EMAIL_HOST_USER, EMAIL_HOST_PASSWORD = MAIL.user, MAIL.password
    EMAIL_USE_SSL, EMAIL_USE_TLS = MAIL.is_tls, MAIL.is_starttls
    DEFAULT_FROM_EMAIL = SERVER_EMAIL = MAIL.sender

LANGUAGE_CODE = "en-gb"
TIME_ZONE = "UTC"
USE_TZ = True
USE_I18N = True
LOCALE_PATHS = [BASE_DIR / "brewbar" / "locale"]

STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
STATICFILES_DIRS = [
    BASE_DIR / "static",
    ("fonts", Path(font_source_sans_pro.__file__).parent / "files"),
    ("plotly", Path(plotly.__file__).parent / "package_data"),
]
# Names with a hash of the contents, and compressed twins, where there is a server; elsewhere plain files.
_storage = (
    "whitenoise.storage.CompressedManifestStaticFilesStorage"
    if SERVING
    else "django.contrib.staticfiles.storage.StaticFilesStorage"
)
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": _storage},
}
WHITENOISE_KEEP_ONLY_HASHED_FILES = True
WHITENOISE_USE_FINDERS = WHITENOISE_AUTOREFRESH = not SERVING

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
        "manifest-src": [SELF],
    }
}
REST_FRAMEWORK = {
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_AUTHENTICATION_CLASSES": ["rest_framework.authentication.SessionAuthentication"],
    "DEFAULT_SCHEMA_CLASS": "brewbar.crew.api.schema.ApiSchema",
    "SCHEMA_COERCE_PATH_PK": False,
    "URL_FORMAT_OVERRIDE": None,
    # A key may ask so often; an address may show so many keys that open nothing.
    "DEFAULT_THROTTLE_RATES": {"key": "300/min", "refused": "30/hour"},
}
SPECTACULAR_SETTINGS = {
    "OAS_VERSION": "3.1.0",
    "TITLE": "brewbar",
    "VERSION": "1",
    "COMPONENT_SPLIT_REQUEST": True,
    "PREPROCESSING_HOOKS": ["brewbar.crew.api.schema.only_the_api"],
    "POSTPROCESSING_HOOKS": ["brewbar.crew.api.schema.with_what_all_share"],
}

LOGGING = logs.settings_for(LOG)
