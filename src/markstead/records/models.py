"""Tables. Entries and documents are only ever added, which the database itself holds (see `triggers`).

`Copy` and the head kept on `Household` are caches of what a fold can tell; `rebuild` makes them anew and
`verify` proves them.
"""

from django.conf import settings
from django.db import models


class Household(models.Model):
    """One home. `stamp` changes with every change of its people, courses or documents, and with `rebuild`."""

    id = models.CharField(primary_key=True, max_length=40)
    name = models.CharField(max_length=200)
    stamp = models.CharField(max_length=32)
    head_seq = models.BigIntegerField(default=0)
    head_link = models.CharField(max_length=64, default="0" * 64)
    settled_seq = models.BigIntegerField(default=0)
    """Place of the latest fact that changes what finished workbooks and spot checks tell: see `desk.SETTLING`."""
    demo_shift = models.BigIntegerField(null=True, default=None)
    """Seconds that the clock of a demonstration is behind the real one; null in a real home."""
    failed_test_costs = models.FloatField(default=8)
    """School days that a failed unit test costs this home: waiting for the new copy, working it, sitting again."""
    hold_day_costs = models.FloatField(default=1)
    """School days that one day of review and a fresh practice test costs."""
    plan_in_force = models.BigIntegerField(null=True, default=None)
    """Number of the plan in force; null before the first."""
    language = models.CharField(max_length=12, default="", blank=True)
    """Code of the language that the home is spoken to in; empty: as each browser asks, and English elsewhere."""


class Document(models.Model):
    """A version of a file that the home goes by: its programme's rules, its workbooks, its calendar."""

    household = models.ForeignKey(Household, on_delete=models.PROTECT)
    kind = models.CharField(max_length=20)
    version = models.IntegerField()
    text = models.TextField()
    taken = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["household", "kind", "version"], name="one_document_a_version")
        ]


class Person(models.Model):
    """Who lives or helps here. The record knows only the id; name and key can be erased."""

    id = models.CharField(primary_key=True, max_length=20)
    household = models.ForeignKey(Household, on_delete=models.CASCADE)
    key = models.CharField(max_length=40)
    name = models.CharField(max_length=200)
    role = models.CharField(max_length=20)
    year = models.IntegerField(null=True)
    user = models.OneToOneField(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL)
    password_made = models.DateTimeField(null=True)
    """When the password was made by the house; None: it is one of their own."""

    class Meta:
        constraints = [models.UniqueConstraint(fields=["household", "key"], name="one_person_a_key")]


class Enrolment(models.Model):
    """A learner takes a course."""

    learner = models.ForeignKey(Person, on_delete=models.CASCADE)
    course = models.CharField(max_length=60)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["learner", "course"], name="one_enrolment_a_course")]


class Words(models.Model):
    """Free text that a fact points at by its digest; kept apart so that it can be erased."""

    household = models.ForeignKey(Household, on_delete=models.CASCADE)
    digest = models.CharField(max_length=64)
    salt = models.CharField(max_length=32)
    text = models.TextField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["household", "digest"], name="one_text_a_digest")]


class Entry(models.Model):
    """One fact on the record. `body` is what counts; the other columns are read from it and find it."""

    household = models.ForeignKey(Household, on_delete=models.PROTECT)
    seq = models.BigIntegerField()
    act = models.CharField(max_length=40)
    part = models.SmallIntegerField()
    at = models.DateTimeField()
    kind = models.CharField(max_length=40)
    copy = models.CharField(max_length=20, null=True)  # noqa: DJ001  # null: the fact is about no copy
    body = models.TextField()
    link = models.CharField(max_length=64)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["household", "seq"], name="one_entry_a_place"),
            models.UniqueConstraint(fields=["household", "act", "part"], name="an_act_is_written_once"),
        ]
        indexes = [
            models.Index(fields=["household", "copy", "seq"], name="entries_of_a_copy"),
            models.Index(fields=["household", "at"], name="entries_of_a_day"),
        ]


def copy_label(workbook: str, ordinal: int) -> str:
    """What a copy is called: its workbook, and which one of it where there were others: MA-3, MA-3 (2)."""
    return workbook if ordinal == 1 else f"{workbook} ({ordinal})"


