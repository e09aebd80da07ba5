"""The tables are what the migrations make."""

import io

import pytest
from django.core.management import call_command


@pytest.mark.django_db
def test_no_change_of_the_tables_lacks_its_migration() -> None:
    said = io.StringIO()
    try:
        call_command("makemigrations", check_changes=True, dry_run=True, stdout=said)
    except SystemExit:
        pytest.fail(said.getvalue())
