"""The door for web servers."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.local")

application = get_wsgi_application()

from common.wall import refuse_bypassing_role

refuse_bypassing_role()
