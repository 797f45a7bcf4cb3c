"""Settings that every way of running Penult shares."""

import logging
from pathlib import Path
from typing import Any

import structlog

from config.settings.environment import count, database_from_url, flag, required, seconds, text

BASE_DIR = Path(__file__).resolve().parent.parent.parent

SECRET_KEY = required("SECRET_KEY")
DEBUG = False
ALLOWED_HOSTS: list[str] = [host for host in text("ALLOWED_HOSTS", "").split(",") if host]

INSTALLED_APPS = [
    "common",
    "clubs.apps.ClubsConfig",
    "athletes",
    "approaches",
    "analytics",
    "clubs.apps.ClubAdminConfig",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.postgres",
    "rest_framework",
    "django_filters",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "axes",
    "csp",
    "django_structlog",
]

MIDDLEWARE = [
    "django_structlog.middlewares.RequestMiddleware",
    "common.request_id.RequestIdMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "common.page_policy.PagePolicyMiddleware",
    "common.form_limits.FormLimitMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "common.log_in_age.LogInAgeMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "config.urls"
# A redirect turns a POST without the last slash into a GET: the push would be lost in silence.
APPEND_SLASH = False
WSGI_APPLICATION = "config.wsgi.application"

TEMPLATES: list[dict[str, Any]] = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    },
]

# The application role. Migrations run with DATABASE_URL set to the owner's address instead.
DATABASES = {"default": database_from_url(required("DATABASE_URL"))}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

REDIS_URL = required("REDIS_URL")
# With a token, /metrics is for those who hold it; production demands one.
METRICS_TOKEN = text("METRICS_TOKEN", "")

AUTH_USER_MODEL = "clubs.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in (
        "UserAttributeSimilarityValidator",
        "MinimumLengthValidator",
        "CommonPasswordValidator",
    )
]
LOGIN_URL = "pages:log_in"
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = 1  # hours
# Who logged in when, and from where, is written down nowhere; wrong passwords are forgotten with
# the right one, or by clubs.services.log_ins once they lock nobody out.
AXES_DISABLE_ACCESS_LOG = True
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_USERNAME_FORM_FIELD = "username"
# The address of the peer: behind a proxy, the proxy's own setting decides what is passed on.
AXES_IPWARE_PROXY_COUNT = int(text("PROXY_COUNT", "0"))

LANGUAGE_CODE = "en"
# What answers are told in (`python -m config.translating`). Readers of other languages get English.
LANGUAGES = [("en", "English"), ("de", "Deutsch")]
LOCALE_PATHS = [BASE_DIR / "locale"]
FORMAT_MODULE_PATH = "config.formats"
TIME_ZONE = "UTC"
USE_I18N = True
USE_TZ = True

STATIC_URL = "static/"
# Served by the web process from where the packages keep them: there is nothing to collect.
WHITENOISE_USE_FINDERS = True

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'self'"],
        "img-src": ["'self'", "data:"],
        "style-src": ["'self'", "'unsafe-inline'"],
        "script-src": ["'self'"],
        "worker-src": ["'self'", "blob:"],
        "object-src": ["'none'"],
        "base-uri": ["'none'"],
        "form-action": ["'self'"],
        "frame-ancestors": ["'none'"],
    },
}

# Of forms; what comes to the API is read by its own doors (common.api.bodies). The largest form is
# a refused row that is mended in the admin: 64 KiB, three times that on the wire.
DATA_UPLOAD_MAX_MEMORY_SIZE = 512 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 1000
# Nobody sends files here: what comes as one is read past, and kept nowhere.
DATA_UPLOAD_MAX_NUMBER_FILES = 1
FILE_UPLOAD_HANDLERS: list[str] = []

# Of one token, and of one address that shows tokens nobody has; each web process counts for itself.
REQUESTS_PER_MINUTE = int(text("REQUESTS_PER_MINUTE", "6000"))
WRONG_TOKENS_PER_MINUTE = 60

