"""The rows of the peer: an attempt, and a child row for each footfall and each gate."""

from typing import ClassVar

from django.db import models


class Club(models.Model):
    slug = models.SlugField(unique=True)

    class Meta:
        app_label = "stock"

    def __str__(self) -> str:
        return self.slug


class Source(models.Model):
    club = models.ForeignKey(Club, on_delete=models.PROTECT)
    name = models.CharField(max_length=80)

    class Meta:
        app_label = "stock"

    def __str__(self) -> str:
        return self.name


class Athlete(models.Model):
    code = models.CharField(max_length=64, unique=True)

    class Meta:
        app_label = "stock"

    def __str__(self) -> str:
        return self.code


class Approach(models.Model):
    athlete = models.ForeignKey(Athlete, on_delete=models.PROTECT)
    code = models.CharField(max_length=32)

    class Meta:
        app_label = "stock"

    def __str__(self) -> str:
        return self.code


class Plan(models.Model):
    approach = models.ForeignKey(Approach, on_delete=models.PROTECT)
    revision = models.PositiveIntegerField()

    class Meta:
        app_label = "stock"

    def __str__(self) -> str:
        return f"revision {self.revision}"


class Session(models.Model):
    code = models.CharField(max_length=40, unique=True)

    class Meta:
        app_label = "stock"

    def __str__(self) -> str:
        return self.code


class Attempt(models.Model):
    club = models.ForeignKey(Club, on_delete=models.PROTECT)
    source = models.ForeignKey(Source, on_delete=models.PROTECT)
    external_id = models.CharField(max_length=64)
    athlete = models.ForeignKey(Athlete, on_delete=models.PROTECT)
    approach = models.ForeignKey(Approach, on_delete=models.PROTECT)
    plan = models.ForeignKey(Plan, on_delete=models.PROTECT)
    session = models.ForeignKey(Session, on_delete=models.PROTECT)
    started_at = models.DateTimeField()
    finish = models.CharField(max_length=12)
    start_mark_m = models.FloatField(null=True)
    wind_mps = models.FloatField(null=True)
    outcome = models.CharField(max_length=10)
    official_m = models.DecimalField(max_digits=4, decimal_places=2, null=True)

    objects: ClassVar[models.Manager["Attempt"]] = models.Manager()

    class Meta:
        app_label = "stock"
        constraints = [
            models.UniqueConstraint(
                fields=["club", "source", "external_id"], name="stock_attempt_once_per_source"
            ),
        ]
        indexes = [models.Index(fields=["approach", "started_at"], name="stock_attempt_in_order")]

    def __str__(self) -> str:
        return self.external_id


class Footfall(models.Model):
    attempt = models.ForeignKey(Attempt, on_delete=models.CASCADE, related_name="footfalls")
    number = models.PositiveSmallIntegerField()
    toe_m = models.FloatField(null=True)
    touchdown_s = models.FloatField(null=True)
    toe_off_s = models.FloatField(null=True)
    contact = models.CharField(max_length=4, null=True)

    objects: ClassVar[models.Manager["Footfall"]] = models.Manager()

    class Meta:
        app_label = "stock"

    def __str__(self) -> str:
        return f"footfall {self.number}"


class Gate(models.Model):
    attempt = models.ForeignKey(Attempt, on_delete=models.CASCADE, related_name="gates")
    at_m = models.FloatField()
    time_s = models.FloatField()

    objects: ClassVar[models.Manager["Gate"]] = models.Manager()

    class Meta:
        app_label = "stock"

    def __str__(self) -> str:
        return f"gate at {self.at_m} m"


class Point(models.Model):
    """What one task computed after one attempt."""

    attempt = models.OneToOneField(Attempt, on_delete=models.CASCADE)
    n = models.PositiveIntegerField()
    bias_m = models.FloatField()
    spread_m = models.FloatField(null=True)

    objects: ClassVar[models.Manager["Point"]] = models.Manager()

    class Meta:
        app_label = "stock"

    def __str__(self) -> str:
        return f"after {self.n} attempts"
