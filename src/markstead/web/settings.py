"""Django's settings, read once from the environment and the home folder."""

import os
import secrets
from pathlib import Path

import dj_database_url
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured
from platformdirs import user_data_dir

from markstead import speech
from markstead.speech import ENGLISH

HERE = Path(__file__).resolve().parent


def yes_or_no(name: str, default: str) -> bool:
    """Read a switch; refuse anything but yes and no."""
    value = os.environ.get(name, default)
    if value not in {"yes", "no"}:
        raise ImproperlyConfigured(f"{name} is {value!r}; use 'yes' or 'no'")
    return value == "yes"


HOME = Path(os.environ.get("MARKSTEAD_HOME") or user_data_dir("markstead"))


def _secret() -> str:
    kept = HOME / "secret.key"
    return kept.read_text().strip() if kept.is_file() else secrets.token_hex(32)


SECRET_KEY = _secret()
DEBUG = False
ALLOWED_HOSTS = [h for h in os.environ.get("MARKSTEAD_HOSTS", "").split(",") if h] or [
    "127.0.0.1",
    "localhost",
    "[::1]",
]
SECURE = yes_or_no("MARKSTEAD_TLS", "no")
FIRST_KEY = os.environ.get("MARKSTEAD_FIRST_KEY", "")
"""The word by which an empty home is claimed: `serve` makes it and prints it on the terminal."""
PLANS_IN_A_PROCESS = yes_or_no("MARKSTEAD_PLANS_IN_A_PROCESS", "yes")
"""Whether a plan made anew is worked out beside the server; else the page waits for it."""

BACKUPS_BY_THE_SERVER = yes_or_no("MARKSTEAD_BACKUPS_BY_THE_SERVER", "yes")
"""Whether the running server makes a backup each day."""

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.staticfiles",
    "django_htmx",
    "csp",
    "axes",
    "markstead.records",
    "markstead.web",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "markstead.web.private.Private",
    "markstead.web.tongue.Speaks",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "markstead.web.tablet_seat.TabletOnly",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "axes.middleware.AxesMiddleware",
]
ROOT_URLCONF = "markstead.web.urls"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [HERE / "templates"],
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "markstead.web.kept.holes",
                "markstead.web.tongue.spoken_here",
            ],
            "builtins": ["django.templatetags.i18n", "markstead.web.templatetags.spoken"],
            "loaders": [
                (
                    "django.template.loaders.cached.Loader",
                    [
                        "django.template.loaders.filesystem.Loader",
                        "django.template.loaders.app_directories.Loader",
                    ],
                )
            ],
        },
    }
]

# The system lays the record over its file as far as `mmap_size` goes, half a gigabyte or some ten years; beyond it whoever
# reads all of it fills a cache of their own.
_PRAGMAS = (
    "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON; PRAGMA cache_size=-16000; "
    "PRAGMA mmap_size=536870912; PRAGMA journal_size_limit=27103364; PRAGMA temp_store=MEMORY;"
)
if os.environ.get("DATABASE_URL"):
    DATABASES = {"default": dj_database_url.config(conn_max_age=600)}
else:
    DATABASES = {
        "default": {
            "ENGINE": "django.db.backends.sqlite3",
            "NAME": HOME / "markstead.sqlite3",
            "CONN_MAX_AGE": 600,
            "OPTIONS": {"transaction_mode": "IMMEDIATE", "timeout": 20, "init_command": _PRAGMAS},
            # Django's in-memory test database shares one cache and fails under threads.
            "TEST": {"NAME": os.environ.get("MARKSTEAD_TEST_DATABASE", "test.sqlite3")},
        }
    }
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "markstead.records.passwords.NoCommonOneMadeLonger"},
    {"NAME": "markstead.records.passwords.NotOfThisHouse"},
    {"NAME": "markstead.records.passwords.NotTooLong"},
]
AXES_FAILURE_LIMIT = 5
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_COOLOFF_TIME = 0.25
AXES_LOCKOUT_TEMPLATE = "locked_out.html"
AXES_VERBOSE = False
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "today"
LOGOUT_REDIRECT_URL = "sign-in"

MOST_SENT = 64_000_000
"""Bytes of one request: a large photograph. What is more is refused before it is read; single forms take less."""

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "frame-ancestors": [NONE],
        "form-action": [SELF],
        "base-uri": [NONE],
        "object-src": [NONE],
    }
}
# By https a cookie is bound to this very host and path, and no page of another can set it (RFC 6265bis, 4.1.3.2). A browser
# takes no such name over plain http.
_HOST = "__Host-" if SECURE else ""
SESSION_COOKIE_NAME = f"{_HOST}markstead_session"
CSRF_COOKIE_NAME = f"{_HOST}markstead_forgery"
TABLET_COOKIE_NAME = f"{_HOST}markstead_tablet"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = SECURE
CSRF_COOKIE_HTTPONLY = True
CSRF_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SECURE = SECURE
CSRF_FAILURE_VIEW = "markstead.web.views.errors.stale_form"
SECURE_HSTS_SECONDS = 366 * 24 * 60 * 60 if SECURE else 0
"""A year: who has come by https once comes by nothing else. (Browsers heed it for names, not for bare addresses.)"""
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
# By plain http under another name than this machine's, browsers pass the header over and complain of it.
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin" if SECURE or not os.environ.get("MARKSTEAD_HOSTS") else None
X_FRAME_OPTIONS = "DENY"

USE_TZ = True
TIME_ZONE = "UTC"
USE_I18N = True
LANGUAGE_CODE = ENGLISH.code
LANGUAGES = [(one.code, one.name) for one in speech.LANGUAGES.values()]
LOCALE_PATHS = speech.CATALOGUES
FORMAT_MODULE_PATH = "markstead.web.formats"
LANGUAGE_COOKIE_NAME = f"{_HOST}markstead_language"
LANGUAGE_COOKIE_HTTPONLY = True
LANGUAGE_COOKIE_SAMESITE = "Lax"
LANGUAGE_COOKIE_SECURE = SECURE
STATIC_URL = "/static/"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = False
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "line": {"()": "markstead.web.terminal.OneLine"},
        "whole": {"format": "{asctime} {message}", "style": "{"},
    },
    "handlers": {
        "console": {"class": "logging.StreamHandler", "level": "WARNING", "formatter": "line"},
        # What went wrong, for whoever mends it: the terminal is the family's.
        "file": {
            "class": "markstead.web.terminal.MistakesFile",
            "filename": HOME / "markstead.log",
            "maxBytes": 200_000,
            "backupCount": 1,
            "delay": True,
            "encoding": "utf-8",
            "level": "ERROR",
            "formatter": "whole",
        },
    },
    "root": {"handlers": ["console", "file"], "level": "WARNING"},
    "loggers": {
        "axes": {"level": "ERROR"},
        # That a door was shut, a page not found or a form old, whoever stood there has been told.
        "django.request": {"level": "ERROR"},
        "django.security": {"level": "CRITICAL"},
    },
}
