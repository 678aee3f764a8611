"""What the pages ask the registry, each answer kept by revision until something is written."""
