"""What approaches tell the apps above, after the fact."""

from django.dispatch import Signal

# Sent after commit, with `club_id` and `series`: pairs of an approach's id and a finish class.
attempts_changed = Signal()
