"""The local stack: one person, one machine, plain HTTP on the loopback address."""

from config.settings.base import *

ALLOWED_HOSTS = ["localhost", "127.0.0.1", "[::1]"]
