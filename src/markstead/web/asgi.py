"""The application for an ASGI server."""

import os

import django

from markstead.web import memory

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "markstead.web.settings")
django.setup(set_prefix=False)

from markstead.web.handler import Pages  # noqa: E402  # its models can be loaded only when Django is set up

application = Pages()
memory.settle()
