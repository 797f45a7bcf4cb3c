"""The admin of one club at a time: the site, and what the pages of every app share.

The pages of this app are imported by `ClubAdminConfig`: they register with the site, which is made
while this module is imported.
"""

from clubs.admin.notices import Notice, add_notice
from clubs.admin.overview import OverviewAdmin, Section, add_section
from clubs.admin.rows import (
    ClubForm,
    ClubInline,
    ClubModelAdmin,
    audit,
    caller_of,
    list_audit_with_names,
)
from clubs.admin.site import ClubAdminSite
from clubs.admin.words import NOTHING, StateFilter, spell_name

__all__ = [
    "NOTHING",
    "ClubAdminSite",
    "ClubForm",
    "ClubInline",
    "ClubModelAdmin",
    "Notice",
    "OverviewAdmin",
    "Section",
    "StateFilter",
    "add_notice",
    "add_section",
    "audit",
    "caller_of",
    "list_audit_with_names",
    "spell_name",
]
