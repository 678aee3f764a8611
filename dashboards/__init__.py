"""The pages: they compose what the registry answers and compute nothing."""
