"""Members and squads."""

from clubs.models import Club, Membership, Role, Source, SourceKind, Squad, User
from common.club_scope import club_scope
from common.refusals import refuse_duplicates


def add_member(*, club: Club, email: str, role: Role, password: str | None = None) -> Membership:
    """Give a person a role in the club, with a log-in made when there is none yet.

    A coach or athlete gets a built-in source too, for attempts typed in by hand.
    """
    with club_scope(club):
        user = User.objects.filter(email__iexact=email).first()
        if user is None:
            user = User(email=User.objects.normalize_email(email).lower())
            user.set_password(password)
            user.save(force_insert=True)
        with refuse_duplicates("email", f"{email} is a member already."):
            membership = Membership.objects.create(club=club, user=user, role=role)
        Source.objects.create(
            club=club,
            name=f"Typed in by {membership.id}",
            kind=SourceKind.PERSON,
            membership=membership,
        )
        return membership


def add_squad(*, club: Club, name: str) -> Squad:
    """Make a squad."""
    with club_scope(club), refuse_duplicates("name", f"There is a squad {name} already."):
        return Squad.objects.create(club=club, name=name)
