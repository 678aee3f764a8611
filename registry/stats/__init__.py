"""Statistics of the registry: numbers in, numbers out, each method with its source."""
