"""An invented breast service, for the demo and for tests: seeded, reproducible byte for byte."""