class Copy(models.Model):
    """Cache: where each copy stands, as far as a list of copies needs it."""

    id = models.CharField(primary_key=True, max_length=20)
    household = models.ForeignKey(Household, on_delete=models.CASCADE)
    workbook = models.CharField(max_length=80)
    ordinal = models.IntegerField()
    """Which copy of this workbook it is in this home, from 1."""
    learner = models.CharField(max_length=20, null=True)  # noqa: DJ001  # null: nobody's yet
    status = models.CharField(max_length=20)
    live = models.BooleanField()
    """Something is still to be done with it."""
    passed = models.BooleanField()
    sat_on = models.DateField(null=True)
    scored_on = models.DateField(null=True)
    scored_seq = models.BigIntegerField(null=True)
    """Place of the latest marking of its unit test."""
    marks = models.TextField(default="")
    """What estimates use of its facts, gathered (see `measure.marks`)."""
    last_seq = models.BigIntegerField()
    last_link = models.CharField(max_length=64)

    class Meta:
        indexes = [
            models.Index(fields=["household"], condition=models.Q(live=True), name="live_copies"),
            models.Index(fields=["household", "sat_on"], name="sittings_of_a_day"),
            models.Index(fields=["household", "learner", "passed"], name="passed_by_a_learner"),
            models.Index(fields=["household", "status"], name="copies_by_status"),
            models.Index(fields=["household", "workbook"], name="copies_of_a_workbook"),
            models.Index(fields=["household", "learner", "scored_seq"], name="marked_of_a_learner"),
        ]

    @property
    def label(self) -> str:
        return copy_label(self.workbook, self.ordinal)


class QuizUnderWay(models.Model):
    """An oral quiz that has begun and is not on the record yet, so that it can be laid aside and taken up again.

    `answers` is a JSON list of [stop or null, question, right], in the order asked. Once the quiz is held it is
    written on the record and this row goes.
    """

    id = models.CharField(primary_key=True, max_length=40)
    household = models.ForeignKey(Household, on_delete=models.CASCADE)
    copy = models.CharField(max_length=20)
    stop = models.CharField(max_length=40, blank=True)
    begun = models.DateTimeField()
    by = models.CharField(max_length=20)
    answers = models.TextField(default="[]")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["household", "copy", "stop"], name="one_quiz_a_stop_under_way")
        ]


class Plan(models.Model):
    """A plan: one in force, those before it, and proposals that nobody has taken yet.

    Plans are no part of the record: they say what is meant, not what happened.
    """

    household = models.ForeignKey(Household, on_delete=models.CASCADE)
    number = models.BigIntegerField()
    """Of this home, from 1."""
    state = models.CharField(max_length=20)
    """See `records.plans.State`."""
    begun = models.DateTimeField()
    """By the clock of the machine."""
    by = models.CharField(max_length=20)
    first = models.DateField()
    """The first day that it plans."""
    head_seq = models.BigIntegerField()
    """Where the record ended when it was asked for."""
    stamp = models.CharField(max_length=32)
    asks = models.TextField(default="{}")
    """What was asked: changes that are tried, and how long to search; JSON."""
    problem = models.TextField()
    answer = models.TextField(default="")
    says = models.TextField(default="{}")
    """What goes with the answer: how far it has come, what moved and why, reasons and ways out; JSON."""
    stop_asked = models.BooleanField(default=False)
    beat = models.DateTimeField(null=True, default=None)
    """When whoever works it out last said how far it is."""
    taken = models.DateTimeField(null=True, default=None)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["household", "number"], name="one_plan_a_number")]


class OrderCalls(models.Model):
    """Cache: what the latest order plan wants ordered by when, for today's page."""

    household = models.OneToOneField(Household, on_delete=models.CASCADE, primary_key=True)
    made_on = models.DateField()
    lines = models.TextField(default="[]")
    """JSON; see `records.order_calls`."""


class Pin(models.Model):
    """The short number by which a learner enters at a tablet, digested; and the wrong tries at it."""

    person = models.OneToOneField(Person, on_delete=models.CASCADE, primary_key=True)
    digest = models.CharField(max_length=200)
    set_at = models.DateTimeField()
    """By the clock of the machine, as the other instants here."""
    set_by = models.CharField(max_length=20)
    tries = models.SmallIntegerField(default=0)
    """Wrong ones, since the latest right one or the latest rest."""
    shut_until = models.DateTimeField(null=True, default=None)


class Device(models.Model):
    """A tablet of the house on which learners enter. Taken back, the row stays."""

    id = models.CharField(primary_key=True, max_length=40)
    """What its cookie holds, signed: nobody can guess it."""
    household = models.ForeignKey(Household, on_delete=models.CASCADE)
    name = models.CharField(max_length=60)
    opened = models.DateTimeField()
    """By the clock of the machine, as the other instants here."""
    opened_by = models.CharField(max_length=20)
    last_seen = models.DateTimeField()
    idle_minutes = models.SmallIntegerField(default=3)
    """After so long without a touch a learner's page closes."""
    revoked = models.DateTimeField(null=True, default=None)


