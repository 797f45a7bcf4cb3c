"""Production: refuses to start with settings that would expose a club."""

from django.core.exceptions import ImproperlyConfigured

from config.settings.base import *
from config.settings.environment import flag

MIN_SECRET_LENGTH = 50
MIN_SECRET_SYMBOLS = 10

if len(SECRET_KEY) < MIN_SECRET_LENGTH or len(set(SECRET_KEY)) < MIN_SECRET_SYMBOLS:
    raise ImproperlyConfigured(
        f"SECRET_KEY is too weak: it needs {MIN_SECRET_LENGTH} characters or more, "
        f"{MIN_SECRET_SYMBOLS} of them different. "
        "Make one with: python -c 'import secrets; print(secrets.token_urlsafe(50))'"
    )
if flag("DEBUG", default=False):
    raise ImproperlyConfigured("DEBUG shows internals to strangers; production runs without it.")
if not ALLOWED_HOSTS or "*" in ALLOWED_HOSTS:
    raise ImproperlyConfigured("ALLOWED_HOSTS must list the host names of this service, no '*'.")
if not METRICS_TOKEN:
    raise ImproperlyConfigured("METRICS_TOKEN must be set: /metrics tells how busy each part is.")

SECURE_SSL_REDIRECT = True
SECURE_REDIRECT_EXEMPT = [r"^healthz$", r"^readyz$", r"^metrics$"]
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
SECURE_HSTS_SECONDS = 365 * 24 * 3600
SECURE_HSTS_INCLUDE_SUBDOMAINS = True
SECURE_HSTS_PRELOAD = True
SESSION_COOKIE_SECURE = True
CSRF_COOKIE_SECURE = True
CSRF_TRUSTED_ORIGINS = [f"https://{host}" for host in ALLOWED_HOSTS]
