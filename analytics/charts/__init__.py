"""Pictures of what answers found."""
