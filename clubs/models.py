"""The tenant: a club, its people, its places, and who may push."""

import uuid
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models.functions import Lower, Now

from common.constraints import SameClub


class DatabaseUUID(models.Func):
    """A version 7 UUID made by the database, so that keys sort by the time they were made."""

    function = "uuidv7"
    template = "%(function)s()"
    output_field = models.UUIDField()


def database_key() -> "models.UUIDField[uuid.UUID, uuid.UUID]":
    return models.UUIDField(primary_key=True, db_default=DatabaseUUID(), editable=False)


class Club(models.Model):
    """A club: everything else belongs to one."""

    id = database_key()
    slug = models.SlugField(max_length=40, unique=True, help_text="Short name in addresses.")
    name = models.CharField(max_length=120)
    country = models.CharField(max_length=2, help_text="Two letters, ISO 3166-1.")
    time_zone = models.CharField(max_length=64, default="UTC", help_text="IANA name.")
    settings = models.JSONField(
        default=dict, blank=True, help_text="Thresholds that differ from the defaults."
    )
    created_at = models.DateTimeField(db_default=Now(), editable=False)
    version = models.PositiveIntegerField(default=1, db_default=1, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(country__regex=r"^[A-Z]{2}$"), name="club_country_iso"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class ClubRow(models.Model):
    """A row that belongs to a club.

    The primary key in the database is (club_id, id): see `common.wall.key_by_club`.
    """

    id = database_key()
    club = models.ForeignKey(Club, on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        abstract = True


class KeptRow(ClubRow):
    """A row that can be changed. The database counts its versions: see `common.versions`."""

    version = models.PositiveIntegerField(default=1, db_default=1, editable=False)

    class Meta:
        abstract = True


class UserAccounts(BaseUserManager["User"]):
    """Find and make log-ins by e-mail address."""

    def get_by_natural_key(self, username: str | None) -> "User":
        return self.get(email__iexact=username)


class User(AbstractBaseUser):
    """A person's log-in. What the person may do stands in the memberships."""

    id = database_key()
    email = models.EmailField(max_length=254, unique=True)
    is_active = models.BooleanField(default=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    objects: ClassVar[UserAccounts] = UserAccounts()

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = []

    class Meta:
        constraints = [
            models.UniqueConstraint(Lower("email"), name="user_email_any_case"),
        ]

    def __str__(self) -> str:
        return self.email

    def has_perm(self, perm: str, obj: Any = None) -> bool:
        """Answer no: rights come from memberships, never from Django's permission table."""
        return False

    def has_module_perms(self, app_label: str) -> bool:
        return False


class Role(models.TextChoices):
    ADMIN = "admin", "Admin"
    COACH = "coach", "Coach"
    ATHLETE = "athlete", "Athlete"


class Membership(KeptRow):
    """A person's role in a club."""

    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="memberships")
    role = models.CharField(max_length=8, choices=Role.choices)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["club", "user"], name="membership_once"),
            models.CheckConstraint(
                condition=models.Q(role__in=Role.values), name="membership_role_known"
            ),
        ]

    def __str__(self) -> str:
        return self.get_role_display()


class Squad(KeptRow):
    """Athletes who train together."""

    name = models.CharField(max_length=80)
    archived_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["club", "name"], name="squad_name_once"),
        ]

    def __str__(self) -> str:
        return self.name


