"""The settings of a plain Django project with the REST framework, and nothing more.

It has fewer middlewares than `startproject` gives, which speaks for the peer.
"""

from config.settings.environment import database_from_url, required

SECRET_KEY = required("SECRET_KEY")
_OURS = database_from_url(required("DATABASE_URL"))
DATABASES = {"default": {**_OURS, "ENGINE": "django.db.backends.postgresql"}}
REDIS_URL = required("REDIS_URL")
ALLOWED_HOSTS = ["127.0.0.1"]
INSTALLED_APPS = [
    "django.contrib.contenttypes",
    "django.contrib.auth",
    "rest_framework",
    "rest_framework.authtoken",
    "tests.bench.stock",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "django.middleware.common.CommonMiddleware",
]
ROOT_URLCONF = "tests.bench.stock.urls"
USE_TZ = True
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
DATA_UPLOAD_MAX_MEMORY_SIZE = 10 * 1024 * 1024
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["rest_framework.authentication.TokenAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
}
