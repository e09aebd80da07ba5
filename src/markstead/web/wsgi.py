"""The application for a WSGI server."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "markstead.web.settings")
application = get_wsgi_application()

from markstead.web import memory, nightly  # noqa: E402  # they read the tables' classes, which are there only now

memory.settle()
nightly.begin()
