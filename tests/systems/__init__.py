"""Systems and helpers that several test files share."""
