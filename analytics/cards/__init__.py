"""Paper: what a coach prints."""
