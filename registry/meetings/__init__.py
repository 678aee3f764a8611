"""Concordance meetings: opened, held from the list, and closed with signed minutes."""
