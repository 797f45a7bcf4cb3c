"""An invented club with an invented season, and what a club would write to use the service."""