class Runway(KeptRow):
    """A runway with its surface and direction."""

    name = models.CharField(max_length=80)
    surface = models.CharField(max_length=60)
    indoor = models.BooleanField(default=False)
    altitude_m = models.FloatField(default=0)
    direction_deg = models.FloatField(
        null=True, blank=True, help_text="Compass direction of running."
    )
    length_m = models.FloatField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["club", "name"], name="runway_name_once"),
            models.CheckConstraint(
                condition=models.Q(direction_deg__isnull=True)
                | models.Q(direction_deg__gte=0, direction_deg__lt=360),
                name="runway_direction_compass",
            ),
            models.CheckConstraint(
                condition=models.Q(length_m__isnull=True) | models.Q(length_m__gt=0),
                name="runway_length_positive",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Event(models.TextChoices):
    LONG_JUMP = "long_jump", "Long jump"
    TRIPLE_JUMP = "triple_jump", "Triple jump"


class Board(ClubRow):
    """A take-off board of a runway, for one event."""

    runway = models.ForeignKey(
        Runway, on_delete=models.PROTECT, related_name="boards", db_constraint=False, db_index=False
    )
    event = models.CharField(max_length=12, choices=Event.choices)
    to_pit_m = models.FloatField(help_text="From the take-off line to the near end of the pit.")

    class Meta:
        constraints = [
            SameClub("runway", name="board_runway_same_club"),
            models.UniqueConstraint(
                fields=["club", "runway", "event", "to_pit_m"], name="board_once"
            ),
            models.CheckConstraint(condition=models.Q(to_pit_m__gt=0), name="board_before_pit"),
            models.CheckConstraint(
                condition=models.Q(event__in=Event.values), name="board_event_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_event_display()} {self.to_pit_m:g} m"


class SourceKind(models.TextChoices):
    DEVICE = "device", "Timing device"
    SCRIPT = "script", "Script"
    IMPORT = "import", "Import"
    PERSON = "person", "Person"


class Source(KeptRow):
    """Who pushes: the ids that it gives are unique within it."""

    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=8, choices=SourceKind.choices)
    membership = models.ForeignKey(
        Membership,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="sources",
        db_constraint=False,
        db_index=False,
        help_text="Whose built-in source this is, for attempts typed in by hand.",
    )
    closed_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        constraints = [
            SameClub("membership", name="source_membership_same_club"),
            models.UniqueConstraint(fields=["club", "name"], name="source_name_once"),
            models.UniqueConstraint(
                fields=["club", "membership"],
                condition=models.Q(membership__isnull=False),
                name="source_once_per_person",
            ),
            models.CheckConstraint(
                condition=models.Q(kind=SourceKind.PERSON, membership__isnull=False)
                | (~models.Q(kind=SourceKind.PERSON) & models.Q(membership__isnull=True)),
                name="source_person_has_membership",
            ),
            models.CheckConstraint(
                condition=models.Q(kind__in=SourceKind.values), name="source_kind_known"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class AccessToken(ClubRow):
    """A secret that lets a source push or a person ask. Only its hash is stored."""

    public_id = models.CharField(max_length=16, unique=True)
    secret_hash = models.BinaryField(max_length=32, help_text="SHA-256 of the secret.")
    name = models.CharField(max_length=80)
    scopes = ArrayField(models.CharField(max_length=32))
    source = models.ForeignKey(
        Source,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="tokens",
        db_constraint=False,
        db_index=False,
    )
    membership = models.ForeignKey(
        Membership,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="tokens",
        db_constraint=False,
        db_index=False,
    )
    created_at = models.DateTimeField(db_default=Now(), editable=False)
    expires_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_used_date = models.DateField(null=True, blank=True, editable=False)

    class Meta:
        constraints = [
            SameClub("source", name="token_source_same_club"),
            SameClub("membership", name="token_membership_same_club"),
            models.CheckConstraint(
                condition=models.Q(source__isnull=False, membership__isnull=True)
                | models.Q(source__isnull=True, membership__isnull=False),
                name="token_of_source_or_person",
            ),
        ]
        indexes = [
            models.Index(fields=["club", "source"], name="token_of_source"),
            models.Index(fields=["club", "membership"], name="token_of_membership"),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.public_id})"


class AuditEntry(ClubRow):
    """Who did what to which rows. Ids and field names only, never values."""

    at = models.DateTimeField(db_default=Now())
    actor_kind = models.CharField(max_length=10, help_text="token, membership or system")
    actor_id = models.UUIDField(null=True)
    action = models.CharField(max_length=60)
    subject_kind = models.CharField(max_length=40)
    subject_ids = ArrayField(models.UUIDField(), default=list)
    field_names = ArrayField(models.CharField(max_length=60), default=list)
    counts = models.JSONField(default=dict, help_text="How many rows, by outcome.")
    request_id = models.CharField(max_length=64, blank=True)

    class Meta:
        indexes = [models.Index(fields=["club", "-at"], name="audit_latest")]
        verbose_name_plural = "audit entries"

    def __str__(self) -> str:
        return f"{self.action} {self.at:%Y-%m-%d %H:%M}"


class AnsweredRequest(ClubRow):
    """A write that came with an Idempotency-Key, and what was answered."""

    principal_id = models.UUIDField(help_text="The source or membership that asked.")
    method = models.CharField(max_length=8)
    path = models.CharField(max_length=400)
    key = models.CharField(max_length=255)
    asked_hash = models.BinaryField(max_length=32, help_text="Of the body and the parameters.")
    status = models.PositiveSmallIntegerField()
    headers = models.JSONField()
    answer = models.JSONField(null=True)
    answered_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["club", "principal_id", "method", "path", "key"], name="answered_once"
            ),
        ]
        indexes = [models.Index(fields=["club", "answered_at"], name="answered_expiry")]

    def __str__(self) -> str:
        return f"{self.method} {self.path}"
