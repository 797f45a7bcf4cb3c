"""Tests: the real database and broker of the local stack, quick password hashing."""

import os

# Editors and type checkers import the settings without a stack; nothing connects at import.
os.environ.setdefault("SECRET_KEY", "only-for-tests-never-for-people-0123456789abcdefghij")
os.environ.setdefault("DATABASE_URL", "postgresql://penult_app@127.0.0.1:1/penult")
os.environ.setdefault("REDIS_URL", "redis://127.0.0.1:1/0")

from config.settings.base import *
from config.settings.environment import flag

ALLOWED_HOSTS = ["testserver", "localhost", "127.0.0.1"]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
# Each client of a test makes the middleware anew, which would list all static files each time: they
# are looked for when they are asked for.
WHITENOISE_AUTOREFRESH = True
# Tests that are about waking start it themselves.
WAKER_ENABLED = flag("WAKER_ENABLED", default=False)
# Tests ask faster than a script that runs wild; those about the limits set their own.
REQUESTS_PER_MINUTE = WRONG_TOKENS_PER_MINUTE = 1_000_000
