"""Outcome registry with radiology-pathology correlation for image-guided breast biopsy."""

__version__ = "0.1.0"