class Narrative(models.Model):
    """What the educator writes of a learner's course for a span of days, kept apart from the record: it can be erased."""

    learner = models.ForeignKey(Person, on_delete=models.CASCADE)
    course = models.CharField(max_length=60)
    first = models.DateField()
    last = models.DateField()
    text = models.TextField()
    saved = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["learner", "course", "first", "last"], name="one_narrative_a_span"
            )
        ]


class EarlierYear(models.Model):
    """A learner was in this school year until an instant; what they are in now stands beside their name."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE)
    year = models.IntegerField(null=True)
    until = models.DateTimeField()


class Sample(models.Model):
    """A photograph or a scan of a learner's work. The file lies in the home's folder under its digest."""

    id = models.CharField(primary_key=True, max_length=20)
    household = models.ForeignKey(Household, on_delete=models.CASCADE)
    learner = models.ForeignKey(Person, on_delete=models.CASCADE)
    copy = models.CharField(max_length=20, null=True)  # noqa: DJ001  # null: of no workbook
    entry = models.BigIntegerField(null=True)
    """Place of the fact that it belongs to; null: of none."""
    day = models.DateField()
    digest = models.CharField(max_length=64)
    """SHA-256 of the file as it is kept."""
    kind = models.CharField(max_length=40)
    size = models.BigIntegerField()
    width = models.IntegerField()
    height = models.IntegerField()
    pages = models.SmallIntegerField(default=1)
    words = models.CharField(max_length=400, blank=True)
    kept = models.DateTimeField()
    kept_by = models.CharField(max_length=20)

    class Meta:
        indexes = [
            models.Index(fields=["household", "learner", "day"], name="samples_of_a_learner"),
            models.Index(fields=["digest"], name="samples_by_digest"),
        ]


class Feed(models.Model):
    """An address at which a calendar program reads what is coming. Taken back, the row goes."""

    id = models.CharField(primary_key=True, max_length=60)
    """The word of the address: nobody can guess it."""
    household = models.ForeignKey(Household, on_delete=models.CASCADE)
    name = models.CharField(max_length=60)
    names = models.CharField(max_length=10)
    """How it names learners: see `records.feeds.Naming`."""
    parts = models.CharField(max_length=60)
    """What is in it, with spaces between: see `records.feeds.Part`."""
    learner = models.CharField(max_length=20, blank=True)
    """Only what this learner means to do; empty: everybody's."""
    made = models.DateTimeField()
    """By the clock of the machine, as the other instant here."""
    made_by = models.CharField(max_length=20)
    last_read = models.DateTimeField(null=True, default=None)


class PaperSheet(models.Model):
    """A sheet that was printed: what stands where on it, so that a photograph of it can be read."""

    id = models.CharField(primary_key=True, max_length=16)
    """The sheet's id as its code carries it: eight bytes, hexadecimal. Ids are one name space for all households."""
    household = models.ForeignKey(Household, on_delete=models.CASCADE)
    kind = models.CharField(max_length=20)
    learner = models.CharField(max_length=20, blank=True)
    """Empty: it is about several."""
    day = models.DateField()
    layout = models.TextField()
    """Every box and what it means; see `paper.layout`."""
    content = models.CharField(max_length=64)
    """SHA-256 of all that is printed but the id: printed again unchanged, it is the same sheet."""
    printed = models.DateTimeField()
    head_seq = models.BigIntegerField()
    """Where the record ended when it was printed."""
    planned = models.TextField(default="{}")
    """What the plan had for the day, by course; JSON."""
    times = models.SmallIntegerField(default=0)
    """How often it was recorded: more than once only where that was taken back."""
    act = models.CharField(max_length=40, blank=True)
    """The act by which it was recorded last; empty: it is not recorded yet."""
    recorded = models.DateTimeField(null=True, default=None)

    class Meta:
        indexes = [models.Index(fields=["household", "day"], name="sheets_of_a_day")]


class PaperPage(models.Model):
    """A page of a sheet that was read from a picture and waits to be confirmed. No part of the record."""

    sheet = models.ForeignKey(PaperSheet, on_delete=models.CASCADE)
    page = models.SmallIntegerField()
    boxes = models.TextField()
    """JSON: for each box its id, state, confidence, reason and place on the flattened page in millimetres."""
    flat = models.BinaryField()
    """The flattened page, from which strips are shown, as JPEG."""
    picture = models.CharField(max_length=80)
    """Name of the picture's file in the home's folder; it is removed when the sheet is confirmed."""
    others = models.BooleanField(default=False)
    """More than this sheet is in the picture."""
    name = models.CharField(max_length=200)
    """What the picture was called where it came from."""
    typed = models.BooleanField(default=False)
    """Its id was typed: no code proves it."""
    taken = models.DateTimeField()
    by = models.CharField(max_length=20)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["sheet", "page"], name="one_reading_a_page")]
