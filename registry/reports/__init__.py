"""Documents set on paper from what the services say."""
