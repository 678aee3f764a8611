"""The commands, grouped by what they do; ``registry.cli`` puts them together."""
