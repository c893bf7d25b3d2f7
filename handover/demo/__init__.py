"""The demonstration: an invented estuary, told in order through the same actions that people use."""
