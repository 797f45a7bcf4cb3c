"""The peer: the same job done the way the frameworks' own guides show it."""