REST_FRAMEWORK: dict[str, Any] = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["clubs.api.authentication.TokenAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["clubs.api.permissions.ClubRights"],
    "DEFAULT_RENDERER_CLASSES": ["common.api.renderers.JSONRenderer"],
    "DEFAULT_CONTENT_NEGOTIATION_CLASS": "common.api.negotiation.WeighedNegotiation",
    "URL_FORMAT_OVERRIDE": None,
    "DEFAULT_PARSER_CLASSES": ["common.api.parsers.StrictJSONParser"],
    "DEFAULT_SCHEMA_CLASS": "common.api.schema.ClubSchema",
    "DEFAULT_PAGINATION_CLASS": "common.api.pagination.BoundCursorPagination",
    "DEFAULT_FILTER_BACKENDS": ["common.api.filters.StrictFilterBackend"],
    "EXCEPTION_HANDLER": "common.api.problems.exception_handler",
    "UNAUTHENTICATED_USER": None,
    "UNAUTHENTICATED_TOKEN": None,
    "DATETIME_FORMAT": "iso-8601",
}

SPECTACULAR_SETTINGS: dict[str, Any] = {
    "TITLE": "Penult",
    "DESCRIPTION": "Run-ups of long and triple jumpers: measured, followed, explained.",
    "VERSION": "1.0.0",
    "OAS_VERSION": "3.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": [],
    "SERVE_AUTHENTICATION": [],
    "SCHEMA_PATH_PREFIX": "/api/v1/",
    "COMPONENT_SPLIT_REQUEST": True,
    # Enumerations in answers are open (common.api.schema), so none is shared as a closed type.
    "POSTPROCESSING_HOOKS": ["common.api.schema.without_marks"],
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "REDOC_DIST": "SIDECAR",
}

# A log-in of a browser ends when it was not used for so long, and after so many days even when it
# was (common.log_in_age). The pages hold children's data, and phones are lent and lost; a meeting
# of two days, with a night between them, is one log-in.
SESSION_COOKIE_AGE = 3600 * count("LOG_IN_IDLE_HOURS", default=24)
LOG_IN_LONGEST_DAYS = count("LOG_IN_LONGEST_DAYS", default=7)
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
X_FRAME_OPTIONS = "DENY"

# Seconds between two rounds of the beat task that picks up refreshes whose wake-up got lost.
REFRESH_SWEEP_SECONDS = 2.0
# The same for questions that take longer than a request may.
WORK_SWEEP_SECONDS = 5.0
# A worker says every second or so how far it is with a question. Not heard of for so long, it is
# lost, and another one takes the question up.
WORK_LEASE_SECONDS = seconds("WORK_LEASE_SECONDS", default=20.0)
# How many questions workers are at, all together: figures that follow a push need the others.
WORK_AT_ONCE = count("WORK_AT_ONCE", default=1)
# A worker that has had nothing to do for so long, while series waited for as long, ends itself.
# By each web process; about 30 kB each.
PICTURES_REMEMBERED = int(text("PICTURES_REMEMBERED", "200"))
IDLE_WORKER_ENDS_AFTER_SECONDS = seconds("IDLE_WORKER_ENDS_AFTER_SECONDS", default=60.0)
WAKER_ENABLED = flag("WAKER_ENABLED", default=True)

# The log knows requests and tasks by their ids; addresses and people stay out of it.
DJANGO_STRUCTLOG_CELERY_ENABLED = True
DJANGO_STRUCTLOG_IP_LOGGING_ENABLED = False
DJANGO_STRUCTLOG_USER_ID_FIELD = None
DJANGO_STRUCTLOG_STATUS_START_LOG_LEVEL = logging.DEBUG
DJANGO_STRUCTLOG_STATUS_4XX_LOG_LEVEL = logging.INFO

LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "json": {
            "()": structlog.stdlib.ProcessorFormatter,
            "processor": structlog.processors.JSONRenderer(),
            "foreign_pre_chain": [
                structlog.contextvars.merge_contextvars,
                structlog.stdlib.add_log_level,
                structlog.stdlib.add_logger_name,
                structlog.processors.TimeStamper(fmt="iso", utc=True),
                structlog.processors.format_exc_info,
            ],
        },
    },
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "json"}},
    "root": {"handlers": ["console"], "level": text("LOG_LEVEL", "INFO")},
    "loggers": {
        "django.request": {"level": "ERROR"},
        "axes": {"level": "WARNING"},
    },
}
structlog.configure(
    processors=[
        structlog.contextvars.merge_contextvars,
        structlog.stdlib.filter_by_level,
        structlog.stdlib.add_log_level,
        structlog.stdlib.add_logger_name,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        structlog.processors.format_exc_info,
        structlog.stdlib.ProcessorFormatter.wrap_for_formatter,
    ],
    logger_factory=structlog.stdlib.LoggerFactory(),
    cache_logger_on_first_use=True,
)
