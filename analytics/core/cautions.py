"""What every advice that asks more of a jumper's body carries with it."""

COACH_DECIDES = (
    "The coach on the spot decides. Pain, a growth spurt, a wet or uneven runway, an unsafe pit or"
    " lightning stop the session. Local federation rules, safeguarding rules and licensed medical"
    " practice go first."
)
"""For advice of more speed, more steps or more jumps."""

NO_DIAGNOSIS = (
    "A caution, not a diagnosis: it says what was written down, not how the athlete is. Whoever has"
    " pain stops and sees a doctor."
)
"""For what is said of growth and load."""
